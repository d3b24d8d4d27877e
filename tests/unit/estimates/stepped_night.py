"""A sugarhouse run through a night step by step, in one of several ways to choose which tank to draw.

It knows nothing of demands or deadlines' arithmetic: it fills tanks, lets full ones run over, moves sap, boils it
and looks at ages.
"""

from bisect import insort
from dataclasses import dataclass, field
from enum import Enum
from math import inf

from shared.estimates.sugarhouse import ConcentrateTank, SapTank, Sugarhouse
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.units import HOUR_S

STEP_S = 120.0
LUMP_S = 300.0
"""Sap that comes within five minutes is one parcel."""
HORIZON_S = 24 * HOUR_S


@dataclass
class Vessel:
    """A tank in the night: parcels of (time of birth, m3), oldest first."""

    capacity_m3: float
    inflow_m3_s: float = 0.0
    into: str | None = None
    parcels: list[tuple[float, float]] = field(default_factory=list)
    volume_m3: float = 0.0

    def put(self, born_s: float, part_m3: float) -> None:
        if part_m3 <= 0.0:
            return
        self.volume_m3 += part_m3
        if self.parcels and 0.0 <= born_s - self.parcels[-1][0] < LUMP_S:
            born, last_m3 = self.parcels.pop()
            self.parcels.append((born, last_m3 + part_m3))
        else:
            insort(self.parcels, (born_s, part_m3))

    def take(self, wanted_m3: float) -> list[tuple[float, float]]:
        taken = []
        while wanted_m3 > 1e-12 and self.parcels:
            born_s, part_m3 = self.parcels.pop(0)
            used_m3 = min(part_m3, wanted_m3)
            taken.append((born_s, used_m3))
            self.volume_m3 -= used_m3
            wanted_m3 -= used_m3
            if part_m3 > used_m3:
                self.parcels.insert(0, (born_s, part_m3 - used_m3))
        return taken

    def oldest_s(self, now_s: float) -> float:
        return now_s - self.parcels[0][0] if self.parcels else 0.0


class Way(Enum):
    """How RO chooses what to draw; a number: nothing before the boil that could wait so many seconds."""

    DEADLINE = "deadline"
    FEEDER = "deadline; for the sake of a feeder that will be full, the oldest of all"
    EARLY = "deadline less the time to boil what is old, but for a tank about to run over"
    AGE = "age first"
    ROOM = "room first"
    LAST_MOMENT = 600.0
    HOUR = 3600.0
    HOURS = 10800.0


