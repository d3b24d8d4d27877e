"""What sensors say of each other: who stands still while others move, and who drifts away from them.

A drift comes over hours, by itself. A leak comes within minutes, and takes more or as much from every gauge beyond
it; so what came in one step, or what another gauge shares, is none. Gauges are held against the median of the
others, hour by hour of running and thawed lines; two in one tank, or in the same air, against each other.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from shared.estimates.sensor_health import (
    HOUR_MS,
    SensorHealth,
    is_lively,
    may_rest,
    note_refused,
    stands_still,
)
from shared.farm import Farm
from shared.farm_parts import Sensor, Tank
from shared.physics.tanks import capacity_m3, full_height_m, volume_m3
from shared.readings import Quantity, Reject
from shared.units import INHG_PA

STILL_COUNT = 20
"""Readings that must all be alike; of lively ones the chance is below one in a million."""
Healths = Mapping[str, SensorHealth]

OTHERS_MOVED_PA = 3.0 * INHG_PA
AIR_MOVED_C = 4.0
POURED_RATIO = 0.1
"""What another tank took or gave, as a share of this one: the level must show it."""
HOT_SHARE = 0.25
"""A fire is never still: of the stack's, so much of the usual time is too long."""
STEP_RATIO = 0.4
"""More than this part of the limit within one hour is a step, not a drift."""
ALONE_RATIO = 0.7
LEAST_OTHERS_COUNT = 2
"""With one other nobody could tell which of the two drifts."""
LEAST_HOURS_COUNT = 4
APART_HOURS_COUNT = 2
DAY_COUNT = 24
"""Thermometers may differ by sun and shade, but not at every hour of a day."""
FILLING_RATIO = 0.01
"""Of a tank's height in an hour."""


@dataclass(frozen=True, slots=True)
class Stuck:
    """A sensor that has shown the very same value for too long."""

    since_ms: int
    value: float
    others_moved: bool
    """Known by those; else by its own digits, which used to flicker."""
    was_filling: bool
    """A level that rose until it stood still."""


def note_reject(healths: dict[str, SensorHealth], farm: Farm, reject: Reject, at_ms: int) -> None:
    """Take a reject, taken to be of `at_ms`, for the sensor it is about, or for all that speak on its topic."""
    about = [reject.sensor] if reject.sensor is not None else []
    for sensor in about or [sensor.id for sensor in farm.sensors if farm.topic_of(sensor) == reject.topic]:
        if sensor in farm.sensor_by_id:
            health = healths.setdefault(sensor, SensorHealth())
            note_refused(health, reject.kind, at_ms, reject.received_ms)


def stuck(
    healths: Healths, farm: Farm, sensor: Sensor, least_s: float, least_count: int = STILL_COUNT
) -> Stuck | None:
    """Whether that sensor stands still though it should not; None while it may, or has not for long enough."""
    health = healths.get(sensor.id)
    if sensor.quantity is Quantity.STACK_TEMPERATURE:
        least_s *= HOT_SHARE
    if (
        health is None
        or health.measured_ms - health.shown_ms < least_s * 1000
        or health.shown_count < least_count
    ):
        return None
    by_others = _others_moved(healths, farm, sensor, health)
    by_itself = health.still_count >= least_count and stands_still(health, sensor.quantity, least_s)
    if not by_others and not by_itself:
        return None
    since_ms = health.shown_ms if by_others else health.still_ms
    filling = sensor.tank is not None and _was_filling(health, farm.tank_by_id[sensor.tank], sensor)
    return Stuck(since_ms, health.value, by_others, filling)


def _moved(state: SensorHealth, from_ms: int) -> float:
    """How far its hourly means, and its newest reading, lie apart since then; SI."""
    means = [mean for hour, mean, _ in state.hours if (hour + 1) * HOUR_MS > from_ms]
    return max(state.value, *means) - min(state.value, *means) if means else 0.0


def _moving_hours(state: SensorHealth) -> dict[int, float]:
    """Its means of the hours in which it should have moved."""
    return {hour: mean for hour, mean, moving in state.hours if moving}


def _others_moved(healths: Healths, farm: Farm, sensor: Sensor, health: SensorHealth) -> bool:
    from_ms = health.shown_ms
    others = [
        (other, healths[other.id])
        for other in farm.sensors_of(sensor.quantity)
        if other.id != sensor.id and other.id in healths
    ]
    if sensor.quantity is Quantity.VACUUM:
        lines = [_moved(each, from_ms) for _, each in others]
        holds = not may_rest(sensor.quantity, health.value) and is_lively(health)
        return holds and bool(lines) and median(lines) >= OTHERS_MOVED_PA
    if sensor.quantity is Quantity.AIR_TEMPERATURE:
        return any(_moved(each, from_ms) >= AIR_MOVED_C for _, each in others)
    if sensor.quantity is Quantity.LEVEL and is_lively(health):
        return any(_poured(farm, sensor, other, each, from_ms) for other, each in others)
    return False


