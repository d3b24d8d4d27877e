"""Which machines run, and how much they may have taken: told by levels, stack and log, never by hope.

Where something could run unseen, it is taken to run: what is said to be missing must be missing in every case.
"""

from bisect import bisect_left
from math import inf

from shared.estimates.level_watch import band_m3, level_at_m3
from shared.estimates.logbook import boil_is_logged, ro_is_logged
from shared.estimates.picture import Picture, fire_view, tank_view
from shared.farm import Farm
from shared.physics.sap import ro_concentrate_volume_ratio, sap_per_syrup_ratio
from shared.physics.syrup import boil_water_kg_m3
from shared.readings import Unknown
from shared.requests import LogKind

FULL_RATIO = 0.97
"""A tank fuller than this may be running over: what still comes into it is not seen."""
SPARE = 1.3
"""A machine takes at most so many times what the farm file says (common practice, no source)."""
WEAKER = 1.15
"""So much more went in, for the permeate that is seen, where concentrate is 8 degrees Brix and not 12."""
STRONGER = 1.5
"""Concentrate may be so many times stronger than the farm file says, and so much the less of it (our choice)."""
RUNS_RATIO = 0.3
"""An RO that gives less than this part of its rate is not called running."""
HEELS = 1.5
"""A level sensor's error and what still runs back from the pans lie above the heel (common practice, no source)."""
BEFORE_MS = 600_000
FALLS_RATIO = 0.05
"""Of the capacity: by so much a level may be off near the bottom (common practice, no source)."""
EVEN_RATIO = 0.6
"""What came in one half of the time against the other."""
LEAST_PARTED = 0.1
"""An RO takes at least this part of its feed away as water."""
WATER_KG_M3 = 1000.0


def boil_feed_m3_s(farm: Farm) -> float:
    """What a steady boil takes: more than the water it boils off, by the syrup it makes; 0 without evaporator."""
    if farm.evaporator is None:
        return 0.0
    brix = farm.sap_brix if farm.ro is None else farm.ro.concentrate_brix
    return farm.evaporator.water_m3_s * WATER_KG_M3 * sap_per_syrup_ratio(brix) / boil_water_kg_m3(brix)


def is_cold(picture: Picture, farm: Farm, from_ms: int, now_ms: int) -> bool:
    """Whether it is known that nothing was boiled since that time."""
    if farm.evaporator is None:
        return True
    burning = fire_view(picture, farm, now_ms)
    if not isinstance(burning, Unknown):
        return not burning.is_lit and burning.since_ms <= from_ms
    stopped_ms = picture.logged_ms.get(LogKind.BOIL_STOPPED)
    return stopped_ms is not None and not boil_is_logged(picture, now_ms) and stopped_ms <= from_ms


def boiled_at_most_m3(picture: Picture, farm: Farm, from_ms: int, to_ms: int) -> float:
    """The most that the evaporator can have taken in that time; `to_ms` is now or shortly before."""
    if is_cold(picture, farm, from_ms, to_ms):
        return 0.0
    return SPARE * boil_feed_m3_s(farm) * (to_ms - from_ms) / 1000


def ro_fed_at_most_m3(picture: Picture, farm: Farm, from_ms: int, to_ms: int) -> float:
    """The most that the RO can have taken in that time, by what came out of it.

    Concentrate always comes into its tank, and shows unless it is boiled. Permeate may be let run into a drain at any
    time, so it tells only while it comes evenly.
    """
    ro = farm.ro
    if ro is None:
        return 0.0
    ratio, most_m3 = _kept_ratio(farm), SPARE * ro.feed_m3_s * (to_ms - from_ms) / 1000
    if is_cold(picture, farm, from_ms, to_ms):
        made_m3, noise_m3 = _rise_m3(picture, farm, ro.concentrate_to, from_ms, to_ms)
        if made_m3 is not None and noise_m3 < RUNS_RATIO * ratio * most_m3:
            most_m3 = min(most_m3, STRONGER * made_m3 / ratio if made_m3 > noise_m3 else 0.0)
    middle_ms = (from_ms + to_ms) // 2
    before_m3, noise_m3 = _rise_m3(picture, farm, ro.permeate_to, from_ms, middle_ms)
    after_m3, _ = _rise_m3(picture, farm, ro.permeate_to, middle_ms, to_ms)
    if before_m3 is None or after_m3 is None:
        return most_m3
    comes_evenly = min(before_m3, after_m3) > max(noise_m3, EVEN_RATIO * max(before_m3, after_m3))
    fed_m3 = WEAKER * (before_m3 + after_m3 + noise_m3) / max(LEAST_PARTED, 1 - ratio)
    return min(most_m3, fed_m3) if comes_evenly else most_m3


