"""When a drop began, and how long it took to fall: told apart from noise minute by minute.

Page's cumulative sum (Biometrika 1954) adds up what each minute falls short beyond a slack. It needs no window,
so a drop keeps its onset all night, and its last zero is the likeliest start of a step (Hinkley 1971). No
library at run time: this is all that is used of one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from shared.units import INHG_PA

MINUTE_MS = 60_000
LEAST_SLACK_PA = 0.3 * INHG_PA
"""What a good gauge is off by (from memory); no drop smaller than this has an onset."""
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


def fall_s(
    minutes_ms: Sequence[int], drops_pa: Sequence[float], since_ms: int | None, drop_pa: float
) -> float | None:
    """How long a drop took to get most of the way; None when these minutes do not hold its start."""
    if since_ms is None or not minutes_ms or since_ms < minutes_ms[0]:
        return None
    for minute_ms, minute_pa in zip(minutes_ms, drops_pa, strict=True):
        if minute_ms >= since_ms and minute_pa >= FELL_RATIO * drop_pa:
            return (minute_ms - since_ms) / 1000.0
    return max(0, minutes_ms[-1] + MINUTE_MS - since_ms) / 1000.0