def _poured(farm: Farm, sensor: Sensor, other: Sensor, health: SensorHealth, from_ms: int) -> bool:
    """Whether the other level shows that this tank took or gave enough to be seen."""
    assert sensor.tank is not None
    assert other.tank is not None
    mine, theirs = farm.tank_by_id[sensor.tank], farm.tank_by_id[other.tank]
    if mine.id not in (theirs.id, theirs.drains_to) and mine.drains_to != theirs.id:
        return False
    means = [mean for hour, mean, _ in health.hours if (hour + 1) * HOUR_MS > from_ms]
    volumes = [_volume_m3(theirs, level_m) for level_m in (*means, health.value)]
    return max(volumes) - min(volumes) >= POURED_RATIO * capacity_m3(mine.geometry)


def _volume_m3(tank: Tank, level_m: float) -> float:
    return volume_m3(tank.geometry, min(max(level_m, 0.0), full_height_m(tank.geometry)))


def _was_filling(health: SensorHealth, tank: Tank, sensor: Sensor) -> bool:
    if sensor.quantity is not Quantity.LEVEL:
        return False
    before = [mean for hour, mean, _ in health.hours if (hour + 1) * HOUR_MS <= health.shown_ms][-2:]
    return bool(before) and health.value - before[0] >= FILLING_RATIO * len(before) * full_height_m(
        tank.geometry
    )


def can_drift(farm: Farm, sensor: Sensor) -> bool:
    """Whether there are others on the farm that tell."""
    if sensor.quantity is Quantity.VACUUM:
        return len(farm.sensors_of(Quantity.VACUUM)) > LEAST_OTHERS_COUNT
    return _twin(farm, sensor) is not None


def drift(healths: Healths, farm: Farm, sensor: Sensor, limit: float) -> float:
    """How far that sensor has drifted from the others, SI; positive: it shows less than it should.

    0 while nothing tells so. `limit` is what counts as much.
    """
    health = healths.get(sensor.id)
    if health is None:
        return 0.0
    if sensor.quantity is not Quantity.VACUUM:
        twin = _twin(farm, sensor)
        return 0.0 if twin is None or twin.id not in healths else _apart(sensor, health, healths[twin.id])
    hours = {
        other.id: _moving_hours(healths[other.id])
        for other in farm.sensors_of(Quantity.VACUUM)
        if other.id in healths
    }
    mine = _slid(hours, sensor.id, limit)
    if abs(mine) >= limit and any(
        abs(_slid(hours, other, limit)) > ALONE_RATIO * abs(mine) for other in hours if other != sensor.id
    ):
        return 0.0
    return mine


def _slid(hours: Mapping[str, Mapping[int, float]], name: str, limit: float) -> float:
    """How far a gauge has slid against the others since the last step, if there was one."""
    behind: list[float] = []
    for hour, mean in hours[name].items():
        others = [each[hour] for other, each in hours.items() if other != name and hour in each]
        if len(others) >= LEAST_OTHERS_COUNT:
            behind.append(median(others) - mean)
    if len(behind) < LEAST_HOURS_COUNT:
        return 0.0
    first = 0
    for index, (before, after) in enumerate(pairwise(behind)):
        if abs(after - before) > STEP_RATIO * limit:
            first = index + 1
    since = behind[first:]
    if len(since) < LEAST_HOURS_COUNT:
        return 0.0
    low, high = min(behind[-2:]) - min(since), max(behind[-2:]) - max(since)
    return low if low > -high else high


def _twin(farm: Farm, sensor: Sensor) -> Sensor | None:
    """The sensor before it in the farm file that measures the very same thing."""
    if sensor.quantity not in (Quantity.LEVEL, Quantity.AIR_TEMPERATURE):
        return None
    same = [each for each in farm.sensors_of(sensor.quantity) if each.tank == sensor.tank]
    return same[0] if same[0].id != sensor.id else None


def _apart(sensor: Sensor, mine: SensorHealth, theirs: SensorHealth) -> float:
    """By how much two that measure the same have differed at every hour of late; positive: this one shows less."""
    count = APART_HOURS_COUNT if sensor.quantity is Quantity.LEVEL else DAY_COUNT
    other = {hour: mean for hour, mean, _ in theirs.hours}
    behind = [other[hour] - mean for hour, mean, _ in mine.hours if hour in other][-count:]
    if len(behind) < count:
        return 0.0
    least, most = min(behind), max(behind)
    return least if least > 0 else min(most, 0.0)
