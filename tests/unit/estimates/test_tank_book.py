"""The book of tanks against nights of known truth: jitter, foam, drift, transfers, RO, gaps, washes."""

import math

import pytest

from shared.estimates.tank_book import new_tank_book, sap_in, wash
from shared.readings import Unknown
from shared.units import GALLON_M3
from tests.fakes.tank_nights import (
    at_ms,
    filled_book,
    four_tanks,
    gallons_in,
    known_age,
    mean_h,
    oldest_h,
    play,
)


@pytest.mark.parametrize("noise_gal", [0.0, 1.0, 5.0, 12.0])
def test_a_day_of_jitter_makes_no_sap_and_loses_none(noise_gal):
    book = new_tank_book(four_tanks())
    play(book, {"upper": lambda _: 600.0}, hours=24, noise_gal=noise_gal)
    assert oldest_h(book, "upper", 24) == pytest.approx(24.0, abs=0.1)
    assert mean_h(book, "upper", 24) == pytest.approx(24.0, abs=0.3)
    assert gallons_in(book, "upper", 24) == pytest.approx(600.0, abs=max(2.0, noise_gal))
    assert known_age(book, "upper", 24).at_least


def test_jitter_over_a_fill_keeps_its_oldest_and_its_mean():
    book = filled_book()
    before_h = mean_h(book, "upper", 1.5)
    play(book, {"upper": lambda _: 600.0}, from_h=1.5, hours=22.5, noise_gal=5.0, seed=2)
    assert oldest_h(book, "upper", 24) == pytest.approx(24.0, abs=0.3)
    assert mean_h(book, "upper", 24) == pytest.approx(before_h + 22.5, abs=0.3)
    assert not known_age(book, "upper", 24).at_least


@pytest.mark.parametrize("foam_gal", [80.0, -80.0, 300.0])
@pytest.mark.parametrize("foam_h", [1 / 60, 0.1, 0.2])
def test_foam_that_comes_and_goes_leaves_every_age_alone(foam_gal, foam_h):
    book = filled_book()
    play(
        book,
        {"upper": lambda h: 600.0 + (foam_gal if any(0 <= h - at < foam_h for at in (5, 9, 14)) else 0.0)},
        from_h=1.5,
        hours=16.5,
    )
    assert oldest_h(book, "upper", 18) == pytest.approx(18.0, abs=0.3)
    assert mean_h(book, "upper", 18) == pytest.approx(17.5, abs=0.3)


@pytest.mark.parametrize("drift_gal_h", [2.0, -2.0])
def test_a_slow_drift_of_the_sensor_is_no_sap(drift_gal_h):
    book = filled_book()
    play(book, {"upper": lambda h: 600.0 + drift_gal_h * (h - 1.5)}, from_h=1.5, hours=22.5)
    assert oldest_h(book, "upper", 24) == pytest.approx(24.0, abs=0.3)
    assert mean_h(book, "upper", 24) == pytest.approx(23.5, abs=0.5)


def test_a_daily_swing_of_the_sensor_does_not_turn_the_sap_over():
    book = filled_book()
    play(
        book,
        {"upper": lambda h: 600.0 + 10.0 * math.sin(2 * math.pi * h / 24)},
        from_h=1.5,
        hours=72,
    )
    assert oldest_h(book, "upper", 73.5) == pytest.approx(73.5, abs=0.3)
    assert mean_h(book, "upper", 73.5) == pytest.approx(73.0, abs=2.0)


def test_a_steady_fill_is_half_as_old_as_it_lasted():
    """Mass balance, exact: t / 2; ten hours, in which the first quarter hour is the heel's."""
    book = new_tank_book(four_tanks())
    play(book, {"upper": lambda _: 0.0}, from_h=-1, hours=1)
    play(book, {"upper": lambda h: 90.0 * h}, hours=10)
    assert oldest_h(book, "upper", 10) == pytest.approx(10.0, abs=0.3)
    assert mean_h(book, "upper", 10) == pytest.approx(5.0, abs=0.3)
    assert gallons_in(book, "upper", 10) == pytest.approx(900.0, abs=45.0)


@pytest.mark.parametrize("lower_first", [False, True])
@pytest.mark.parametrize("inflow_gal_h", [0.0, 120.0])
def test_a_transfer_keeps_the_sap_s_age(lower_first, inflow_gal_h):
    book, moved = filled_book(), lambda h: 1200.0 * min(max(h - 10.0, 0.0), 0.4)
    levels = {
        "upper": lambda h: 600.0 + inflow_gal_h * max(0.0, h - 9.0) - moved(h),
        "lower": moved,
    }
    if lower_first:
        levels = dict(reversed(levels.items()))
    play(book, levels, from_h=1.5, hours=10.5)
    assert oldest_h(book, "lower", 12) == pytest.approx(12.0, abs=0.4)
    assert mean_h(book, "lower", 12) == pytest.approx(11.5, abs=0.5)
    assert gallons_in(book, "lower", 12) == pytest.approx(480.0, abs=15.0)
    assert gallons_in(book, "upper", 12) == pytest.approx(120.0 + 3 * inflow_gal_h, abs=40.0)
    if inflow_gal_h:
        assert mean_h(book, "upper", 12) < 8.0


def test_a_transfer_between_sensors_that_differ_invents_nothing_fresh():
    book, moved = filled_book(), lambda h: 1200.0 * min(max(h - 10.0, 0.0), 0.4)
    play(
        book,
        {"upper": lambda h: 600.0 - moved(h), "lower": lambda h: 1.04 * moved(h)},
        from_h=1.5,
        hours=10.5,
    )
    assert mean_h(book, "lower", 12) == pytest.approx(11.5, abs=0.3)


