"""Deadlines against a night run step by step: the last safe start is safe, a later one is not.

The step-by-step night knows nothing of demands: it fills tanks, lets full ones run over, moves sap, boils it
and looks at ages. It tries several ways to choose which tank to draw; a start is safe if one of them is
clean.
"""

import random
from bisect import insort
from dataclasses import dataclass, field, replace
from enum import Enum
from math import inf

import pytest

from shared.errors import InvalidArgument
from shared.estimates.deadlines import LatestStart, Starts, TooLate, Trouble, plan
from shared.estimates.sugarhouse import ConcentrateTank, Ro, SapTank, Sugarhouse
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.readings import Band
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
        for _ in range(2 if len(self.tanks) > 1 else 1):
            tank = self.choice(now_s)
            if tank:
                drawn += self.tanks[tank].take(wanted_m3 / (2 if len(self.tanks) > 1 else 1))
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


SPILL_TOLERANCE_M3 = 0.12
"""What a machine does in a step or two."""
AGE_TOLERANCE_S = LUMP_S + 4 * STEP_S


def is_clean(house: Sugarhouse, level: str, ro_start_s: float, boil_start_s: float) -> bool:
    for way in Way if len(house.tanks) > 1 else (Way.DEADLINE,):
        night = Night(house, level, way).run(ro_start_s, boil_start_s)
        if night.spilt_m3 <= SPILL_TOLERANCE_M3 and night.oldest_s <= house.hold_limit_s + AGE_TOLERANCE_S:
            return True
    return False


def random_house(dice: random.Random) -> Sugarhouse:
    """One to three tanks, side by side or one into another, with RO or without."""

    def parcels(volume_m3: float) -> tuple[tuple[float, float], ...]:
        parts = dice.randint(1, 4)
        return tuple((volume_m3 / parts, dice.uniform(0.0, 14 * HOUR_S)) for _ in range(parts))

    tanks = []
    for name in ("upper", "lower", "far")[: dice.choice([1, 1, 2, 2, 3])]:
        capacity_m3 = dice.uniform(3.0, 12.0)
        volume_m3 = capacity_m3 * dice.uniform(0.0, 0.95)
        middle = dice.choice([0.0, dice.uniform(5e-5, 2e-4), dice.uniform(5e-5, 6e-4)])
        tanks.append(
            SapTank(
                name, volume_m3, capacity_m3, parcels(volume_m3), Band(0.7 * middle, middle, 1.4 * middle)
            )
        )
    if len(tanks) > 1 and dice.random() < 0.5:
        tanks[0] = replace(tanks[0], drains_to="lower")
    if len(tanks) > 2 and dice.random() < 0.3:
        tanks[2] = replace(tanks[2], drains_to="upper")
    ro = None
    evaporator_m3_s = dice.uniform(2e-4, 8e-4)
    if dice.random() < 0.7:
        capacity_m3 = dice.uniform(0.5, 4.0)
        volume_m3 = capacity_m3 * dice.choice([0.0, dice.uniform(0.0, 0.9)])
        tank = ConcentrateTank("concentrate", volume_m3, capacity_m3, parcels(volume_m3))
        ro = Ro(dice.uniform(3e-4, 9e-4), 2.0, dice.choice([4.0, 8.0, 12.0]), tank)
        evaporator_m3_s = dice.uniform(0.4e-4, 4e-4)
    return Sugarhouse(
        tuple(tanks),
        evaporator_m3_s,
        dice.uniform(15 * HOUR_S, 30 * HOUR_S),
        ro,
        dice.choice([inf, inf, dice.uniform(2 * HOUR_S, 20 * HOUR_S)]),
    )


FARMS = 40
LATER_S = 2 * HOUR_S


def outcome_of(seed: int) -> tuple[Sugarhouse, Starts | TooLate]:
    house = random_house(random.Random(seed))
    return house, plan(house, HORIZON_S).at_middle_inflow


def start_s(start: LatestStart | None) -> float:
    return start.start_s if start else inf


