"""The fire estimator is scored on simulated boils: it sees the stack, the simulation knows the truth.

What the simulation makes of a door, wood and neglect is in tests/fakes/boils.py. Seeds scored here were not
used to choose any constant.
"""

from dataclasses import dataclass, field
from statistics import median

import pytest

from shared.estimates.fire import Fire, FireHistory, FireState, fire, observe_stack
from tests.fakes.boils import LIMIT_C, START_MS, SimulatedBoil, Story, simulated_boil

MINUTE_MS = 60_000


@dataclass
class Score:
    """What the estimator, asked once a minute, made of some boils."""

    hits: int = 0
    missed: int = 0
    invented: int = 0
    dying_delays_min: list[float] = field(default_factory=list)
    dying_missed: int = 0
    falsely_dying: int = 0
    over_delays_min: list[float] = field(default_factory=list)
    over_missed: int = 0
    falsely_over: int = 0


def scored(seeds: range, interval_s: int) -> Score:
    score = Score()
    for seed in seeds:
        for story in Story:
            boil = simulated_boil(seed, story)
            answers = _minute_by_minute(boil, interval_s)
            _score_firings(score, boil, answers[-1][1])
            _score_dying(score, boil, story, answers)
            _score_over_fire(score, boil, answers)
    return score


def _minute_by_minute(boil: SimulatedBoil, interval_s: int) -> list[tuple[int, Fire]]:
    state = FireHistory(over_fire_c=LIMIT_C)
    answers = []
    next_ms = START_MS + MINUTE_MS
    for measured_ms, stack_c in boil.samples(interval_s):
        while measured_ms > next_ms:
            answer = fire(state, next_ms)
            assert isinstance(answer, Fire)
            answers.append((next_ms, answer))
            next_ms += MINUTE_MS
        observe_stack(state, measured_ms, stack_c, boil.air_c)
    return answers


def _score_firings(score: Score, boil: SimulatedBoil, answer: Fire) -> None:
    drawing_ms = boil.lit_ms + 10 * MINUTE_MS
    truth = [t for t in boil.firings_ms if t >= drawing_ms]
    found = [t for t in answer.firings_ms if t >= drawing_ms - MINUTE_MS]
    for true_ms in truth:
        near = next((t for t in found if abs(t - true_ms) <= MINUTE_MS), None)
        if near is None:
            score.missed += 1
        else:
            score.hits += 1
            found.remove(near)
    score.invented += len(found)


def _score_dying(score: Score, boil: SimulatedBoil, story: Story, answers: list[tuple[int, Fire]]) -> None:
    dying_ms = [at_ms for at_ms, answer in answers if answer.state is FireState.DYING]
    score.falsely_dying += any(at_ms < boil.last_due_ms for at_ms in dying_ms)
    if story is not Story.OVER_FIRE:  # those are fired to the end
        first_ms = next((at_ms for at_ms in dying_ms if at_ms >= boil.last_due_ms), None)
        if first_ms is None:
            score.dying_missed += 1
        else:
            score.dying_delays_min.append((first_ms - boil.last_due_ms) / MINUTE_MS)


def _score_over_fire(score: Score, boil: SimulatedBoil, answers: list[tuple[int, Fire]]) -> None:
    over_ms = [at_ms for at_ms, answer in answers if answer.over_fire is not None]
    true_ms = boil.over_fire_ms
    score.falsely_over += any(true_ms is None or at_ms < true_ms - 3 * MINUTE_MS for at_ms in over_ms)
    if true_ms is not None:
        first_ms = next((at_ms for at_ms in over_ms if at_ms >= true_ms - 3 * MINUTE_MS), None)
        if first_ms is None:
            score.over_missed += 1
        else:
            score.over_delays_min.append((first_ms - true_ms) / MINUTE_MS)


@pytest.mark.parametrize(
    ("interval_s", "seeds", "recall", "precision", "dying_median_min", "dying_worst_min", "over_median_min"),
    [
        (1, range(1000, 1003), 0.95, 0.98, 9, 14, 2),
        (5, range(1000, 1015), 0.95, 0.98, 9, 14, 2),
        (15, range(1000, 1015), 0.95, 0.98, 9, 15, 2),
        (30, range(1000, 1015), 0.85, 0.98, 15, 20, 3),
        # Here doors open and shut between two readings.
        (60, range(1000, 1015), 0.50, 0.95, 15, 20, 4),
    ],
)
def test_simulated_boils_are_read_as_well_as_their_sample_interval_allows(
    interval_s, seeds, recall, precision, dying_median_min, dying_worst_min, over_median_min
):
    score = scored(seeds, interval_s)
    boils = len(seeds) * len(Story)
    assert score.hits >= recall * (score.hits + score.missed)
    assert score.hits >= precision * (score.hits + score.invented)
    assert score.dying_missed <= boils // 40
    assert median(score.dying_delays_min) <= dying_median_min
    assert max(score.dying_delays_min) <= dying_worst_min
    assert score.falsely_dying <= boils // 12
    assert score.over_missed <= max(1, len(seeds) // 7)
    assert median(score.over_delays_min) <= over_median_min
    assert score.falsely_over <= boils // 40


def test_the_simulated_door_does_what_people_at_the_arch_report():
    """Falls of 100 to 300 °F within a minute, back in one to three (producers' accounts, from memory)."""
    falls_f, back_s = [], []
    for seed in range(1000, 1010):
        boil = simulated_boil(seed, Story.STEADY)
        for firing_ms in boil.firings_ms[5:-1]:
            second = (firing_ms - START_MS) // 1000
            before_c = boil.stack_c[second - 1]
            after_c = boil.stack_c[second : second + 240]
            bottom_s = after_c.index(min(after_c))
            falls_f.append((before_c - min(after_c)) * 1.8)
            back_s.append(next((s for s in range(bottom_s, 240) if after_c[s] >= before_c), 240))
    assert 100 < median(falls_f) < 300
    assert 60 < median(back_s) < 180
