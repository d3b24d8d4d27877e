"""Silences that many sensors share, so that nobody is called silent because all were.

When a gateway, or everything, is heard again after a pause, each sensor that was alive before it has its own time
to speak, as after a start.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from shared.farm_parts import Sensor

ALL = ""
"""Stands for all sensors where others stand for a gateway."""
PAUSE_COUNT = 5
"""Missed intervals of the sensor that ends it; fewer are ordinary on a radio link (from memory, design advice)."""
PAUSE_LEAST_MS = 300_000


@dataclass(slots=True)
class Pause:
    """The last time that nothing came for long, by arrival, and the newest word."""

    newest_ms: int = 0
    began_ms: int = 0
    ended_ms: int = 0


def note_heard(pauses: dict[str, Pause], sensor: Sensor, received_ms: int) -> None:
    """Take that a sensor was heard."""
    for name in (ALL, sensor.gateway):
        if name is None:
            continue
        pause = pauses.get(name)
        if pause is None:
            pauses[name] = Pause(received_ms)
        elif received_ms > pause.newest_ms:
            if received_ms - pause.newest_ms > max(PAUSE_LEAST_MS, PAUSE_COUNT * 1000 * sensor.interval_s):
                pause.began_ms, pause.ended_ms = pause.newest_ms, received_ms
            pause.newest_ms = received_ms


def silent_from_ms(pauses: Mapping[str, Pause], sensor: Sensor, heard_ms: int, limit_ms: float) -> int:
    """From when that sensor's silence counts: when it was last heard, or the end of the pause it fell silent in."""
    for name in (ALL, sensor.gateway):
        pause = pauses.get(name) if name is not None else None
        if pause is not None and pause.began_ms - limit_ms <= heard_ms < pause.ended_ms:
            heard_ms = pause.ended_ms
    return heard_ms