@pytest.mark.parametrize("seed", range(FARMS))
def test_a_random_night_is_clean_from_the_latest_start_and_from_no_later_one(seed):
    house, outcome = outcome_of(seed)
    if isinstance(outcome, TooLate):
        assert (
            outcome.spill_m3 > SPILL_TOLERANCE_M3 or outcome.oldest_s > house.hold_limit_s + AGE_TOLERANCE_S
        )
        assert not is_clean(house, "middle", 0.0, 0.0)
        return
    ro_s, boil_s = start_s(outcome.ro), start_s(outcome.boil)
    assert is_clean(house, "middle", ro_s, boil_s)
    if ro_s + LATER_S < HORIZON_S:
        assert not is_clean(house, "middle", ro_s + LATER_S, 0.0)
    if boil_s + LATER_S < HORIZON_S:
        assert not is_clean(house, "middle", 0.0, boil_s + LATER_S)


def test_the_random_nights_are_of_every_kind():
    outcomes = [outcome_of(seed)[1] for seed in range(FARMS)]
    starts = [start for o in outcomes if isinstance(o, Starts) for start in (o.ro, o.boil) if start]
    assert {start.trouble for start in starts} == set(Trouble)
    assert sum(isinstance(o, Starts) and o.ro is not None for o in outcomes) >= 5
    assert sum(isinstance(o, TooLate) and o.spill_m3 > 0.0 for o in outcomes) >= 2
    assert sum(isinstance(o, TooLate) and o.oldest_s is not None for o in outcomes) >= 1


def test_what_cannot_be_prevented_is_what_happens_when_all_starts_now():
    """More inflow and a third of the limit make it too late mostly; with one tank there is one way."""
    spilt = held = 0
    for seed in range(100, 130):
        dice = random.Random(seed)
        house = random_house(dice)
        inflow = Band(0.0, dice.uniform(0.0, 1.5e-3), 1.0)
        tank = replace(house.tanks[0], drains_to=None, inflow_m3_s=inflow)
        house = replace(house, tanks=(tank,), hold_limit_s=house.hold_limit_s / 3)
        outcome = plan(house, HORIZON_S).at_middle_inflow
        if isinstance(outcome, Starts):
            continue
        night = Night(house, "middle", Way.DEADLINE).run(0.0, 0.0)
        assert night.spilt_m3 == pytest.approx(outcome.spill_m3, abs=2 * SPILL_TOLERANCE_M3), seed
        spilt += outcome.spill_m3 > 0.0
        if outcome.spill_m3 == 0.0:
            assert night.oldest_s == pytest.approx(outcome.oldest_s, abs=AGE_TOLERANCE_S), seed
            held += 1
    assert min(spilt, held) >= 5


ONE_TANK = Sugarhouse(
    (SapTank("lower", 4.0, 10.0, ((4.0, 0.0),), Band(0.5e-3, 1e-3, 2e-3)),), 2e-3, 40 * HOUR_S
)
CONCENTRATE = ConcentrateTank("concentrate", 0.2, 1.0, ((0.2, 0.0),))
WITH_RO = replace(ONE_TANK, ro=Ro(2e-3, 2.0, 8.0, CONCENTRATE), evaporator_m3_s=1e-4, run_ends_s=12_000.0)
RATIO = ro_concentrate_volume_ratio(2.0, 8.0)


def middle(house: Sugarhouse, horizon_s: float = HORIZON_S) -> Starts | TooLate:
    return plan(house, horizon_s).at_middle_inflow


def test_a_boil_faster_than_the_inflow_must_start_when_the_tank_is_full():
    found = middle(ONE_TANK)
    assert found.ro is None
    assert found.boil.start_s == pytest.approx(6000.0, abs=0.1)
    assert (found.boil.trouble, found.boil.tank) == (Trouble.SPILL, "lower")
    assert found.boil.trouble_s == pytest.approx(6000.0, abs=0.1)


def test_more_inflow_means_an_earlier_start():
    whole = plan(ONE_TANK, 6 * HOUR_S)
    starts = [whole.at_low_inflow, whole.at_middle_inflow, whole.at_high_inflow]
    assert [found.boil.start_s for found in starts] == pytest.approx([12_000.0, 6000.0, 3000.0], abs=0.1)


def test_a_boil_slower_than_the_inflow_must_start_so_much_before_the_freeze():
    """16 m3 have come by 12,000 s, 6 more than fit; at 1 litre a second they take 6,000 s."""
    house = replace(ONE_TANK, evaporator_m3_s=1e-3, run_ends_s=12_000.0)
    found = plan(house, HORIZON_S)
    assert found.at_middle_inflow.boil.start_s == pytest.approx(6000.0, abs=0.1)
    assert found.at_high_inflow == TooLate(pytest.approx(6.0), None)


