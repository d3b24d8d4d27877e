"""The book of tanks against nights of known truth: jitter, foam, drift, transfers, RO, gaps, restarts."""

import math
import random
from dataclasses import asdict

import pytest
from pydantic import TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_book import (
    TankBook,
    drained,
    fill_time,
    fit_to_farm,
    flow_of,
    new_tank_book,
    observe,
    observe_temperature,
    sap_in,
    transfer,
    wash,
)
from shared.estimates.tank_flow import FillTime, TankFlow
from shared.farm import Farm
from shared.readings import Unknown
from shared.units import GALLON_M3
from tests.fakes.fills import START_MS, tank_farm

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
GAL_OF_NOISE = 2.0


def farm(**changes):
    return Farm.model_validate(tank_farm(**changes))


def play(book, levels_gal, *, from_h=0.0, hours, noise_gal=GAL_OF_NOISE, seed=1, interval_s=60):
    """Feed levels, functions of hours since the start, to the book in order of time, with sensor noise."""
    dice = random.Random(seed)
    for step in range(int(hours * 3600 / interval_s)):
        at_h = from_h + step * interval_s / 3600
        for offset_s, (tank, level_gal) in enumerate(levels_gal.items()):
            seen_gal = round((level_gal(at_h) + dice.gauss(0, noise_gal)) * 2) / 2
            observe(
                book, tank, round(START_MS + at_h * HOUR_MS) + offset_s * 7000, max(0.0, seen_gal) * GALLON_M3
            )


def age(book, tank, at_h):
    found = sap_in(book, tank, round(START_MS + at_h * HOUR_MS))
    assert isinstance(found, SapAge), found
    return found


def oldest_h(book, tank, at_h):
    return age(book, tank, at_h).oldest_s / 3600


def mean_h(book, tank, at_h):
    return age(book, tank, at_h).mean_s / 3600


def gal(book, tank, at_h):
    return age(book, tank, at_h).volume_m3 / GALLON_M3


def filled_book(gallons=600.0):
    """A washed `upper` filled within an hour, so that at 1 h its sap is of known age."""
    book = new_tank_book(farm())
    play(book, {"upper": lambda _: 0.0}, from_h=-1, hours=1)
    play(book, {"upper": lambda h: min(gallons, gallons * h)}, hours=1.5)
    return book


@pytest.mark.parametrize("noise_gal", [0.0, 1.0, 5.0, 12.0])
def test_a_day_of_jitter_makes_no_sap_and_loses_none(noise_gal):
    book = new_tank_book(farm())
    play(book, {"upper": lambda _: 600.0}, hours=24, noise_gal=noise_gal)
    assert oldest_h(book, "upper", 24) == pytest.approx(24.0, abs=0.1)
    assert mean_h(book, "upper", 24) == pytest.approx(24.0, abs=0.3)
    assert gal(book, "upper", 24) == pytest.approx(600.0, abs=max(2.0, noise_gal))
    assert age(book, "upper", 24).at_least


def test_jitter_over_a_fill_keeps_its_oldest_and_its_mean():
    book = filled_book()
    before_h = mean_h(book, "upper", 1.5)
    play(book, {"upper": lambda _: 600.0}, from_h=1.5, hours=22.5, noise_gal=5.0, seed=2)
    assert oldest_h(book, "upper", 24) == pytest.approx(24.0, abs=0.3)
    assert mean_h(book, "upper", 24) == pytest.approx(before_h + 22.5, abs=0.3)
    assert not age(book, "upper", 24).at_least


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
    book = new_tank_book(farm())
    play(book, {"upper": lambda _: 0.0}, from_h=-1, hours=1)
    play(book, {"upper": lambda h: 90.0 * h}, hours=10)
    assert oldest_h(book, "upper", 10) == pytest.approx(10.0, abs=0.3)
    assert mean_h(book, "upper", 10) == pytest.approx(5.0, abs=0.3)
    assert gal(book, "upper", 10) == pytest.approx(900.0, abs=45.0)


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
    assert gal(book, "lower", 12) == pytest.approx(480.0, abs=15.0)
    assert gal(book, "upper", 12) == pytest.approx(120.0 + 3 * inflow_gal_h, abs=40.0)
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
    assert gal(book, "upper", 13) == pytest.approx(100.0, abs=10.0)
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
    book = new_tank_book(farm())
    play(book, ro_levels(300.0, **case), hours=12.5)
    concentrate = age(book, "concentrate", 12.5)
    assert concentrate.oldest_s / 3600 == pytest.approx(12.5, abs=0.2)
    assert concentrate.mean_s / 3600 == pytest.approx(12.5, abs=0.3)
    expected_gal = 100.0 - 2 * case.get("boiled_gal_h", 0.0)
    assert concentrate.volume_m3 / GALLON_M3 == pytest.approx(max(expected_gal, 0), abs=25.0)
    assert sap_in(book, "permeate", START_MS) == Unknown("permeate is no sap")
    inflow_gal = 2.5 * case.get("inflow_gal_h", 0.0)
    fresh_gal = gal(book, "lower", 12.5) * (1 - mean_h(book, "lower", 12.5) / 12.5)
    assert fresh_gal == pytest.approx(inflow_gal * 0.9, abs=45 + 0.1 * inflow_gal)


