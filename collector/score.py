"""Scores many simulated nights: `lantern score`. Each night is drawn, simulated, heard and marked on its own.

The same farm, seed and number of nights give the same score, on one processor or on several.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context

from rich.console import Console

from collector.replay import progress_bar
from collector.scoring.dice import Drawn, draw, slowed
from collector.scoring.listening import listen
from collector.scoring.marks import Marks, mark
from collector.scoring.report import Score, json_of, score_of, table_of
from collector.simulate.farm_night import simulate
from shared.errors import SettingsError
from shared.farm import Farm


def print_score(farm: Farm, nights: int, seed: int, processes: int, *, as_json: bool) -> int:
    """Score and print, with a bar while it goes on; the process's exit code.

    Raises:
        SettingsError: a number of nights or processes that is none.
    """
    with progress_bar(nights, lambda: "Nights") as on_night:
        score = score_nights(farm, nights, seed, processes=processes, on_night=on_night)
    console = Console()
    if as_json:
        console.print_json(json.dumps(json_of(score)))
        return 0
    console.print(table_of(score))
    for kind, every in (("Missed", score.missed), ("False", score.false)):
        for words in every:
            console.print(f"{kind}: {words}", markup=False, highlight=False, soft_wrap=True)
    return 0


def marks_of(farm: Farm, drawn: Drawn) -> Marks:
    """The marks of a night on a farm, by its own sensors' intervals."""
    simulation = simulate(farm, drawn.story, drawn.start_ms, drawn.days, drawn.story.seed)
    heard = listen(farm, ((m.t_ms, m.topic, m.payload.encode()) for m in simulation.messages))
    return mark(farm, drawn, simulation.truth, heard)


def _night(farm: Farm, seed: int) -> Marks:
    return marks_of(farm, draw(farm, seed))


def score_nights(
    farm: Farm,
    nights: int,
    seed: int,
    *,
    processes: int = 1,
    on_night: Callable[[], object] = lambda: None,
) -> Score:
    """The score of so many nights, drawn by seeds that count up from a thousand times `seed`.

    Raises:
        SettingsError: a number of nights or processes that is none.
    """
    for name, number in (("--nights", nights), ("--processes", processes)):
        if number < 1:
            raise SettingsError(f"{name} {number}: say 1 or more")
    slow, seeds = slowed(farm), range(seed * 1000, seed * 1000 + nights)
    if processes == 1:
        return score_of(_counted((_night(slow, each) for each in seeds), on_night))
    # Started afresh, so that no thread or handler of this process comes along.
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        return score_of(_counted(pool.map(partial(_night, slow), seeds), on_night))


def _counted(nights: Iterable[Marks], on_night: Callable[[], object]) -> Iterator[Marks]:
    for marks in nights:
        on_night()
        yield marks