def test_nothing_need_start_while_all_fits():
    assert middle(replace(ONE_TANK, run_ends_s=6000.0)) == Starts(None, None)
    assert middle(ONE_TANK, horizon_s=5999.0) == Starts(None, None)


def test_old_sap_must_be_boiled_by_its_limit():
    """4 m3 of 10 h by 12 h, at 1 litre a second."""
    tank = SapTank("lower", 4.0, 10.0, ((1.0, 10 * HOUR_S),), Band(0.0, 0.0, 0.0))
    found = middle(replace(ONE_TANK, tanks=(tank,), hold_limit_s=12 * HOUR_S, evaporator_m3_s=1e-3))
    assert found.boil == LatestStart(pytest.approx(3200.0), Trouble.HELD, "lower", pytest.approx(7200.0))


def test_the_parcel_that_presses_most_decides():
    """1 m3 by 3,000 s needs a start at 2,000 s, all 4 m3 by 7,000 s one at 3,000 s."""
    parcels = ((3.0, 36_200.0), (1.0, 40_200.0))
    tank = SapTank("lower", 4.0, 10.0, parcels, Band(0.0, 0.0, 0.0))
    found = middle(replace(ONE_TANK, tanks=(tank,), hold_limit_s=12 * HOUR_S, evaporator_m3_s=1e-3))
    assert found.boil == LatestStart(pytest.approx(2000.0), Trouble.HELD, "lower", pytest.approx(3000.0))


def test_sap_that_still_comes_grows_old_too():
    """1 litre a second from now on, due from the limit on at the same pace: the boil starts at the limit."""
    tank = SapTank("lower", 0.0, 1000.0, (), Band(1e-3, 1e-3, 1e-3))
    found = middle(replace(ONE_TANK, tanks=(tank,), hold_limit_s=3 * HOUR_S))
    assert found.boil.start_s == pytest.approx(3 * HOUR_S, abs=0.1)
    assert found.boil.trouble is Trouble.HELD


def test_ro_starts_when_the_sap_tank_is_full_and_the_boil_when_both_are():
    """The concentrate tank takes 0.8 m3 more; 6 m3 of sap must have left at 12,000 s."""
    found = middle(WITH_RO)
    boil_s = 12_000.0 - (6.0 * RATIO - 0.8) / 1e-4
    assert found.ro.start_s == pytest.approx(6000.0, abs=0.1)
    assert found.boil == LatestStart(pytest.approx(boil_s), Trouble.SPILL, "lower", 12_000.0)


def test_no_boil_is_needed_while_the_concentrate_tank_has_room():
    found = middle(replace(WITH_RO, run_ends_s=8000.0))
    assert found.ro.start_s == pytest.approx(6000.0, abs=0.1)
    assert found.boil is None


def test_a_slow_boil_brings_the_start_of_ro_forward():
    """Empty, the concentrate tank takes 4.1 m3 of sap; what is more goes at the pace of the boil."""
    found = middle(replace(WITH_RO, run_ends_s=14_000.0, evaporator_m3_s=1.1e-4))
    assert found.ro.start_s == pytest.approx(14_000.0 - (8.0 * RATIO - 1.0) / 1.1e-4)


def test_old_concentrate_asks_for_the_boil_alone():
    aged = replace(CONCENTRATE, parcels=((1.0, 39 * HOUR_S),))
    house = replace(WITH_RO, ro=replace(WITH_RO.ro, tank=aged), run_ends_s=0.0)
    assert middle(house) == Starts(
        None, LatestStart(pytest.approx(1600.0), Trouble.HELD, "concentrate", pytest.approx(3600.0))
    )


def test_old_sap_goes_through_ro_early_enough_for_the_boil():
    """4 m3 of sap, a litre of concentrate in ten seconds: RO must start when the boil must."""
    tank = SapTank("lower", 4.0, 10.0, ((1.0, 30 * HOUR_S),), Band(0.0, 0.0, 0.0))
    found = middle(replace(WITH_RO, tanks=(tank,)))
    start_s = 10 * HOUR_S - 4.0 * RATIO / 1e-4
    assert found.ro == LatestStart(pytest.approx(start_s, abs=0.1), Trouble.HELD, "lower", 10 * HOUR_S)
    assert found.boil == LatestStart(pytest.approx(start_s), Trouble.HELD, "lower", 10 * HOUR_S)