def test_sap_that_came_during_a_gap_is_as_old_as_the_gap():
    book = new_tank_book(farm())
    play(book, {"upper": lambda _: 0.0}, from_h=-1, hours=1)
    play(book, {"upper": lambda _: 400.0}, from_h=6, hours=1)
    assert oldest_h(book, "upper", 7) == pytest.approx(7.0, abs=0.3)
    assert mean_h(book, "upper", 7) == pytest.approx(4.0, abs=0.3)


def test_a_transfer_during_a_gap_keeps_its_age():
    book = filled_book()
    play(book, {"upper": lambda _: 600.0, "lower": lambda _: 0.0}, from_h=1.5, hours=2)
    play(book, {"upper": lambda _: 100.0, "lower": lambda _: 500.0}, from_h=8, hours=0.5)
    assert oldest_h(book, "lower", 8.5) == pytest.approx(8.5, abs=0.3)
    assert gal(book, "lower", 8.5) == pytest.approx(500.0, abs=10.0)


def test_a_washed_tank_begins_anew_and_an_unwashed_one_does_not():
    for washed in (True, False):
        book = filled_book()
        play(book, {"upper": lambda h: max(0.0, 600.0 - 1200 * max(0, h - 2))}, from_h=1.5, hours=2.5)
        assert sap_in(book, "upper", START_MS + 4 * HOUR_MS) == Unknown("the tank is empty")
        if washed:
            wash(book, "upper", START_MS + 3 * HOUR_MS)
        play(book, {"upper": lambda h: 100.0 * max(0.0, h - 20)}, from_h=4, hours=18)
        # What stayed behind came at the end of the first fill.
        assert oldest_h(book, "upper", 22) == pytest.approx(2.0 if washed else 21.2, abs=0.5)
        assert mean_h(book, "upper", 22) == pytest.approx(1.0, abs=0.5)


def test_a_wash_told_late_keeps_the_sap_that_came_since():
    book = filled_book()
    play(book, {"upper": lambda h: max(0.0, 600.0 - 1200 * max(0, h - 2))}, from_h=1.5, hours=2.5)
    play(book, {"upper": lambda h: 100.0 * max(0.0, h - 5)}, from_h=4, hours=5)
    wash(book, "upper", START_MS + 4 * HOUR_MS)
    play(book, {"upper": lambda h: 100.0 * max(0.0, h - 5)}, from_h=9, hours=1)
    assert oldest_h(book, "upper", 10) == pytest.approx(5.5, abs=0.6)
    assert gal(book, "upper", 10) == pytest.approx(500.0, abs=40.0)


def test_equivalent_age_follows_the_temperature():
    """6 h at 10 °C and 12 h at 2 °C are 21.98 h at 4 °C (Ratkowsky et al. 1982, Neumeyer et al. 1997)."""
    book = new_tank_book(farm())
    for minute in range(18 * 60 + 1):
        at_ms = START_MS + minute * MINUTE_MS
        observe_temperature(book, "upper", at_ms, 10.0 if minute < 360 else 2.0)
        observe(book, "upper", at_ms, 600 * GALLON_M3)
    assert age(book, "upper", 18).equivalent_oldest_s / 3600 == pytest.approx(21.98, abs=0.05)
    # Silent for long, the temperature is not known any more.
    observe(book, "upper", START_MS + 26 * HOUR_MS, 600 * GALLON_M3)
    assert age(book, "upper", 26).equivalent_oldest_s is None


def test_a_tank_without_a_thermometer_has_no_equivalent_age():
    book = new_tank_book(farm())
    play(book, {"lower": lambda _: 300.0}, hours=2)
    assert age(book, "lower", 2).equivalent_oldest_s is None
    assert age(book, "lower", 2).equivalent_mean_s is None


def messy_night(seed):
    """Readings of a night with a fill, a transfer, foam and noise, as (tank, time, volume)."""
    dice = random.Random(seed)
    moved = lambda h: 1200.0 * min(max(h - 4.0, 0.0), 0.4)  # noqa: E731
    said = []
    for minute in range(8 * 60):
        h = minute / 60
        foam = 60.0 if 2.0 < h < 2.1 else 0.0
        for tank, level in (("upper", 200 + 150 * min(h, 5) - moved(h) + foam), ("lower", 50 + moved(h))):
            at_ms = START_MS + minute * MINUTE_MS + dice.randrange(40_000)
            said.append((tank, at_ms, max(0.0, level + dice.gauss(0, 2)) * GALLON_M3))
    return sorted(said, key=lambda reading: reading[1])


@pytest.mark.parametrize("seed", range(3))
def test_repeated_readings_change_nothing(seed):
    once, twice, said = new_tank_book(farm()), new_tank_book(farm()), messy_night(seed)
    for i, reading in enumerate(said):
        observe(once, *reading)
        observe(twice, *reading)
        observe(twice, *reading)
        observe(twice, *said[max(0, i - i % 13)])
    assert asdict(twice) == asdict(once)


