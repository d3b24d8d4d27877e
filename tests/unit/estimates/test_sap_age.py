"""The ledger of sap against exact mass balances and the square-root law."""

import copy
import math
from itertools import pairwise

import pytest
from pydantic import TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates.parcels import MERGE_MS, MOST_PARCELS, Parcel, fresh_parcel
from shared.estimates.sap_age import (
    Ledger,
    correct,
    drain,
    fill,
    move,
    sap_age,
    stirred_age_s,
    waiting_s,
    warm,
    wash,
    worst_age_s,
)
from shared.readings import Unknown
from shared.units import GALLON_M3, HOUR_S
from tests.fakes.ledgers import HEEL_M3, T0_MS, hour, new_ledger, pour


def hours(age_s):
    return age_s / HOUR_S


def test_stirred_sap_of_six_hours_with_five_hours_of_inflow_is_of_six_and_three_quarters():
    """A1. Mass balance, exact: (500 * 11 + 500 * 2.5) / 1000 h."""
    ledger = new_ledger("upper")
    pour(ledger, "upper", 500, 0)
    for minute in range(300):
        pour(ledger, "upper", 100 / 60, 6 + minute / 60, 6 + (minute + 1) / 60)
    assert hours(stirred_age_s(ledger, "upper", hour(11))) == pytest.approx(6.75, abs=1e-6)
    assert hours(sap_age(ledger, "upper", hour(11)).mean_s) == pytest.approx(6.75, abs=1e-6)
    assert hours(sap_age(ledger, "upper", hour(11)).oldest_s) == pytest.approx(11.0)


@pytest.mark.parametrize("t_h", [1, 7, 30])
def test_a_constant_fill_is_half_as_old_as_it_lasted(t_h):
    """A2. Mass balance, exact: t / 2."""
    ledger = new_ledger("upper")
    for minute in range(t_h * 60):
        pour(ledger, "upper", 2, minute / 60, (minute + 1) / 60)
    age = sap_age(ledger, "upper", hour(t_h))
    assert hours(age.mean_s) == pytest.approx(t_h / 2, abs=1e-6)
    assert hours(age.oldest_s) == pytest.approx(t_h)
    assert hours(stirred_age_s(ledger, "upper", hour(t_h))) == pytest.approx(t_h / 2, abs=1e-6)


def test_steady_through_flow_of_a_stirred_tank_nears_its_holding_time():
    """A3. Mass balance, exact: 10 h (1 - exp(-1)) = 6.3212 h after 10 h, 10 h in the end."""
    ledger = new_ledger("upper")
    pour(ledger, "upper", 1000, 0)
    for minute in range(6000):
        pour(ledger, "upper", 100 / 60, minute / 60, (minute + 1) / 60)
        drain(ledger, "upper", 100 / 60 * GALLON_M3)
        if minute == 599:
            assert hours(stirred_age_s(ledger, "upper", hour(10))) == pytest.approx(6.3212, abs=0.01)
    assert hours(stirred_age_s(ledger, "upper", hour(100))) == pytest.approx(10.0, abs=0.01)
    # First in first out, the same through-flow is exactly as old as the holding time.
    assert hours(sap_age(ledger, "upper", hour(100)).oldest_s) == pytest.approx(10.0, abs=0.3)


def test_the_oldest_sap_leaves_first():
    """A4. Mass balance, exact: 300 gal at 8 h, 300 at 12 h, 200 at 16 h, 400 out at 18 h."""
    ledger = new_ledger("upper")
    for gallons, at_h in ((300, 8), (300, 12), (200, 16)):
        pour(ledger, "upper", gallons, at_h)
    assert hours(stirred_age_s(ledger, "upper", hour(18))) == pytest.approx(6.5)
    drain(ledger, "upper", 400 * GALLON_M3)
    age = sap_age(ledger, "upper", hour(18))
    assert (hours(age.oldest_s), hours(age.mean_s)) == pytest.approx((6.0, 4.0))
    assert age.volume_m3 == pytest.approx(400 * GALLON_M3)
    assert hours(stirred_age_s(ledger, "upper", hour(18))) == pytest.approx(6.5)
    assert hours(worst_age_s(ledger, "upper", hour(18))) == pytest.approx(10.0)