def test_a_tank_that_drains_into_another_uses_its_room():
    upper = SapTank("upper", 3.0, 5.0, ((3.0, 0.0),), Band(1e-3, 1e-3, 1e-3), "lower")
    lower = SapTank("lower", 4.0, 10.0, ((4.0, 0.0),), Band(0.0, 0.0, 0.0))
    found = middle(replace(ONE_TANK, tanks=(upper, lower)))
    assert found.boil.start_s == pytest.approx(8000.0, abs=0.1)
    assert found.boil.tank == "lower"


def test_a_lower_tank_cannot_use_the_room_above_it():
    upper = SapTank("upper", 0.0, 50.0, (), Band(0.0, 0.0, 0.0), "lower")
    found = middle(replace(ONE_TANK, tanks=(upper, *ONE_TANK.tanks)))
    assert found.boil.start_s == pytest.approx(6000.0, abs=0.1)


def test_old_sap_above_is_named_and_comes_down_in_time():
    upper = SapTank("upper", 2.0, 5.0, ((2.0, 39 * HOUR_S),), Band(0.0, 0.0, 0.0), "lower")
    lower = SapTank("lower", 4.0, 10.0, ((4.0, 0.0),), Band(0.0, 0.0, 0.0))
    found = middle(replace(ONE_TANK, tanks=(upper, lower)))
    assert found.boil == LatestStart(pytest.approx(2600.0), Trouble.HELD, "upper", pytest.approx(3600.0))


def test_a_full_tank_means_start_now():
    full = replace(ONE_TANK.tanks[0], volume_m3=10.0)
    found = middle(replace(ONE_TANK, tanks=(full,)))
    assert found.boil.start_s == 0.0


def test_what_is_too_late_says_how_much_will_spill():
    full = replace(ONE_TANK.tanks[0], volume_m3=10.0, inflow_m3_s=Band(3e-3, 3e-3, 3e-3))
    assert middle(replace(ONE_TANK, tanks=(full,), run_ends_s=1000.0)) == TooLate(pytest.approx(1.0), None)


def test_what_is_too_late_says_how_old_it_will_be():
    old = SapTank("lower", 4.0, 10.0, ((4.0, 41 * HOUR_S),), Band(0.0, 0.0, 0.0))
    assert middle(replace(ONE_TANK, tanks=(old,))) == TooLate(0.0, pytest.approx(41 * HOUR_S + 2000.0))


def test_two_tanks_that_could_each_be_saved_alone_cannot_both():
    """4 m3 are due in 4,000 s, all the boil can do; in the same time 2 m3 run into a full tank."""
    old = SapTank("old", 4.0, 10.0, ((4.0, 40 * HOUR_S - 4000.0),), Band(0.0, 0.0, 0.0))
    full = SapTank("full", 10.0, 10.0, ((10.0, 0.0),), Band(5e-4, 5e-4, 5e-4))
    house = replace(ONE_TANK, tanks=(old, full), evaporator_m3_s=1e-3, run_ends_s=4000.0)
    assert middle(house) == TooLate(pytest.approx(2.0), None)


def test_a_full_concentrate_tank_slows_ro_from_the_start():
    """RO can do no more than the boil makes room for: 0.1 l/s of concentrate is 0.41 l/s of sap."""
    full = replace(CONCENTRATE, volume_m3=1.0)
    brim = replace(ONE_TANK.tanks[0], volume_m3=10.0)
    house = replace(WITH_RO, ro=replace(WITH_RO.ro, tank=full), tanks=(brim,), run_ends_s=5000.0)
    assert middle(house) == TooLate(pytest.approx(5.0 - 5000.0 * 1e-4 / RATIO), None)


@pytest.mark.parametrize("horizon_s", [0.0, -1.0, float("nan"), inf])
def test_an_impossible_horizon_is_refused(horizon_s):
    with pytest.raises(InvalidArgument) as refused:
        plan(ONE_TANK, horizon_s)
    assert refused.value.argument == "horizon_s"
