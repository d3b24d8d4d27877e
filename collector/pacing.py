"""The pace of a replay as somebody at the keyboard wants it: standing, message by message, faster, slower.

A replay has a clock of its own, its *course*. Untouched it shows the wall's time, so whatever was planned for a
wall time happens then; a key makes it stand, or run at twice or half its speed from there on. The functions are
pure; `Controls` is what the keyboard's thread and the replay's share.
"""

import math
import threading
from dataclasses import dataclass, replace

from shared.clock import Clock, system_clock

SLOWEST_RATIO = 2.0**-10
FASTEST_RATIO = 2.0**20
"""Beyond these nobody can tell a difference any more (common sense, no source)."""
KEYS = "space: pause and go on, s: one message while paused, + and -: twice and half the speed, q: stop"


@dataclass(frozen=True, slots=True)
class Pacer:
    """From `wall_ms` on the course starts at `course_ms` and runs `speed_ratio` times as fast, or stands."""

    wall_ms: int = 0
    course_ms: int = 0
    speed_ratio: float = 1.0
    is_paused: bool = False
    step_count: int = 0
    """Messages that are let through although it stands."""


def course_ms(pacer: Pacer, wall_ms: int) -> int:
    """What the replay's own clock shows at that wall time, in ms."""
    if pacer.is_paused:
        return pacer.course_ms
    return pacer.course_ms + round((wall_ms - pacer.wall_ms) * pacer.speed_ratio)


def pause(pacer: Pacer, wall_ms: int) -> Pacer:
    """It stands from now on."""
    return replace(_anchored(pacer, wall_ms), is_paused=True)


def go(pacer: Pacer, wall_ms: int) -> Pacer:
    """It runs on from where it stands."""
    return replace(_anchored(pacer, wall_ms), is_paused=False, step_count=0)


def step(pacer: Pacer) -> Pacer:
    """One more message is let through, if it stands."""
    return replace(pacer, step_count=pacer.step_count + 1) if pacer.is_paused else pacer


def faster(pacer: Pacer, wall_ms: int) -> Pacer:
    """Twice as fast from now on."""
    return replace(_anchored(pacer, wall_ms), speed_ratio=min(pacer.speed_ratio * 2, FASTEST_RATIO))


def slower(pacer: Pacer, wall_ms: int) -> Pacer:
    """Half as fast from now on."""
    return replace(_anchored(pacer, wall_ms), speed_ratio=max(pacer.speed_ratio / 2, SLOWEST_RATIO))


def let_through(pacer: Pacer, due_ms: int | None, wall_ms: int) -> tuple[Pacer, float]:
    """How many ms of wall time the next message has to wait: 0 lets it through, infinity waits for a key.

    Args:
        pacer: As it is now; the one returned has the step used up that let the message through.
        due_ms: When the message is due on the course; None: as soon as possible.
        wall_ms: Now.
    """
    if pacer.is_paused:
        if pacer.step_count == 0:
            return pacer, math.inf
        at_ms = pacer.course_ms if due_ms is None else max(pacer.course_ms, due_ms)
        return replace(pacer, course_ms=at_ms, step_count=pacer.step_count - 1), 0.0
    ahead_ms = 0 if due_ms is None else due_ms - course_ms(pacer, wall_ms)
    return pacer, max(0.0, ahead_ms / pacer.speed_ratio)


def _anchored(pacer: Pacer, wall_ms: int) -> Pacer:
    return replace(pacer, wall_ms=wall_ms, course_ms=course_ms(pacer, wall_ms))


class Controls:
    """A replay's pacer, shared between who presses keys and the replay itself."""

    def __init__(self, stop: threading.Event, wall: Clock = system_clock) -> None:
        """Run at the planned speed; `stop` is set by the key that ends the replay."""
        self._stop = stop
        self._wall = wall
        self._lock = threading.Lock()
        self._pacer = Pacer()

    def press(self, key: str) -> None:
        """Do what a key asks for (`KEYS`); any other key does nothing."""
        with self._lock:
            now_ms, pacer = self._wall(), self._pacer
            match key:
                case " ":
                    self._pacer = go(pacer, now_ms) if pacer.is_paused else pause(pacer, now_ms)
                case "s":
                    self._pacer = step(pacer)
                case "+" | "=":  # the same key with and without shift
                    self._pacer = faster(pacer, now_ms)
                case "-" | "_":
                    self._pacer = slower(pacer, now_ms)
                case "q":
                    self._stop.set()

    def wait_ms(self, due_ms: int | None) -> float:
        """How long the next message has to wait from now; 0 means that it goes now."""
        with self._lock:
            self._pacer, waits_ms = let_through(self._pacer, due_ms, self._wall())
            return waits_ms

    @property
    def words(self) -> str:
        """How it runs, for a progress bar."""
        pacer = self._pacer
        if pacer.is_paused:
            return "Paused"
        return "Replay" if pacer.speed_ratio == 1 else f"Replay ×{pacer.speed_ratio:g}"