def test_six_hours_at_ten_degrees_and_twelve_at_two_are_twenty_two_at_four():
    """A_eq = 21.98 h. Square-root law, Ratkowsky et al. 1982; T_min -7.7 °C, Neumeyer et al. 1997."""
    ledger = new_ledger("upper")
    pour(ledger, "upper", 100, 0)
    warm(ledger, "upper", 10.0, 6 * HOUR_S)
    warm(ledger, "upper", 2.0, 12 * HOUR_S)
    age = sap_age(ledger, "upper", hour(18))
    assert hours(age.equivalent_oldest_s) == pytest.approx(21.98, abs=0.01)
    assert hours(age.equivalent_mean_s) == pytest.approx(21.98, abs=0.01)


def test_sap_carries_its_warm_hours_into_a_cold_tank():
    ledger = new_ledger("upper", "lower")
    warm(ledger, "upper", 10.0, HOUR_S)
    pour(ledger, "upper", 100, 1)
    warm(ledger, "upper", 10.0, 6 * HOUR_S)
    warm(ledger, "lower", 2.0, 7 * HOUR_S)
    move(ledger, "upper", "lower", 100 * GALLON_M3)
    warm(ledger, "lower", 2.0, 12 * HOUR_S)
    assert hours(sap_age(ledger, "lower", hour(19)).equivalent_oldest_s) == pytest.approx(21.98, abs=0.01)


def test_sap_that_was_where_nobody_measured_has_no_equivalent_age():
    ledger = new_ledger("upper", "lower")
    pour(ledger, "upper", 100, 0)
    warm(ledger, "upper", None, HOUR_S)
    move(ledger, "upper", "lower", 100 * GALLON_M3)
    warm(ledger, "lower", 4.0, HOUR_S)
    pour(ledger, "lower", 100, 2)
    age = sap_age(ledger, "lower", hour(2))
    assert (age.equivalent_oldest_s, age.equivalent_mean_s) == (None, None)
    drain(ledger, "lower", 100 * GALLON_M3)
    assert sap_age(ledger, "lower", hour(2)).equivalent_oldest_s == 0.0


def test_a_transfer_keeps_age_and_joins_by_age():
    ledger = new_ledger("upper", "lower")
    pour(ledger, "upper", 200, 2)
    pour(ledger, "lower", 100, 0)
    pour(ledger, "lower", 100, 6)
    assert move(ledger, "upper", "lower", 200 * GALLON_M3) == pytest.approx(200 * GALLON_M3)
    drain(ledger, "lower", 100 * GALLON_M3)
    age = sap_age(ledger, "lower", hour(10))
    assert (hours(age.oldest_s), hours(age.mean_s)) == pytest.approx((8.0, (200 * 8 + 100 * 4) / 300))
    assert sap_age(ledger, "upper", hour(10)) == Unknown("the tank is empty")


def test_concentrate_is_as_old_as_its_feed():
    ledger = new_ledger("lower", "concentrate")
    pour(ledger, "lower", 500, 0)
    pour(ledger, "lower", 500, 5)
    move(ledger, "lower", "concentrate", 600 * GALLON_M3, 100 * GALLON_M3)
    age = sap_age(ledger, "concentrate", hour(8))
    assert age.volume_m3 == pytest.approx(100 * GALLON_M3)
    assert (hours(age.oldest_s), hours(age.mean_s)) == pytest.approx((8.0, (500 * 8 + 100 * 3) / 600))
    assert hours(sap_age(ledger, "lower", hour(8)).oldest_s) == pytest.approx(3.0)


def test_what_is_not_there_cannot_be_moved():
    ledger = new_ledger("upper", "lower")
    pour(ledger, "upper", 50, 0)
    assert move(ledger, "upper", "lower", 80 * GALLON_M3) == pytest.approx(50 * GALLON_M3)
    assert ledger.tanks["lower"].volume_m3 == pytest.approx(50 * GALLON_M3)