def test_a_fall_without_a_rise_leaves_the_youngest():
    book = filled_book()
    play(book, {"upper": lambda h: 600.0 + 100 * min(max(h - 8, 0), 2)}, from_h=1.5, hours=9.5)
    play(book, {"upper": lambda h: 800.0 - 700 * min(max(h - 11, 0), 1)}, from_h=11, hours=2)
    # 600 gal of the first hour and 100 of the ninth are gone; 100 gal of nine to ten are left.
    assert gallons_in(book, "upper", 13) == pytest.approx(100.0, abs=10.0)
    assert oldest_h(book, "upper", 13) == pytest.approx(4.0, abs=0.6)


def ro_levels(feed_gal_h, *, inflow_gal_h=0.0, boiled_gal_h=0.0, permeate_full_gal=math.inf):
    """The RO runs from 10 h to 12 h: a sixth of its feed becomes concentrate."""

    def fed(h):
        return feed_gal_h * min(max(h - 10.0, 0.0), 2.0)

    return {
        "lower": lambda h: 900.0 + inflow_gal_h * max(0.0, h - 10.0) - fed(h),
        "concentrate": lambda h: max(0.0, fed(h) / 6 - boiled_gal_h * max(0.0, h - 10.5)),
        "permeate": lambda h: min(permeate_full_gal, fed(h) * 5 / 6),
    }


@pytest.mark.parametrize(
    "case",
    [
        {},
        {"inflow_gal_h": 150.0},
        {"inflow_gal_h": 450.0},
        {"permeate_full_gal": 100.0},
        {"boiled_gal_h": 40.0},
        {"boiled_gal_h": 40.0, "permeate_full_gal": 100.0},
    ],
    ids=str,
)
def test_concentrate_is_as_old_as_its_feed_and_permeate_is_no_sap(case):
    book = new_tank_book(four_tanks())
    play(book, ro_levels(300.0, **case), hours=12.5)
    concentrate = known_age(book, "concentrate", 12.5)
    assert concentrate.oldest_s / 3600 == pytest.approx(12.5, abs=0.2)
    assert concentrate.mean_s / 3600 == pytest.approx(12.5, abs=0.3)
    expected_gal = 100.0 - 2 * case.get("boiled_gal_h", 0.0)
    assert concentrate.volume_m3 / GALLON_M3 == pytest.approx(max(expected_gal, 0), abs=25.0)
    assert sap_in(book, "permeate", at_ms(0)) == Unknown("permeate is no sap")
    inflow_gal = 2.5 * case.get("inflow_gal_h", 0.0)
    fresh_gal = gallons_in(book, "lower", 12.5) * (1 - mean_h(book, "lower", 12.5) / 12.5)
    assert fresh_gal == pytest.approx(inflow_gal * 0.9, abs=45 + 0.1 * inflow_gal)


def test_sap_that_came_during_a_gap_is_as_old_as_the_gap():
    book = new_tank_book(four_tanks())
    play(book, {"upper": lambda _: 0.0}, from_h=-1, hours=1)
    play(book, {"upper": lambda _: 400.0}, from_h=6, hours=1)
    assert oldest_h(book, "upper", 7) == pytest.approx(7.0, abs=0.3)
    assert mean_h(book, "upper", 7) == pytest.approx(4.0, abs=0.3)


def test_a_transfer_during_a_gap_keeps_its_age():
    book = filled_book()
    play(book, {"upper": lambda _: 600.0, "lower": lambda _: 0.0}, from_h=1.5, hours=2)
    play(book, {"upper": lambda _: 100.0, "lower": lambda _: 500.0}, from_h=8, hours=0.5)
    assert oldest_h(book, "lower", 8.5) == pytest.approx(8.5, abs=0.3)
    assert gallons_in(book, "lower", 8.5) == pytest.approx(500.0, abs=10.0)


def test_a_washed_tank_begins_anew_and_an_unwashed_one_does_not():
    for washed in (True, False):
        book = filled_book()
        play(book, {"upper": lambda h: max(0.0, 600.0 - 1200 * max(0, h - 2))}, from_h=1.5, hours=2.5)
        assert sap_in(book, "upper", at_ms(4)) == Unknown("the tank is empty")
        if washed:
            wash(book, "upper", at_ms(3))
        play(book, {"upper": lambda h: 100.0 * max(0.0, h - 20)}, from_h=4, hours=18)
        # What stayed behind came at the end of the first fill.
        assert oldest_h(book, "upper", 22) == pytest.approx(2.0 if washed else 21.2, abs=0.5)
        assert mean_h(book, "upper", 22) == pytest.approx(1.0, abs=0.5)


def test_a_wash_told_late_keeps_the_sap_that_came_since():
    book = filled_book()
    play(book, {"upper": lambda h: max(0.0, 600.0 - 1200 * max(0, h - 2))}, from_h=1.5, hours=2.5)
    play(book, {"upper": lambda h: 100.0 * max(0.0, h - 5)}, from_h=4, hours=5)
    wash(book, "upper", at_ms(4))
    play(book, {"upper": lambda h: 100.0 * max(0.0, h - 5)}, from_h=9, hours=1)
    assert oldest_h(book, "upper", 10) == pytest.approx(5.5, abs=0.6)
    assert gallons_in(book, "upper", 10) == pytest.approx(500.0, abs=40.0)
