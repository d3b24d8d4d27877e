"""When RO and the boil must start at the latest, so that no tank spills and no sap is held past its limit.

Each tank turns into a demand: by time t so much must have left it, because there was no room for more or
because it was too old to stay. Transfers are taken as made in time and the oldest sap is drawn first, so the
demand is the largest of

    0,
    volume + inflow - capacity + the demands of the tanks that drain into it,
    sap past the limit in it and in those;

the demands of the last tanks before the machines add up. A machine started at T does at most rate x (t - T),
so it must start by the least t - demand / rate over all t. With RO the concentrate tank stands between: RO
goes at its own rate until that tank is full, and then at the pace of the boil.

Between the moments when inflow ends or a parcel reaches the limit demands only bend upwards, so the least is
at such a moment or where the demand begins: the answer is exact and takes no stepping through time.

These are the last starts from which there is a way through the night: RO draws the tank that presses most,
pauses while the concentrate tank is full, and before the boil takes no sap that could wait into the room that
pressing sap will need; a boil waits while its feed is empty.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from itertools import pairwise
from math import inf
from operator import attrgetter, itemgetter

from shared.estimates.sugarhouse import LONGEST_S, ConcentrateTank, Dues, SapTank, Sugarhouse
from shared.physics.bounds import require_within
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.readings import Band

_AT_ONCE_M3_S = 1e9
_SLACK_S = 1e-3
"""A start missed by no more is rounding."""
_CLOSE_S = 0.05
"""How closely the start of a demand is found; a pump moves a cupful in that time."""


class Trouble(StrEnum):
    """What comes of starting later."""

    SPILL = "spill"
    HELD = "held past the limit"


@dataclass(frozen=True, slots=True)
class LatestStart:
    """Seconds from now until a machine must run; started later, trouble comes to that tank at that time."""

    start_s: float
    trouble: Trouble
    tank: str
    trouble_s: float


@dataclass(frozen=True, slots=True)
class Starts:
    """Latest starts; None where nothing within the horizon asks for one."""

    ro: LatestStart | None
    boil: LatestStart | None


@dataclass(frozen=True, slots=True)
class TooLate:
    """Starting everything now is not enough."""

    spill_m3: float
    """What runs over within the horizon all the same; 0 if nothing does."""
    oldest_s: float | None
    """Age that sap reaches all the same before it is boiled, if none is spilt; None if within the limit."""
    spill_s: float | None = field(default=None, compare=False)
    """When it begins to run over; None where nothing does, or only for the sake of older sap."""
    tank: str = field(default="", compare=False)
    """Where: the tank that the machines draw from, and those that drain into it."""


Outcome = Starts | TooLate


@dataclass(frozen=True, slots=True)
class Plan:
    """What to do if inflow is as low, middling or high as its band says."""

    at_low_inflow: Outcome
    at_middle_inflow: Outcome
    at_high_inflow: Outcome


def plan(house: Sugarhouse, horizon_s: float) -> Plan:
    """Latest starts of RO and of the boil, as late as both can be together, within the horizon.

    Raises:
        InvalidArgument: the horizon is not from a second to a year.
    """
    return Plan(*(outcome_at(house, horizon_s, attrgetter(name)) for name in ("low", "middle", "high")))


def outcome_at(house: Sugarhouse, horizon_s: float, inflow_m3_s: Callable[[Band], float]) -> Outcome:
    """The same for one inflow of each tank's band.

    Raises:
        InvalidArgument: the horizon is not from a second to a year.
    """
    require_within("horizon_s", horizon_s, 1.0, LONGEST_S)
    return _outcome(_Case(house, {tank.id: inflow_m3_s(tank.inflow_m3_s) for tank in house.tanks}), horizon_s)


class _Case:
    """What must have left the tanks by when, under one inflow; concentrate counts as the sap it came from."""

    def __init__(self, house: Sugarhouse, inflow_m3_s: dict[str, float]) -> None:
        self._house, self._inflow_m3_s = house, inflow_m3_s
        self._above = {tank.id: [t for t in house.tanks if t.drains_to == tank.id] for tank in house.tanks}
        self._last = [tank for tank in house.tanks if tank.drains_to is None]
        self._dues = {tank.id: Dues(tank, tank.volume_m3, house.hold_limit_s) for tank in house.tanks}
        self.limit_s = house.hold_limit_s
        self.has_ro = house.ro is not None
        if house.ro:
            tank, self.ro_m3_s = house.ro.tank, house.ro.feed_m3_s
            ratio = ro_concentrate_volume_ratio(house.ro.feed_brix, house.ro.concentrate_brix)
        else:
            # Sap passes unchanged and at once to an evaporator that has no tank of its own.
            tank, self.ro_m3_s, ratio = ConcentrateTank("", 0.0, 0.0), _AT_ONCE_M3_S, 1.0
        self._concentrate = Dues(tank, tank.volume_m3 / ratio, house.hold_limit_s)
        self._concentrate_id = tank.id
        self.boil_m3_s = house.evaporator_m3_s / ratio
        self.space_m3, self.free_m3 = tank.capacity_m3 / ratio, (tank.capacity_m3 - tank.volume_m3) / ratio

    def out_m3(self, at_s: float, aged_by_s: float) -> float:
        """What must have left the sap tanks for want of room at one time or for its age at another."""
        return sum(self._out_m3(tank, at_s, aged_by_s) for tank in self._last)

    def aged_m3(self, at_s: float) -> float:
        """Sap past the limit, had none left the sap tanks."""
        return sum(self._own_aged_m3(tank.id, at_s) for tank in self._house.tanks)

    def boiled_m3(self, at_s: float) -> float:
        """The same with the concentrate: what must have been boiled."""
        return self._concentrate.past_m3(at_s) + self.aged_m3(at_s)

    def due_s(self) -> list[float]:
        """When parcels reach the limit; before now for those already past it."""
        return [at_s for dues in (*self._dues.values(), self._concentrate) for at_s in dues.at_s]

    def moments_s(self, horizon_s: float) -> list[float]:
        """Where demands bend other than upwards, and the two ends."""
        ends_s = self._house.run_ends_s
        bends = {0.0, horizon_s, ends_s, self.limit_s, self.limit_s + ends_s, *self.due_s()}
        return sorted(at_s for at_s in bends if 0.0 <= at_s <= horizon_s)

    def trouble(self, at_s: float) -> tuple[Trouble, str]:
        """What happens to which tank if by then too little has left."""
        worst = max(self._last, key=lambda tank: self._out_m3(tank, at_s, at_s))
        if self._out_m3(worst, at_s, at_s) > self._aged_through_m3(worst, at_s):
            return Trouble.SPILL, worst.id
        return self.held(at_s)

    def spills(self, at_s: float) -> str:
        """The last tank that has the most to lose for want of room by then."""
        return max(self._last, key=lambda tank: self._out_m3(tank, at_s, -inf)).id

    def held(self, at_s: float) -> tuple[Trouble, str]:
        """The tank with the most sap past the limit by then, had none left."""
        aged_m3 = {tank.id: self._own_aged_m3(tank.id, at_s) for tank in self._house.tanks}
        aged_m3[self._concentrate_id] = self._concentrate.past_m3(at_s)
        return Trouble.HELD, max(aged_m3, key=lambda tank_id: aged_m3[tank_id])

    def _own_aged_m3(self, tank_id: str, at_s: float) -> float:
        run_s = min(max(at_s - self.limit_s, 0.0), self._house.run_ends_s)
        return self._dues[tank_id].past_m3(at_s) + self._inflow_m3_s[tank_id] * run_s

    def _aged_through_m3(self, tank: SapTank, at_s: float) -> float:
        above_m3 = sum(self._aged_through_m3(above, at_s) for above in self._above[tank.id])
        return self._own_aged_m3(tank.id, at_s) + above_m3

    def _out_m3(self, tank: SapTank, at_s: float, aged_by_s: float) -> float:
        run_s = min(at_s, self._house.run_ends_s)
        above_m3 = sum(self._out_m3(above, at_s, aged_by_s) for above in self._above[tank.id])
        over_m3 = tank.volume_m3 + self._inflow_m3_s[tank.id] * run_s + above_m3 - tank.capacity_m3
        return max(0.0, over_m3, self._aged_through_m3(tank, aged_by_s))


@dataclass(frozen=True, slots=True)
class _Need:
    """What a machine must have moved by each time, or by each time up to `due_s`."""

    moved_m3: Callable[[float], float]
    at_moments: tuple[tuple[float, float], ...]
    """The same at the moments that decide: (s, m3)."""
    trouble: Callable[[float], tuple[Trouble, str]]
    due_s: float


def _need(
    moved_m3: Callable[[float], float],
    moments_s: list[float],
    trouble: Callable[[float], tuple[Trouble, str]],
    due_s: float = inf,
) -> _Need:
    at_moments = tuple((at_s, moved_m3(at_s)) for at_s in moments_s if at_s <= due_s)
    return _Need(moved_m3, at_moments, trouble, due_s)


_Start = tuple[float, float, _Need]
"""When a machine must start, when there is trouble if it does not, and for whose sake."""


def _outcome(case: _Case, horizon_s: float) -> Outcome:
    moments_s = case.moments_s(horizon_s)
    needs = [_need(lambda at_s: case.out_m3(at_s, at_s), moments_s, case.trouble)]
    if case.has_ro and case.boil_m3_s < case.ro_m3_s:
        # Old sap must come so early that the slower boil can take it one after the other.
        needs += [
            _need(partial(_ahead_m3, case, due_s), moments_s, case.held, due_s)
            for due_s in moments_s
            if case.aged_m3(due_s) > 0.0
        ]
    ro = [
        *(_latest(need, 0.0, case.ro_m3_s) for need in needs),
        *(_latest(need, case.space_m3, case.boil_m3_s) for need in needs),
    ]
    boil = [
        _latest(_need(case.boiled_m3, moments_s, case.held), 0.0, case.boil_m3_s),
        *(_latest(need, case.free_m3, min(case.ro_m3_s, case.boil_m3_s)) for need in needs),
    ]
    if any(start[0] < -_SLACK_S for start in (*ro, *boil) if start):
        return _too_late(case, needs, moments_s)
    return Starts(_earliest(ro) if case.has_ro else None, _earliest(boil))


def _ahead_m3(case: _Case, due_s: float, at_s: float) -> float:
    return case.out_m3(at_s, due_s) - case.boil_m3_s * (due_s - at_s)


def _latest(need: _Need, spare_m3: float, rate_m3_s: float) -> _Start | None:
    """Latest start of a machine of that rate, if so much of the need may wait."""
    starts = [
        (at_s - (moved_m3 - spare_m3) / rate_m3_s, at_s)
        for at_s, moved_m3 in need.at_moments
        if moved_m3 > spare_m3
    ]
    for (before_s, before_m3), (after_s, after_m3) in pairwise(need.at_moments):
        if before_m3 <= spare_m3 < after_m3 and before_s < min(starts)[0]:
            starts.append(_around_begin_s(lambda at_s: need.moved_m3(at_s) - spare_m3, before_s, after_s))
    if not starts:
        return None
    start_s, at_s = min(starts)
    return start_s, at_s if need.due_s == inf else need.due_s, need


def _around_begin_s(
    need_m3: Callable[[float], float], before_s: float, after_s: float
) -> tuple[float, float]:
    """Just before and just after a need that rises throughout becomes positive."""
    while after_s - before_s > _CLOSE_S:
        middle_s = (before_s + after_s) / 2.0
        before_s, after_s = (before_s, middle_s) if need_m3(middle_s) > 0.0 else (middle_s, after_s)
    return before_s, after_s


def _earliest(starts: list[_Start | None]) -> LatestStart | None:
    found = [start for start in starts if start]
    if not found:
        return None
    start_s, trouble_s, need = min(found, key=itemgetter(0))
    return LatestStart(max(0.0, start_s), *need.trouble(trouble_s), trouble_s)


def _too_late(case: _Case, needs: list[_Need], moments_s: list[float]) -> TooLate:
    """What running everything from now on cannot prevent."""

    def moved_m3(at_s: float) -> float:
        return min(case.ro_m3_s * at_s, case.free_m3 + case.boil_m3_s * at_s)

    def done_s(at_s: float) -> float:
        return max(case.boiled_m3(at_s) / case.boil_m3_s, case.aged_m3(at_s) / case.ro_m3_s)

    dues_s = [
        at_s for at_s in (*moments_s, *case.due_s()) if at_s <= moments_s[-1] and case.boiled_m3(at_s) > 0.0
    ]
    late_s = max((done_s(at_s) - at_s for at_s in dues_s), default=0.0)

    def over_m3(at_s: float) -> float:
        return case.out_m3(at_s, -inf) - moved_m3(at_s)

    spill_m3 = max(over_m3(at_s) for at_s in moments_s)
    first_s = next((at_s for at_s in moments_s if over_m3(at_s) > 0.0), None)
    if first_s is not None and first_s > 0.0:
        first_s = _around_begin_s(over_m3, max(at_s for at_s in moments_s if at_s < first_s), first_s)[1]
    if late_s <= _SLACK_S and spill_m3 <= 0.0:
        # Either alone could be prevented, not both: the old sap goes first, and the rest spills.
        spill_m3 = max(need_m3 - moved_m3(at_s) for need in needs for at_s, need_m3 in need.at_moments)
    tank = "" if first_s is None else case.spills(first_s)
    return TooLate(max(0.0, spill_m3), case.limit_s + late_s if late_s > _SLACK_S else None, first_s, tank)
