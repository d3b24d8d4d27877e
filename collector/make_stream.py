"""`lantern simulate`: a story becomes a stream file, with the truth beside it."""

import gzip
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from rich.console import Console

from collector.replay import progress_bar
from collector.simulate.farm_night import Simulation, simulate
from collector.simulate.story import Story, parse_story
from collector.simulate.truth_file import truth_text
from collector.simulate.wire import stream_line
from shared.errors import SettingsError
from shared.farm import Farm
from shared.instants import instant_ms
from shared.units import DAY_S

START_MS = instant_ms("2026-03-16T12:00:00Z")
"""Where a stream starts if its story does not say: a morning in the middle of a season."""
MOST_DAYS = 60
"""A season has six weeks."""
HOUR_MS = 3_600_000
STILL_FARM = Story(title="weather, sap and a crew at work")


def make_stream(farm: Farm, story_file: Path | None, days: float | None, seed: int | None, out: Path) -> int:
    """Make a stream, with a bar while it goes on and a sentence at the end; the process's exit code.

    Raises:
        SettingsError: a file cannot be read or written, or so many days are none.
        StoryFileError: the story is wrong, or names what the farm does not have.
    """
    simulation = begin(farm, read_story(story_file), days, seed)
    with progress_bar(hours_count(simulation), lambda: "Simulate, by the hour") as on_hour:
        truth_file = write_stream(simulation, out, on_hour)
    said = f"{simulation.truth.message_count:,} messages in {out}, the truth in {truth_file}"
    Console().print(said, markup=False, highlight=False, soft_wrap=True)
    return 0


def read_story(path: Path | None) -> Story:
    """The story in that file; without one a farm at which nothing goes wrong.

    Raises:
        SettingsError: the file cannot be read.
        StoryFileError: the story is wrong.
    """
    if path is None:
        return STILL_FARM
    try:
        return parse_story(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"cannot read the story: {error}") from error


def begin(farm: Farm, story: Story, days: float | None, seed: int | None) -> Simulation:
    """The simulation of a story; what is None is as the story says.

    Raises:
        SettingsError: so many days are none, or longer than a season.
        StoryFileError: the story names what the farm does not have.
    """
    days = story.duration_s / DAY_S if days is None else days
    if not 0 < days <= MOST_DAYS:
        raise SettingsError(
            f"{days:g} days are no stretch of a season; say more than 0 and at most {MOST_DAYS}"
        )
    start_ms = START_MS if story.start is None else round(story.start.timestamp() * 1000)
    return simulate(farm, story, start_ms, days, story.seed if seed is None else seed)


def hours_count(simulation: Simulation) -> int:
    """How many whole hours a simulation takes."""
    return (simulation.truth.end_ms - simulation.truth.start_ms) // HOUR_MS


def write_stream(simulation: Simulation, out: Path, on_hour: Callable[[], object]) -> Path:
    """Write stream and truth, calling `on_hour` for each hour that is done; the truth's file.

    Raises:
        SettingsError: a file cannot be written.
    """
    truth = simulation.truth
    truth_file = out.with_name(out.name.removesuffix(".gz").removesuffix(".jsonl") + ".truth.json")
    next_ms = truth.start_ms + HOUR_MS
    try:
        with _opened(out) as stream:
            for message in simulation.messages:
                stream.write(stream_line(message) + "\n")
                if message.t_ms >= next_ms:
                    next_ms += HOUR_MS
                    on_hour()
        truth_file.write_text(truth_text(truth), "utf-8")
    except OSError as error:
        raise SettingsError(f"cannot write the stream: {error}") from error
    return truth_file


@contextmanager
def _opened(out: Path) -> Iterator[IO[str]]:
    if out.suffix != ".gz":
        with out.open("w", encoding="utf-8") as text:
            yield text
        return
    # No name and no time in the header: the same stream is the same file.
    with (
        out.open("wb") as file,
        gzip.GzipFile("", "wb", 9, file, mtime=0) as stream,
        io.TextIOWrapper(stream, "utf-8") as text,
    ):
        yield text