def test_an_unwashed_heel_seeds_the_next_fill_until_it_is_drawn_off():
    ledger = new_ledger("upper", heel_m3=HEEL_M3)
    pour(ledger, "upper", 300, 0)
    drain(ledger, "upper", 300 * GALLON_M3)
    assert sap_age(ledger, "upper", hour(10)) == Unknown("the tank is empty")
    fill(ledger, "upper", fresh_parcel(0.5, hour(30), hour(31)))
    age = sap_age(ledger, "upper", hour(31))
    assert (hours(age.oldest_s), hours(age.mean_s)) == pytest.approx((31.0, 0.5))
    drain(ledger, "upper", HEEL_M3)
    assert hours(sap_age(ledger, "upper", hour(31)).oldest_s) == pytest.approx(1.0)


def test_below_its_heel_a_tank_is_one_mixture():
    ledger = new_ledger("upper", heel_m3=HEEL_M3)
    fill(ledger, "upper", fresh_parcel(0.01, hour(0), hour(0)))
    fill(ledger, "upper", fresh_parcel(0.01, hour(4), hour(4)))
    drain(ledger, "upper", 0.015)
    age = sap_age(ledger, "upper", hour(8))
    assert (hours(age.oldest_s), hours(age.mean_s)) == pytest.approx((8.0, 6.0))


def test_a_wash_makes_the_tank_new():
    ledger = new_ledger("upper", heel_m3=HEEL_M3)
    pour(ledger, "upper", 300, 0)
    drain(ledger, "upper", 300 * GALLON_M3)
    wash(ledger, "upper", hour(12))
    pour(ledger, "upper", 100, 30)
    assert hours(sap_age(ledger, "upper", hour(31)).oldest_s) == pytest.approx(1.0)
    assert hours(worst_age_s(ledger, "upper", hour(31))) == pytest.approx(1.0)


def test_a_wash_told_late_leaves_the_sap_that_came_since():
    ledger = new_ledger("upper")
    pour(ledger, "upper", 300, 0)
    pour(ledger, "upper", 100, 14)
    wash(ledger, "upper", hour(12))
    age = sap_age(ledger, "upper", hour(20))
    assert (age.volume_m3, hours(age.oldest_s)) == pytest.approx((100 * GALLON_M3, 6.0))


@pytest.mark.parametrize("corrected_m3", [0.3, 0.9, 1.8])
def test_a_correction_changes_no_age(corrected_m3):
    ledger = new_ledger("upper")
    fill(ledger, "upper", fresh_parcel(0.3, hour(0), hour(0)))
    fill(ledger, "upper", fresh_parcel(0.6, hour(6), hour(6)))
    before = sap_age(ledger, "upper", hour(9))
    correct(ledger, "upper", corrected_m3, hour(9))
    after = sap_age(ledger, "upper", hour(9))
    assert after.volume_m3 == pytest.approx(corrected_m3)
    assert (after.oldest_s, after.mean_s) == pytest.approx((before.oldest_s, before.mean_s))


def test_sap_found_in_an_emptied_tank_is_as_old_as_its_residue():
    ledger = new_ledger("upper", heel_m3=HEEL_M3)
    pour(ledger, "upper", 300, 0)
    correct(ledger, "upper", 0.0, hour(1))
    correct(ledger, "upper", 0.1, hour(9))
    assert hours(sap_age(ledger, "upper", hour(9)).oldest_s) == pytest.approx(9.0)


def test_sap_found_when_the_watch_began_is_at_least_so_old():
    ledger = new_ledger("upper")
    correct(ledger, "upper", 0.5, hour(0))
    age = sap_age(ledger, "upper", hour(3))
    assert age.at_least
    assert hours(age.oldest_s) == pytest.approx(3.0)
    pour(ledger, "upper", 100, 3)
    drain(ledger, "upper", 0.5)
    assert not sap_age(ledger, "upper", hour(3)).at_least


