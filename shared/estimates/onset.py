"""When a drop began, and how long it took to fall: told apart from noise minute by minute.

Page's cumulative sum (Biometrika 1954) adds up what each minute falls short beyond a slack. It needs no
window, so a drop keeps its start all night; its last zero is the likeliest start of a step (Hinkley 1971).
Where half of the drop came within minutes, that step is the start, whatever small want went before it. No
library at run time: this is all that would be used of one.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from shared.units import INHG_PA

MINUTE_MS = 60_000
LEAST_SLACK_PA = 0.3 * INHG_PA
"""What a good gauge is off by (from memory); no drop smaller than this has a start."""
STEP_COUNT = 4
"""Minutes within which a leak takes most of what it takes (isothermal emptying of a line)."""
STEP_RATIO = 0.5
EDGE_RATIO = 0.1
"""A step is half of the drop within those minutes, and starts with the first that adds a tenth of it."""
FELL_RATIO = 0.8
"""Most of the way."""
_CAP_COUNT = 4.0
"""The sum is capped at so many slacks, so that a recovery shows within minutes of a night's drop."""


@dataclass(slots=True)
class Departure:
    """The cumulative sum of drops beyond the slack, and the start of the drop that lasts, if one does."""

    sum_pa: float = 0.0
    since_ms: int | None = None

    def take(self, minute_ms: int, drop_pa: float, slack_pa: float) -> None:
        """Take the drop of the minute that began at `minute_ms`; minutes in order."""
        self.sum_pa = min(_CAP_COUNT * slack_pa, max(0.0, self.sum_pa + drop_pa - slack_pa))
        if self.sum_pa == 0.0:
            self.since_ms = None
        elif self.since_ms is None:
            self.since_ms = minute_ms


def slack_pa(noise_pa: float) -> float:
    """A drop smaller than this is taken as noise, however long it lasts."""
    return max(2.0 * noise_pa, LEAST_SLACK_PA)


def start_ms(minutes_ms: Sequence[int], drops_pa: Sequence[float], since_ms: int, drop_pa: float) -> int:
    """The start of a drop that has lasted since `since_ms`: its step, if among these minutes it took one."""
    least = max(1, bisect_left(minutes_ms, since_ms))
    for index in range(len(drops_pa) - 1, least - 1, -1):
        before_pa = drops_pa[index - 1]
        if drops_pa[index] - before_pa < EDGE_RATIO * drop_pa:
            continue
        # Of the minutes of one step the first is meant: the one before it adds nothing.
        first = index == least or before_pa - drops_pa[index - 2] < EDGE_RATIO * drop_pa
        if first and max(drops_pa[index : index + STEP_COUNT]) - before_pa >= STEP_RATIO * drop_pa:
            return minutes_ms[index]
    return since_ms


def fall_s(
    minutes_ms: Sequence[int], drops_pa: Sequence[float], began_ms: int | None, drop_pa: float
) -> float | None:
    """How long a drop took to get most of the way; None when these minutes do not hold its start."""
    if began_ms is None or not minutes_ms or began_ms < minutes_ms[0]:
        return None
    for index in range(bisect_left(minutes_ms, began_ms), len(minutes_ms)):
        if drops_pa[index] >= FELL_RATIO * drop_pa:
            return (minutes_ms[index] - began_ms) / 1000.0
    return max(0, minutes_ms[-1] + MINUTE_MS - began_ms) / 1000.0
