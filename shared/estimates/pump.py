"""What the newest readings say of the pump: its gauge, its switch, and what the lines still hold.

A farm without a gauge at the pump has its lines' instead: when the pump stops, all of them fall.
"""

from collections.abc import Mapping
from statistics import median

from shared.estimates.pump_run import PumpHistory, observe_pump
from shared.estimates.vacuum import VacuumHistory
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity

Latest = Mapping[str, tuple[int, float]]
"""By sensor: time and value (SI) of its newest reading."""
OPEN_RATIO = 0.6
"""Lines that hold less than this part of what the pump does are shut off from it; a poor layout loses a third
(common practice, no source)."""
SILENT_LEAST_MS = 600_000
SILENT_COUNT = 5
"""A switch or gauge that was not heard for so long, or missed so many intervals, says nothing of now."""


def pump_sensors(farm: Farm) -> tuple[Sensor, ...]:
    """What tells of the pump: its switch and its gauge, or the lines' gauges where it has none."""
    gauges = farm.sensors_of(Quantity.VACUUM)
    switches = tuple(s for s in farm.sensors_of(Quantity.RUNNING) if s.line == PUMP)
    return switches + (tuple(s for s in gauges if s.line == PUMP) or gauges)


def look_at_pump(
    state: PumpHistory,
    farm: Farm,
    latest: Latest,
    lines: Mapping[str, VacuumHistory],
    sensor: Sensor,
    at_ms: int,
) -> None:
    """Take in what is known of the pump now that this sensor has spoken, if it is one that tells."""
    if sensor.quantity not in (Quantity.VACUUM, Quantity.RUNNING):
        return
    told = pump_sensors(farm)
    ids = {s.id for s in told}
    if sensor.id not in ids:
        return
    fresh = [(s, latest[s.id][1]) for s in told if _is_fresh(latest, s, at_ms)]
    switches = [value > 0 for s, value in fresh if s.quantity is Quantity.RUNNING]
    gauges = [value for s, value in fresh if s.quantity is Quantity.VACUUM]
    thawed = [
        latest[s.id][1]
        for s in farm.sensors_of(Quantity.VACUUM)
        if s.id not in ids and _is_fresh(latest, s, at_ms) and s.id in lines and not lines[s.id].frozen
    ]
    observe_pump(
        state,
        at_ms,
        max(gauges, default=None),
        any(switches) if switches else None,
        thawed,
    )


def lines_are_sealed(latest: Latest, farm: Farm, pump_pa: float) -> bool:
    """Whether most lines hold far less than the pump: ice or valves shut them off from it."""
    vacuums = [latest[s.id][1] for s in farm.sensors_of(Quantity.VACUUM) if s.line != PUMP and s.id in latest]
    return bool(vacuums) and median(vacuums) < OPEN_RATIO * pump_pa


def _is_fresh(latest: Latest, sensor: Sensor, at_ms: int) -> bool:
    if sensor.id not in latest:
        return False
    return at_ms - latest[sensor.id][0] <= max(SILENT_LEAST_MS, SILENT_COUNT * sensor.interval_s * 1000)
