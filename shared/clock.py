"""The only place that asks what time it is.

Everything else is handed a `Clock` or a `now_ms`: milliseconds since 1970 UTC, one integer type for
storage, rules and the wire.
"""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass

Clock = Callable[[], int]
"""Answers the time now, in ms since 1970 UTC."""


def system_clock() -> int:
    """The machine's wall clock."""
    return time.time_ns() // 1_000_000


def monotonic_s() -> float:
    """Seconds that only ever go forward, for waiting and staleness; never for events."""
    return time.monotonic()


@dataclass(frozen=True, slots=True)
class Stretch:
    """From `wall_ms` on, farm time starts at `farm_ms` and runs `speed` times as fast as the wall."""

    wall_ms: int
    farm_ms: int
    speed: float


@dataclass(frozen=True, slots=True)
class Pace:
    """How farm time follows wall time: stretches in order, the last one for ever.

    A replay publishes by it and a demo's collector reads its clock from it, so that a night told in
    a minute still looks like a night.
    """

    stretches: tuple[Stretch, ...]

    @classmethod
    def from_json(cls, text: str) -> "Pace":
        """The pace that `to_json` wrote.

        Raises:
            ValueError: it is something else.
        """
        return cls(
            tuple(Stretch(int(wall), int(farm), float(speed)) for wall, farm, speed in json.loads(text))
        )

    def to_json(self) -> str:
        """The pace as another process can be told of it."""
        return json.dumps([[s.wall_ms, s.farm_ms, s.speed] for s in self.stretches])

    def farm_ms(self, wall_ms: int) -> int:
        """Farm time at that wall time."""
        current = self.stretches[0]
        for stretch in self.stretches[1:]:
            if wall_ms >= stretch.wall_ms:
                current = stretch
        return current.farm_ms + round((wall_ms - current.wall_ms) * current.speed)

    def wall_ms(self, farm_ms: int) -> int:
        """Wall time at which the farm's clock shows `farm_ms`."""
        current = self.stretches[0]
        for stretch in self.stretches[1:]:
            if farm_ms >= stretch.farm_ms:
                current = stretch
        return current.wall_ms + round((farm_ms - current.farm_ms) / current.speed)


def paced_clock(pace: Pace, wall: Clock = system_clock) -> Clock:
    """A clock that follows `pace`."""
    return lambda: pace.farm_ms(wall())
