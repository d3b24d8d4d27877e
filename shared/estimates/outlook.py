"""What will come whatever is done now: a tank that runs over, and sap that grows too old before anybody starts.

The deadline plan, asked for room with the least that may run in, once a minute of event time; and for age as if there
were room for everything, so that the one does not hide the other.
"""

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace
from operator import attrgetter

from shared.estimates.deadlines import Outcome, TooLate, outcome_at
from shared.estimates.house_tonight import STILL_M3_S, sugarhouse_tonight
from shared.estimates.level_watch import level_at_m3
from shared.estimates.picture import MINUTE_MS, Picture, frost_view, tank_view
from shared.estimates.sugarhouse import LONGEST_S, Sugarhouse
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.readings import Unknown

ROOMY_M3 = 9e4
"""Room for everything."""
BRIM_RATIO = 0.985
"""A level sensor is off by a hundredth or so where it matters (common practice, no source)."""
BELOW_BRIM_RATIO = 0.97
JUMP_RATIO_PER_MIN = 0.08
"""No pump fills a tank so fast: ice or foam on the sensor does."""
BEFORE_MS = 30 * MINUTE_MS
LEAST_BEFORE_S = 480.0

_low = attrgetter("low")


@dataclass(frozen=True, slots=True)
class Outlook:
    """What cannot be helped."""

    house: Sugarhouse
    spill: TooLate | None
    """Within the horizon, if as little runs in as well may be."""
    spills_at: str
    """The tank that it comes into, where it will be seen."""


@dataclass(frozen=True, slots=True)
class Brim:
    """A tank that is full to its brim, by filling."""

    since_ms: int | None
    """None: for longer than is remembered."""
    came_m3_s: float | None
    """What came in before that; None: not known any more."""


def outlook(picture: Picture, farm: Farm, horizon_s: float, now_ms: int) -> Outlook | Unknown | None:
    """The outlook, worked out once a minute; None where the farm file names no evaporator or no tank of sap.

    Raises:
        InvalidArgument: the horizon is not from a second to a year.
    """
    asked = (now_ms // MINUTE_MS, horizon_s)
    if picture.planned is None or picture.planned[0] != asked:
        house = sugarhouse_tonight(picture, farm, frost_view(picture, farm, now_ms), now_ms)
        found = _worked_out(house, horizon_s) if isinstance(house, Sugarhouse) else house
        picture.planned = (asked, found)
    answer = picture.planned[1]
    assert answer is None or isinstance(answer, Outlook | Unknown)
    return answer


def latest_for_age(house: Sugarhouse) -> Outcome | None:
    """Latest starts for the sake of age alone, as if there were room; None where the owner sets no limit."""
    if house.hold_limit_s >= LONGEST_S:
        return None
    roomy = tuple(replace(tank, capacity_m3=ROOMY_M3) for tank in house.tanks)
    return outcome_at(replace(house, tanks=roomy), house.hold_limit_s, _low)


def _worked_out(house: Sugarhouse, horizon_s: float) -> Outlook:
    # Where no tank can fill by itself none can run over; most of the time that is all there is to ask.
    filling = any(t.volume_m3 + t.inflow_m3_s.low * horizon_s > t.capacity_m3 for t in house.tanks)
    room = outcome_at(house, horizon_s, _low) if filling else None
    if not isinstance(room, TooLate) or room.spill_s is None:
        return Outlook(house, None, "")
    return Outlook(house, room, _comes_into(house, room.tank))


def _comes_into(house: Sugarhouse, last: str) -> str:
    """Of the tanks that end in that one and that no other is emptied into: the first in the file that sap runs into."""
    onward = {tank.id: tank.drains_to for tank in house.tanks}
    found = [tank for tank in house.tanks if tank.id not in onward.values() and _end(onward, tank.id) == last]
    running = [tank for tank in found if tank.inflow_m3_s.middle > 0.0]
    return (running or found)[0].id


def _end(onward: Mapping[str, str | None], tank_id: str) -> str:
    while (further := onward[tank_id]) is not None:
        tank_id = further
    return tank_id


def brim(picture: Picture, farm: Farm, tank_id: str, now_ms: int) -> Brim | None:
    """Whether a tank stands at its brim and came there by filling, not by a jump of its sensor; permeate may."""
    view = tank_view(picture, farm, tank_id, now_ms)
    level_m3, capacity_m3 = view.volume_m3, view.capacity_m3
    is_full = level_m3 is not None and level_m3 >= BRIM_RATIO * capacity_m3
    if not is_full or farm.tank_by_id[tank_id].holds is Holds.PERMEATE:
        return None
    watch = picture.tanks.tanks[tank_id].watch
    times_ms, volumes_m3 = watch.history.times_ms, watch.history.volumes_m3
    most_m3 = BELOW_BRIM_RATIO * capacity_m3
    # Two minutes below it: one may be a spike.
    below = [i for i in range(1, len(volumes_m3)) if max(volumes_m3[i - 1 : i + 1]) < most_m3]
    if not below or below[-1] + 1 >= len(times_ms):
        return Brim(None, None)
    last, after = below[-1], below[-1] + 1
    minutes = (times_ms[after] - times_ms[last]) / MINUTE_MS
    if volumes_m3[after] - volumes_m3[last] > JUMP_RATIO_PER_MIN * capacity_m3 * max(1.0, minutes):
        return None
    at_brim = (i for i in range(after, len(times_ms)) if volumes_m3[i] >= BRIM_RATIO * capacity_m3)
    since_ms = times_ms[next(at_brim, len(times_ms) - 1)]
    first = bisect_left(times_ms, times_ms[last] - BEFORE_MS)
    before_m3, span_s = level_at_m3(watch, times_ms[first]), (times_ms[last] - times_ms[first]) / 1000
    if before_m3 is None or span_s < LEAST_BEFORE_S:
        return Brim(since_ms, None)
    came_m3_s = (volumes_m3[last] - before_m3) / span_s
    return Brim(since_ms, came_m3_s) if came_m3_s > STILL_M3_S else None
