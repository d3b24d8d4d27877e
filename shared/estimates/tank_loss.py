"""A tank that loses sap and nothing takes it: an open valve, a broken pipe, a siphon.

A tank's fall over a stretch of time is held against everything that may have taken it over the very same stretch:
what the tanks below it gained, what the RO and the evaporator can have drawn, what any other tank gained in step.
What is left over is a loss if it is more than the sensors can be wrong by, came evenly and goes on. Large losses show
within twenty minutes, small ones in two hours and a half.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from shared.estimates.level_watch import LevelWatch, band_m3, level_at_m3
from shared.estimates.machines import FULL_RATIO, boiled_at_most_m3, ro_fed_at_most_m3
from shared.estimates.picture import Picture, tank_view
from shared.farm import Farm
from shared.farm_parts import Tank
from shared.readings import Quantity, Unknown
from shared.units import HOUR_S

STRETCHES_S = (1200.0, HOUR_S, 2.5 * HOUR_S)
QUARTERS = 4
EVEN_RATIO = 0.4
"""Each quarter of the stretch must have this part of an even share: a step or an end of a fall is no loss."""
DRIFT_RATIO_PER_H = 0.006
"""Of the capacity: an echo reads 0.17 % of its distance more a degree (physics), and an evening cools by some four
degrees an hour."""
EXPLAINED_RATIO = 1 / 3
"""When so much of a fall is explained, the rest may well be."""
IN_STEP_RATIO = 0.25
"""A tank that gained as much as this one lost, give or take a quarter, got it."""
HEEL_RATIO = 0.01
"""Of the capacity over its heel: an empty tank loses nothing more."""
STALE_S = 300.0
STALE_COUNT = 3
AHEAD_MS = 60_000


@dataclass(frozen=True, slots=True)
class TankLoss:
    """What a tank loses unexplained."""

    rate_m3_s: float
    lost_m3: float
    """Over the stretch that showed it."""
    from_ms: int
    """Begin of that stretch."""
    left_m3: float
    """Above the heel."""


def is_checkable(farm: Farm, tank: Tank) -> bool:
    """Whether the file says where a tank's sap goes, and levels can tell whether it came there."""
    below = _below(farm, tank)
    heard = all(farm.sensors_of(Quantity.LEVEL, tank=each.id) for each in (tank, *below))
    ways = {tank.id, *(each.id for each in below)}
    by_machine = (farm.ro is not None and ways & set(farm.ro.takes_from)) or (
        farm.evaporator is not None and farm.evaporator.takes_from in ways
    )
    return heard and bool(below or by_machine)


def tank_loss(picture: Picture, farm: Farm, tank_id: str, now_ms: int) -> TankLoss | Unknown | None:
    """What a tank loses; None where nothing is missing, Unknown where it or a tank below it is not heard."""
    tank, watch = farm.tank_by_id[tank_id], picture.tanks.tanks[tank_id].watch
    end_ms = _end_ms(watch, now_ms)
    if end_ms is None:
        return Unknown("its level is not heard")
    level_m3 = level_at_m3(watch, end_ms)
    if level_m3 is None:
        return Unknown("its level has only just begun to be heard")
    left_m3 = level_m3 - tank.heel_m3
    if left_m3 <= max(HEEL_RATIO * watch.capacity_m3, band_m3(watch)):
        return None
    for stretch_s in STRETCHES_S:
        from_ms = end_ms - round(stretch_s * 1000)
        spare_m3 = band_m3(watch) + DRIFT_RATIO_PER_H * watch.capacity_m3 * stretch_s / HOUR_S
        before_m3 = level_at_m3(watch, from_ms)
        fall_m3 = 0.0 if before_m3 is None else before_m3 - level_m3
        if fall_m3 <= spare_m3 or not _falls_evenly(watch, from_ms, end_ms, fall_m3):
            continue
        explained_m3 = _explained_m3(picture, farm, tank, from_ms, end_ms, now_ms)
        if isinstance(explained_m3, Unknown):
            return explained_m3
        lost_m3 = fall_m3 - explained_m3
        if explained_m3 <= EXPLAINED_RATIO * fall_m3 and lost_m3 > spare_m3:
            if _got_it(picture, farm, tank, fall_m3, from_ms, end_ms):
                continue
            return TankLoss(lost_m3 / stretch_s, lost_m3, from_ms, left_m3)
    return None