class Night:
    """A sugarhouse stepped through a night under one inflow and one way to choose the tank to draw."""

    def __init__(self, house: Sugarhouse, level: str, way: Way) -> None:
        self.house, self.way = house, way
        self.tanks = {
            t.id: Vessel(t.capacity_m3, getattr(t.inflow_m3_s, level), t.drains_to) for t in house.tanks
        }
        for tank in house.tanks:
            self.fill(self.tanks[tank.id], tank)
        self.spilt_m3, self.oldest_s, self.ratio = 0.0, 0.0, 1.0
        self.boiling = False
        self.concentrate = Vessel(inf)
        if house.ro:
            self.ratio = ro_concentrate_volume_ratio(house.ro.feed_brix, house.ro.concentrate_brix)
            self.concentrate = Vessel(house.ro.tank.capacity_m3)
            self.fill(self.concentrate, house.ro.tank)

    def fill(self, vessel: Vessel, tank: SapTank | ConcentrateTank) -> None:
        whole_m3 = sum(part_m3 for part_m3, _ in tank.parcels)
        for part_m3, age_s in sorted(tank.parcels, key=lambda parcel: -parcel[1]):
            vessel.put(-age_s, part_m3 * tank.volume_m3 / (whole_m3 or 1.0))

    def run(self, ro_start_s: float, boil_start_s: float) -> "Night":
        house, steps = self.house, round(HORIZON_S / STEP_S)
        for step in range(steps):
            now_s = step * STEP_S
            if now_s < house.run_ends_s:
                for vessel in self.tanks.values():
                    vessel.put(now_s, vessel.inflow_m3_s * STEP_S)
            self.boiling = now_s >= boil_start_s
            if house.ro:
                if self.boiling:
                    self.concentrate.take(house.evaporator_m3_s * STEP_S)
                if now_s >= ro_start_s:
                    room_m3 = (self.concentrate.capacity_m3 - self.concentrate.volume_m3) / self.ratio
                    for born_s, part_m3 in self.draw(min(house.ro.feed_m3_s * STEP_S, room_m3), now_s):
                        self.concentrate.put(born_s, part_m3 * self.ratio)
            elif self.boiling:
                self.draw(house.evaporator_m3_s * STEP_S, now_s)
            self.run_over()
            ages_s = [v.oldest_s(now_s + STEP_S) for v in (*self.tanks.values(), self.concentrate)]
            self.oldest_s = max(self.oldest_s, *ages_s)
        return self

    def run_over(self) -> None:
        for tank in sorted(self.tanks, key=self.depth, reverse=True):
            vessel = self.tanks[tank]
            for born_s, part_m3 in vessel.take(vessel.volume_m3 - vessel.capacity_m3):
                if vessel.into:
                    self.tanks[vessel.into].put(born_s, part_m3)
                else:
                    self.spilt_m3 += part_m3

    def depth(self, tank: str) -> int:
        into = self.tanks[tank].into
        return 1 + self.depth(into) if into else 0

    def draw(self, wanted_m3: float, now_s: float) -> list[tuple[float, float]]:
        drawn: list[tuple[float, float]] = []
        at_once_m3 = wanted_m3 / (2 if len(self.tanks) > 1 else 1)
        while wanted_m3 > 1e-9 and (tank := self.choice(now_s)):
            part = self.tanks[tank].take(min(wanted_m3, at_once_m3))
            wanted_m3 -= sum(part_m3 for _, part_m3 in part)
            drawn += part
        return drawn

    def choice(self, now_s: float) -> str | None:
        """The tank to draw from: by the age of its oldest sap, or by the time until it runs over."""
        filled = [tank for tank, vessel in self.tanks.items() if vessel.parcels]
        ages = [(self.house.hold_limit_s - self.tanks[tank].oldest_s(now_s), tank) for tank in filled]
        if self.way is Way.EARLY:
            backlog_m3 = self.concentrate.volume_m3 + self.ratio * sum(self.due_m3(t) for t in filled)
            ages = [(due_s - backlog_m3 / self.house.evaporator_m3_s, tank) for due_s, tank in ages]
        rooms = []
        for tank in filled:
            if not self.tanks[tank].into:
                alone_s = self.until_over_s(tank, now_s, feeders=False)
                pooled_s = self.until_over_s(tank, now_s, feeders=True)
                rooms.append((pooled_s, tank))
                if self.way is Way.FEEDER and pooled_s < alone_s - STEP_S:
                    pool = [name for name in self.with_feeders(tank) if self.tanks[name].parcels]
                    rooms[-1:] = [
                        (alone_s, tank),
                        (pooled_s, min(pool, key=lambda name: self.tanks[name].parcels[0])),
                    ]
        if self.way is Way.AGE:
            rooms = []
        waits = {Way.ROOM: HORIZON_S, Way.EARLY: 2 * STEP_S}.get(self.way, -inf)
        if min(rooms, default=(inf, ""))[0] < waits:
            ages = []
        urgent_s, tank = min((*ages, *rooms), default=(inf, None))
        waits_s = self.way.value if isinstance(self.way.value, float) and not self.boiling else inf
        return tank if urgent_s <= waits_s else None

    def with_feeders(self, tank: str) -> list[str]:
        feeders = [name for name, above in self.tanks.items() if above.into == tank]
        return [tank, *(name for feeder in feeders for name in self.with_feeders(feeder))]

    def due_m3(self, tank: str) -> float:
        due_born_s = HORIZON_S - self.house.hold_limit_s
        return sum(part_m3 for born_s, part_m3 in self.tanks[tank].parcels if born_s < due_born_s)

    def until_over_s(self, tank: str, now_s: float, *, feeders: bool) -> float:
        """How long until this last tank runs over, by itself or with what its feeders cannot hold."""
        low_s, high_s = 0.0, max(0.0, min(self.house.run_ends_s - now_s, HORIZON_S))
        if self.over_m3(tank, high_s, feeders=feeders) <= 0.0:
            return inf
        for _ in range(12):
            middle_s = (low_s + high_s) / 2
            over = self.over_m3(tank, middle_s, feeders=feeders) > 0.0
            low_s, high_s = (low_s, middle_s) if over else (middle_s, high_s)
        return low_s

    def over_m3(self, tank: str, in_s: float, *, feeders: bool) -> float:
        vessel = self.tanks[tank]
        over_m3 = vessel.volume_m3 + vessel.inflow_m3_s * in_s - vessel.capacity_m3
        for name, above in self.tanks.items():
            if feeders and above.into == tank:
                over_m3 += max(0.0, self.over_m3(name, in_s, feeders=True))
        return over_m3
