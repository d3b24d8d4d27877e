"""Deadlines against nights run step by step: from the latest start one is clean, from a later one none is."""

import random
from dataclasses import replace
from math import inf

import pytest

from shared.estimates.deadlines import LatestStart, Starts, TooLate, Trouble, plan
from shared.estimates.sugarhouse import ConcentrateTank, Ro, SapTank, Sugarhouse
from shared.readings import Band
from shared.units import HOUR_S
from tests.unit.estimates.stepped_night import HORIZON_S, LUMP_S, STEP_S, Night, Way

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