@pytest.mark.parametrize("seed", range(3))
def test_readings_out_of_order_leave_the_ages_right(seed):
    tidy, mixed, said = new_tank_book(farm()), new_tank_book(farm()), messy_night(seed)
    dice = random.Random(seed)
    shuffled = sorted(said, key=lambda reading: reading[1] + dice.randrange(150_000))
    for reading in said:
        observe(tidy, *reading)
    for reading in shuffled:
        observe(mixed, *reading)
    # 200 gal at first and 150 an hour for 5 h, 480 of them moved: the oldest left came 1.87 h in.
    assert oldest_h(tidy, "upper", 8) == pytest.approx(8 - 1.87, abs=0.35)
    for tank in ("upper", "lower"):
        assert oldest_h(mixed, tank, 8) == pytest.approx(oldest_h(tidy, tank, 8), abs=0.3)
        assert mean_h(mixed, tank, 8) == pytest.approx(mean_h(tidy, tank, 8), abs=0.3)
        assert gal(mixed, tank, 8) == pytest.approx(gal(tidy, tank, 8), abs=10)


@pytest.mark.parametrize("cut", [1, 37, 500, 700])
def test_a_restart_in_between_changes_no_answer(cut):
    adapter, whole, said = TypeAdapter(TankBook), new_tank_book(farm()), messy_night(5)
    part = new_tank_book(farm())
    for reading in said[:cut]:
        observe(part, *reading)
    part = adapter.validate_json(adapter.dump_json(part))
    fit_to_farm(part, farm())
    for reading in said:
        observe(whole, *reading)
    for reading in said[cut:]:
        observe(part, *reading)
    assert part == whole
    assert len(adapter.dump_json(part)) < 4 * 20_000


def test_a_changed_farm_file_keeps_the_sap_of_the_tanks_that_stay():
    book = filled_book()
    fit_to_farm(book, farm(without="lower"))
    assert set(book.tanks) == {"upper", "concentrate", "permeate"}
    assert gal(book, "upper", 1.5) == pytest.approx(600.0, abs=20)
    fit_to_farm(book, farm())
    assert sap_in(book, "lower", START_MS) == Unknown("the tank is empty")


def test_a_transfer_somebody_tells_of_is_found_where_no_pipe_is_known():
    book = new_tank_book(farm(drains_to=None))
    moved = lambda h: 1200.0 * min(max(h - 10.0, 0.0), 0.4)  # noqa: E731
    levels = {"upper": lambda h: 600.0 - moved(h), "lower": moved}
    play(book, levels, hours=10)
    transfer(book, "upper", "lower", START_MS + 10 * HOUR_MS)
    play(book, levels, from_h=10, hours=1)
    assert oldest_h(book, "lower", 11) == pytest.approx(11.0, abs=0.2)


def test_tanks_without_sensors_follow_the_logbook():
    book = filled_book()
    transfer(book, "upper", "lower", START_MS + 2 * HOUR_MS, 100 * GALLON_M3)
    assert gal(book, "lower", 2) == pytest.approx(100.0)
    transfer(book, "lower", "concentrate", START_MS + 3 * HOUR_MS)
    assert oldest_h(book, "concentrate", 4) == pytest.approx(4.0, abs=0.3)
    drained(book, "concentrate", START_MS + 5 * HOUR_MS)
    assert sap_in(book, "concentrate", START_MS + 5 * HOUR_MS) == Unknown("the tank is empty")


def test_a_silent_tank_is_unknown_never_fresh():
    book = filled_book()
    assert sap_in(book, "upper", START_MS + 3 * HOUR_MS) == Unknown("no level reading for 91 min")


def test_flow_and_time_to_full_are_those_of_the_tank():
    book = new_tank_book(farm())
    play(book, {"upper": lambda h: 200 + 200 * h}, hours=2)
    now_ms = START_MS + 2 * HOUR_MS
    flow, until = flow_of(book, "upper", now_ms), fill_time(book, "upper", now_ms)
    assert isinstance(flow, TankFlow)
    assert flow.net_m3_s.middle * 3600 / GALLON_M3 == pytest.approx(200, rel=0.05)
    assert isinstance(until, FillTime)
    # 4 m3 are 1,057 gal, of which 457 are left.
    assert until.middle_s / 3600 == pytest.approx(457 / 200, rel=0.08)


def test_a_tank_that_is_not_on_the_farm_is_refused():
    book = new_tank_book(farm())
    for wrong in (
        lambda: observe(book, "attic", START_MS, 1.0),
        lambda: observe_temperature(book, "attic", START_MS, 1.0),
        lambda: sap_in(book, "attic", START_MS),
        lambda: wash(book, "permeate", START_MS),
        lambda: transfer(book, "upper", "permeate", START_MS),
        lambda: drained(book, "permeate", START_MS),
    ):
        with pytest.raises(InvalidArgument, match="tank_id"):
            wrong()