def test_a_tank_without_a_ledger_holds_no_sap():
    for question in (sap_age, stirred_age_s, worst_age_s):
        assert question(new_ledger("upper"), "permeate", hour(1)) == Unknown("it holds no sap")
        assert question(new_ledger("upper"), "upper", hour(1)) == Unknown("the tank is empty")


def test_a_fortnight_of_sap_stays_a_short_list_with_its_oldest_and_mean_exact():
    ledger = new_ledger("upper")
    for minute in range(0, 14 * 24 * 60, 10):
        pour(ledger, "upper", 1, minute / 60, (minute + 10) / 60)
    age = sap_age(ledger, "upper", hour(14 * 24))
    assert len(ledger.tanks["upper"].parcels) <= MOST_PARCELS
    assert len(TypeAdapter(Ledger).dump_json(ledger)) < 12_000
    assert (hours(age.oldest_s), hours(age.mean_s)) == pytest.approx((336.0, 168.0))


def test_merging_moves_no_parcel_by_more_than_a_quarter_of_an_hour():
    ledger = new_ledger("upper")
    for minute in range(120):
        pour(ledger, "upper", 1, minute / 60)
    births = [parcel.oldest_ms for parcel in ledger.tanks["upper"].parcels]
    assert all(after - before > MERGE_MS for before, after in pairwise(births))
    assert len(births) == 8


@pytest.mark.parametrize("volume_m3", [-0.1, math.nan, math.inf])
def test_a_volume_that_is_no_volume_is_refused(volume_m3):
    ledger = new_ledger("upper", "lower")
    before = copy.deepcopy(ledger)
    for wrong in (
        lambda: fill(ledger, "upper", Parcel(volume_m3, T0_MS, T0_MS)),
        lambda: drain(ledger, "upper", volume_m3),
        lambda: move(ledger, "upper", "lower", volume_m3),
        lambda: move(ledger, "upper", "lower", 1.0, volume_m3),
        lambda: correct(ledger, "upper", volume_m3, T0_MS),
    ):
        with pytest.raises(InvalidArgument, match="volume_m3"):
            wrong()
    assert ledger == before


def test_times_that_run_backwards_are_refused():
    ledger = new_ledger("upper")
    with pytest.raises(InvalidArgument, match="mean_ms"):
        fill(ledger, "upper", fresh_parcel(1.0, hour(2), hour(1)))
    with pytest.raises(InvalidArgument, match="duration_s"):
        warm(ledger, "upper", 4.0, -1.0)


def test_concentrate_waits_since_it_left_the_ro_and_sap_since_the_tree():
    ledger = new_ledger("upper", "concentrate")
    pour(ledger, "upper", 600, 0)
    move(ledger, "upper", "concentrate", 300 * GALLON_M3, 50 * GALLON_M3, made_ms=hour(5))
    move(ledger, "upper", "concentrate", 300 * GALLON_M3, 50 * GALLON_M3, made_ms=hour(7))
    pour(ledger, "upper", 100, 3)
    assert hours(waiting_s(ledger, "concentrate", 0.0, hour(8))) == pytest.approx(3.0)
    assert hours(waiting_s(ledger, "concentrate", 60 * GALLON_M3, hour(8))) == pytest.approx(1.0)
    assert isinstance(waiting_s(ledger, "concentrate", 101 * GALLON_M3, hour(8)), Unknown)
    assert hours(waiting_s(ledger, "upper", 0.0, hour(8))) == pytest.approx(5.0)


def test_what_is_boiled_first_waits_no_more():
    ledger = new_ledger("upper", "concentrate")
    pour(ledger, "upper", 600, 0)
    for made_h in (1, 2, 3):
        move(ledger, "upper", "concentrate", 200 * GALLON_M3, 40 * GALLON_M3, made_ms=hour(made_h))
    drain(ledger, "concentrate", 90 * GALLON_M3)
    assert hours(waiting_s(ledger, "concentrate", 0.0, hour(4))) == pytest.approx(1.0)