def ro_runs_since(picture: Picture, farm: Farm, now_ms: int, within_s: float) -> bool | None:
    """Whether the RO has run all that time, by concentrate, permeate or log; None where nothing tells."""
    ro = farm.ro
    if ro is None:
        return None
    from_ms, third_ms = now_ms - round(within_s * 1000), round(within_s * 1000 / 3)
    logged_ms = ro_is_logged(picture, now_ms)
    if logged_ms is not None and logged_ms <= from_ms:
        return True
    ratio, told = _kept_ratio(farm), []
    for tank_id, share in ((ro.concentrate_to, ratio), (ro.permeate_to, 1 - ratio)):
        ends = ((from_ms, from_ms + third_ms), (now_ms - third_ms, now_ms))
        risen_m3 = [_change_m3(picture, farm, tank_id, *end) for end in ends]
        least_m3 = RUNS_RATIO * share * ro.feed_m3_s * third_ms / 1000
        known_m3 = [each for each in risen_m3 if each is not None]
        if len(known_m3) == len(ends) and tank_id is not None:
            told.append(
                min(known_m3) > least_m3 and sum(known_m3) > band_m3(picture.tanks.tanks[tank_id].watch)
            )
    return any(told) if told else None


def ro_may_feed(picture: Picture, farm: Farm, from_ms: int, now_ms: int) -> bool:
    """Whether the RO may have made concentrate since then: not if no permeate is seen and what feeds it stood still."""
    ro = farm.ro
    if ro is None:
        return False
    made_m3, noise_m3 = _rise_m3(picture, farm, ro.permeate_to, from_ms, now_ms)
    is_seen = made_m3 is not None and made_m3 > noise_m3
    changes_m3 = [_change_m3(picture, farm, tank_id, from_ms, now_ms) for tank_id in ro.takes_from]
    least_m3 = RUNS_RATIO * ro.feed_m3_s * (now_ms - from_ms) / 1000
    moved = (change_m3 is None or abs(change_m3) > least_m3 for change_m3 in changes_m3)
    return is_seen or ro_is_logged(picture, now_ms) is not None or any(moved)


def feed_ran_out_ms(picture: Picture, farm: Farm, lit_ms: int, now_ms: int) -> int | None:
    """Since when the tank that feeds the pans counts as empty, if it was boiled empty since the fire was lit."""
    feeds = None if farm.evaporator is None else farm.evaporator.takes_from
    if feeds is None:
        return None
    tank, volume_m3 = farm.tank_by_id[feeds], tank_view(picture, farm, feeds, now_ms).volume_m3
    watch, empty_m3 = picture.tanks.tanks[feeds].watch, HEELS * tank.heel_m3
    if volume_m3 is None or volume_m3 > empty_m3:
        return None
    times_ms, volumes_m3 = watch.history.times_ms, watch.history.volumes_m3
    held = [i for i, each_m3 in enumerate(volumes_m3) if each_m3 > empty_m3]
    if not held or held[-1] + 1 >= len(times_ms) or times_ms[held[-1]] < lit_ms:
        return None
    last, spare_m3 = held[-1], empty_m3 + FALLS_RATIO * watch.capacity_m3
    first = bisect_left(times_ms, times_ms[last] - BEFORE_MS)
    boiled_m3 = SPARE * boil_feed_m3_s(farm) * (times_ms[last] - times_ms[first]) / 1000
    # Faster than that no pan drinks: it was drained, or its sensor failed.
    was_drunk = volumes_m3[last] <= spare_m3 and volumes_m3[first] <= spare_m3 + boiled_m3
    return times_ms[last + 1] if was_drunk else None


def _kept_ratio(farm: Farm) -> float:
    assert farm.ro is not None
    return ro_concentrate_volume_ratio(farm.sap_brix, max(farm.sap_brix, farm.ro.concentrate_brix))


def _change_m3(picture: Picture, farm: Farm, tank_id: str | None, from_ms: int, to_ms: int) -> float | None:
    """How much a tank's level rose or fell; None where it is not heard."""
    if tank_id is None or tank_view(picture, farm, tank_id, to_ms).volume_m3 is None:
        return None
    watch = picture.tanks.tanks[tank_id].watch
    before_m3, after_m3 = level_at_m3(watch, from_ms), level_at_m3(watch, to_ms)
    return None if before_m3 is None or after_m3 is None else after_m3 - before_m3


def _rise_m3(
    picture: Picture, farm: Farm, tank_id: str | None, from_ms: int, to_ms: int
) -> tuple[float | None, float]:
    """What came into a tank, None where it could not be seen (not heard, full, drawn from); and its noise."""
    changed_m3 = _change_m3(picture, farm, tank_id, from_ms, to_ms)
    if changed_m3 is None or tank_id is None:
        return None, 0.0
    watch = picture.tanks.tanks[tank_id].watch
    noise_m3, level_m3 = band_m3(watch), level_at_m3(watch, to_ms) or inf
    is_hidden = level_m3 > FULL_RATIO * watch.capacity_m3 or changed_m3 < -noise_m3
    return None if is_hidden else max(0.0, changed_m3), noise_m3