def _end_ms(watch: LevelWatch, now_ms: int) -> int | None:
    """The newest minute, if it is one of now."""
    times_ms = watch.history.times_ms
    if not times_ms or times_ms[-1] > now_ms + AHEAD_MS:
        return None
    fresh_s = max(STALE_S, STALE_COUNT * watch.interval_s)
    return times_ms[-1] if now_ms - times_ms[-1] <= fresh_s * 1000 else None


def _falls_evenly(watch: LevelWatch, from_ms: int, to_ms: int, fall_m3: float) -> bool:
    """Whether the level fell in each quarter of the time."""
    step_ms = (to_ms - from_ms) / QUARTERS
    levels_m3 = [level_at_m3(watch, round(from_ms + i * step_ms)) for i in range(QUARTERS + 1)]
    known_m3 = [level_m3 for level_m3 in levels_m3 if level_m3 is not None]
    least_m3 = EVEN_RATIO * fall_m3 / QUARTERS
    return len(known_m3) > QUARTERS and all(a - b >= least_m3 for a, b in pairwise(known_m3))


def _explained_m3(
    picture: Picture, farm: Farm, tank: Tank, from_ms: int, end_ms: int, now_ms: int
) -> float | Unknown:
    """What can have been taken from a tank by the ways that the farm file names."""
    ways, taken_m3 = {tank.id}, 0.0
    for below in _below(farm, tank):
        watch = picture.tanks.tanks[below.id].watch
        if _end_ms(watch, now_ms) is None or tank_view(picture, farm, below.id, now_ms).volume_m3 is None:
            return Unknown(f"{below.id} is not heard")
        before_m3, after_m3 = level_at_m3(watch, from_ms), level_at_m3(watch, end_ms)
        if before_m3 is None or after_m3 is None:
            return Unknown(f"{below.id} was not heard")
        if after_m3 > FULL_RATIO * watch.capacity_m3:
            return Unknown(f"{below.id} is full")
        taken_m3 += after_m3 - before_m3
        ways.add(below.id)
    if farm.ro is not None and ways & set(farm.ro.takes_from):
        taken_m3 += ro_fed_at_most_m3(picture, farm, from_ms, end_ms)
    if farm.evaporator is not None and (farm.evaporator.takes_from or tank.id) in ways:
        taken_m3 += boiled_at_most_m3(picture, farm, from_ms, end_ms)
    return max(0.0, taken_m3)


def _below(farm: Farm, tank: Tank) -> tuple[Tank, ...]:
    """The tanks that a tank is emptied into, one after the other."""
    found: list[Tank] = []
    while tank.drains_to is not None and all(tank.drains_to != each.id for each in found):
        tank = farm.tank_by_id[tank.drains_to]
        found.append(tank)
    return tuple(found)


def _got_it(picture: Picture, farm: Farm, tank: Tank, fall_m3: float, from_ms: int, end_ms: int) -> bool:
    """Whether any other tank gained as much at the same time: pumped over by a way that the file does not name."""
    return any(
        abs(gain_m3 - fall_m3) <= IN_STEP_RATIO * fall_m3
        for gain_m3 in _gains_m3(picture, farm, tank, from_ms, end_ms)
    )


def _gains_m3(picture: Picture, farm: Farm, tank: Tank, from_ms: int, end_ms: int) -> Iterator[float]:
    for other in farm.tanks:
        watch = picture.tanks.tanks[other.id].watch
        before_m3, after_m3 = level_at_m3(watch, from_ms), level_at_m3(watch, end_ms)
        if other.id != tank.id and before_m3 is not None and after_m3 is not None:
            yield after_m3 - before_m3
