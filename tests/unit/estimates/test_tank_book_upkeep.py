"""The book of tanks under restarts, repeats, late readings, temperatures, the logbook and a new farm file."""

import random
from dataclasses import asdict

import pytest
from pydantic import TypeAdapter

from shared.errors import InvalidArgument
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
from shared.readings import Unknown
from shared.units import GALLON_M3
from tests.fakes.tank_nights import (
    at_ms,
    filled_book,
    four_tanks,
    gallons_in,
    known_age,
    mean_h,
    messy_night,
    oldest_h,
    play,
)


def test_equivalent_age_follows_the_temperature():
    """6 h at 10 °C and 12 h at 2 °C are 21.98 h at 4 °C (Ratkowsky et al. 1982, Neumeyer et al. 1997)."""
    book = new_tank_book(four_tanks())
    for minute in range(18 * 60 + 1):
        measured_ms = at_ms(minute / 60)
        observe_temperature(book, "upper", measured_ms, 10.0 if minute < 360 else 2.0)
        observe(book, "upper", measured_ms, 600 * GALLON_M3)
    assert known_age(book, "upper", 18).equivalent_oldest_s / 3600 == pytest.approx(21.98, abs=0.05)
    # Silent for long, the temperature is not known any more.
    observe(book, "upper", at_ms(26), 600 * GALLON_M3)
    assert known_age(book, "upper", 26).equivalent_oldest_s is None


def test_a_tank_without_a_thermometer_has_no_equivalent_age():
    book = new_tank_book(four_tanks())
    play(book, {"lower": lambda _: 300.0}, hours=2)
    assert known_age(book, "lower", 2).equivalent_oldest_s is None
    assert known_age(book, "lower", 2).equivalent_mean_s is None


@pytest.mark.parametrize("seed", range(3))
def test_repeated_readings_change_nothing(seed):
    once, twice, said = new_tank_book(four_tanks()), new_tank_book(four_tanks()), messy_night(seed)
    for i, reading in enumerate(said):
        observe(once, *reading)
        observe(twice, *reading)
        observe(twice, *reading)
        observe(twice, *said[max(0, i - i % 13)])
    assert asdict(twice) == asdict(once)


@pytest.mark.parametrize("seed", range(3))
def test_readings_out_of_order_leave_the_ages_right(seed):
    tidy, mixed, said = new_tank_book(four_tanks()), new_tank_book(four_tanks()), messy_night(seed)
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
        assert gallons_in(mixed, tank, 8) == pytest.approx(gallons_in(tidy, tank, 8), abs=10)


@pytest.mark.parametrize("cut", [1, 37, 500, 700])
def test_a_restart_in_between_changes_no_answer(cut):
    adapter, whole, said = TypeAdapter(TankBook), new_tank_book(four_tanks()), messy_night(5)
    part = new_tank_book(four_tanks())
    for reading in said[:cut]:
        observe(part, *reading)
    part = adapter.validate_json(adapter.dump_json(part))
    fit_to_farm(part, four_tanks())
    for reading in said:
        observe(whole, *reading)
    for reading in said[cut:]:
        observe(part, *reading)
    assert part == whole
    assert len(adapter.dump_json(part)) < 4 * 20_000


def test_a_changed_farm_file_keeps_the_sap_of_the_tanks_that_stay():
    book = filled_book()
    fit_to_farm(book, four_tanks(without="lower"))
    assert set(book.tanks) == {"upper", "concentrate", "permeate"}
    assert gallons_in(book, "upper", 1.5) == pytest.approx(600.0, abs=20)
    fit_to_farm(book, four_tanks())
    assert sap_in(book, "lower", at_ms(0)) == Unknown("the tank is empty")


def test_a_transfer_somebody_tells_of_is_found_where_no_pipe_is_known():
    book = new_tank_book(four_tanks(drains_to=None))
    moved = lambda h: 1200.0 * min(max(h - 10.0, 0.0), 0.4)  # noqa: E731
    levels = {"upper": lambda h: 600.0 - moved(h), "lower": moved}
    play(book, levels, hours=10)
    transfer(book, "upper", "lower", at_ms(10))
    play(book, levels, from_h=10, hours=1)
    assert oldest_h(book, "lower", 11) == pytest.approx(11.0, abs=0.2)


def test_tanks_without_sensors_follow_the_logbook():
    book = filled_book()
    transfer(book, "upper", "lower", at_ms(2), 100 * GALLON_M3)
    assert gallons_in(book, "lower", 2) == pytest.approx(100.0)
    transfer(book, "lower", "concentrate", at_ms(3))
    assert oldest_h(book, "concentrate", 4) == pytest.approx(4.0, abs=0.3)
    drained(book, "concentrate", at_ms(5))
    assert sap_in(book, "concentrate", at_ms(5)) == Unknown("the tank is empty")


def test_a_silent_tank_is_unknown_never_fresh():
    book = filled_book()
    assert sap_in(book, "upper", at_ms(3)) == Unknown("no level reading for 91 min")


def test_flow_and_time_to_full_are_those_of_the_tank():
    book = new_tank_book(four_tanks())
    play(book, {"upper": lambda h: 200 + 200 * h}, hours=2)
    now_ms = at_ms(2)
    flow, until = flow_of(book, "upper", now_ms), fill_time(book, "upper", now_ms)
    assert isinstance(flow, TankFlow)
    assert flow.net_m3_s.middle * 3600 / GALLON_M3 == pytest.approx(200, rel=0.05)
    assert isinstance(until, FillTime)
    # 4 m3 are 1,057 gal, of which 457 are left.
    assert until.middle_s / 3600 == pytest.approx(457 / 200, rel=0.08)


def test_a_tank_that_is_not_on_the_farm_is_refused():
    book = new_tank_book(four_tanks())
    for wrong in (
        lambda: observe(book, "attic", at_ms(0), 1.0),
        lambda: observe_temperature(book, "attic", at_ms(0), 1.0),
        lambda: sap_in(book, "attic", at_ms(0)),
        lambda: wash(book, "permeate", at_ms(0)),
        lambda: transfer(book, "upper", "permeate", at_ms(0)),
        lambda: drained(book, "permeate", at_ms(0)),
    ):
        with pytest.raises(InvalidArgument, match="tank_id"):
            wrong()
