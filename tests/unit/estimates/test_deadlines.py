"""Deadlines worked by hand; test_deadlines_by_steps.py runs whole nights."""

from dataclasses import replace
from math import inf, nan

import pytest

from shared.errors import InvalidArgument
from shared.estimates.deadlines import LatestStart, Starts, TooLate, Trouble, outcome_at, plan
from shared.estimates.sugarhouse import ConcentrateTank, Ro, SapTank, Sugarhouse
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.readings import Band
from shared.units import HOUR_S

HORIZON_S = 24 * HOUR_S
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


def test_all_that_came_in_a_run_is_due_a_limit_after_its_end():
    """6 m3 came in 3,000 s; the last is due at 13,000 s, and the boil takes 6,000 s."""
    tank = SapTank("lower", 0.0, 1000.0, (), Band(2e-3, 2e-3, 2e-3))
    house = replace(ONE_TANK, tanks=(tank,), evaporator_m3_s=1e-3, hold_limit_s=10_000.0, run_ends_s=3000.0)
    assert middle(house).boil == LatestStart(pytest.approx(7000.0), Trouble.HELD, "lower", 13_000.0)


def test_the_tank_that_asks_for_most_is_named():
    far = replace(ONE_TANK.tanks[0], id="far", volume_m3=9.0)
    for tanks in ((far, *ONE_TANK.tanks), (*ONE_TANK.tanks, far)):
        found = middle(replace(ONE_TANK, tanks=tanks))
        assert found.boil.start_s == pytest.approx(1000.0, abs=0.1)
        assert found.boil.tank == "far"


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


def test_old_sap_above_is_named_for_ro_as_well():
    upper = SapTank("upper", 2.0, 5.0, ((2.0, 39 * HOUR_S),), Band(0.0, 0.0, 0.0), "lower")
    lower = SapTank("lower", 4.0, 10.0, ((4.0, 0.0),), Band(0.0, 0.0, 0.0))
    found = middle(replace(WITH_RO, tanks=(upper, lower), evaporator_m3_s=1e-3))
    assert found.ro == LatestStart(pytest.approx(2600.0), Trouble.HELD, "upper", pytest.approx(3600.0))


def test_a_full_tank_means_start_now():
    full = replace(ONE_TANK.tanks[0], volume_m3=10.0)
    found = middle(replace(ONE_TANK, tanks=(full,)))
    assert found.boil.start_s == 0.0


def test_what_is_too_late_says_how_much_will_spill():
    full = replace(ONE_TANK.tanks[0], volume_m3=10.0, inflow_m3_s=Band(3e-3, 3e-3, 3e-3))
    assert middle(replace(ONE_TANK, tanks=(full,), run_ends_s=1000.0)) == TooLate(pytest.approx(1.0), None)


def test_what_is_too_late_says_when_and_where_it_begins_to_run_over():
    """2 of the 3 litres a second are boiled; 1 m3 of room is gone in 1,000 s."""
    nearly = replace(ONE_TANK.tanks[0], volume_m3=9.0, inflow_m3_s=Band(3e-3, 3e-3, 3e-3))
    found = middle(replace(ONE_TANK, tanks=(nearly,), run_ends_s=3000.0))
    assert found.spill_s == pytest.approx(1000.0, abs=0.1)
    assert found.tank == "lower"
    brim = replace(nearly, volume_m3=10.0)
    assert middle(replace(ONE_TANK, tanks=(brim,), run_ends_s=3000.0)).spill_s == pytest.approx(0.0, abs=0.1)


def test_old_sap_alone_runs_over_nowhere():
    old = SapTank("lower", 4.0, 10.0, ((4.0, 41 * HOUR_S),), Band(0.0, 0.0, 0.0))
    found = middle(replace(ONE_TANK, tanks=(old,)))
    assert (found.spill_s, found.tank) == (None, "")


def test_the_room_asked_for_may_be_of_one_inflow_alone():
    whole = plan(ONE_TANK, 6 * HOUR_S)
    assert outcome_at(ONE_TANK, 6 * HOUR_S, lambda band: band.high) == whole.at_high_inflow


def test_what_is_too_late_says_how_old_it_will_be():
    old = SapTank("lower", 4.0, 10.0, ((4.0, 41 * HOUR_S),), Band(0.0, 0.0, 0.0))
    assert middle(replace(ONE_TANK, tanks=(old,))) == TooLate(0.0, pytest.approx(41 * HOUR_S + 2000.0))


def test_a_boil_slower_than_the_run_holds_sap_longer_to_the_end_of_the_horizon():
    """28.8 m3 are due by 7 h; at 1 litre a second they take 8."""
    tank = SapTank("lower", 0.0, 1000.0, (), Band(2e-3, 2e-3, 2e-3))
    house = replace(ONE_TANK, tanks=(tank,), hold_limit_s=3 * HOUR_S, evaporator_m3_s=1e-3)
    assert middle(house, horizon_s=7 * HOUR_S) == TooLate(0.0, pytest.approx(4 * HOUR_S))


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


def test_a_second_is_a_horizon():
    assert middle(ONE_TANK, horizon_s=1.0) == Starts(None, None)


@pytest.mark.parametrize("horizon_s", [0.0, -1.0, nan, inf])
def test_an_impossible_horizon_is_refused(horizon_s):
    with pytest.raises(InvalidArgument) as refused:
        plan(ONE_TANK, horizon_s)
    assert refused.value.argument == "horizon_s"
