"""Nights on which concentrate waits, sap will wait too long, and permeate runs short or over.

Every one here asks "concentrate_waiting", "sap_will_be_held_too_long" or "permeate_tank".
"""

import pytest

from shared.requests import LogKind
from tests.fakes.house_nights import CONCENTRATE, FEED, HOUSE, PERMEATE, between, house, news, write
from tests.nights.test_fire import boil

SLOW = HOUSE.replace("water_gal_h = 90", "water_gal_h = 20")
"""Its evaporator takes 150 gal of sap an hour."""


def ro(begin, end, *, upper=1480.0, concentrate=5.0, permeate=10.0):
    """The RO runs from one hour to another."""
    return {
        "upper": lambda hour: upper - FEED * between(hour, begin, end),
        "concentrate": lambda hour: concentrate + CONCENTRATE * between(hour, begin, end),
        "permeate": lambda hour: min(718, permeate + PERMEATE * between(hour, begin, end)),
    }


def test_concentrate_that_waits_is_told_after_four_hours_and_wakes_after_twelve():
    night = house(**ro(1, 2.7))
    night.run_until(15)
    (told, _, body), (woken, _, _) = news(night, "concentrate_waiting")
    assert 4.9 < told < 5.3
    assert body.startswith("Concentrate tank: what is in it has waited 4 h")
    assert "gal of concentrate. Start the boil, or cool it." in body
    assert 13.9 < woken < 14.6  # a hundred gallons of it
    priorities = [t.priority for t in night.transitions if t.key == "concentrate_waiting/concentrate"]
    assert priorities == ["tell", "wake"]


def test_little_concentrate_wakes_nobody():
    night = house(**ro(1, 1.5))
    night.run_until(14.5)
    assert [t.priority for t in night.transitions if t.key == "concentrate_waiting/concentrate"] == ["tell"]


def test_concentrate_that_is_boiled_in_time_does_not_wait():
    tanks = ro(1, 2.7)
    made = tanks["concentrate"]
    night = house(**tanks | {"concentrate": lambda hour: max(4.0, made(hour) - 110 * between(hour, 3, 9))})
    night.show["stack"] = lambda hour: boil(hour - 2, fed_until=2.3)
    night.run_until(10)
    assert news(night, "concentrate_waiting") == []


def test_old_concentrate_while_a_long_boil_works_it_off_is_not_told():
    night = house(**ro(1, 2.7) | {"concentrate": lambda hour: 390 - 20 * hour})
    night.show["stack"] = boil
    night.run_until(8)
    assert news(night, "concentrate_waiting") == []


def test_concentrate_is_not_told_as_sap_as_well():
    night = house(**ro(1, 2.7))
    night.run_until(0.2)
    watched = {subject for rule, subject in night.plan.by_event if rule.id == "sap_held_too_long"}
    assert watched == {"lower", "upper"}


MORNING_SAP = {"lower": 2.0, "upper": lambda hour: 1480 * between(hour, 14, 15)}
"""From ten to eleven on the next morning; at four in the afternoon nothing has been done about it."""


def test_sap_that_must_be_started_tonight_is_told_in_the_afternoon():
    night = house(SLOW, concentrate=5.0, permeate=5.0, **MORNING_SAP)
    night.run_until(22)
    ((hour, _, body),) = news(night, "sap_will_be_held_too_long")
    assert 20.0 < hour < 20.5
    assert body.startswith("The RO must start by 00:")
    assert "Sap in upper is past its limit at Wed 10:" in body
    assert [t.priority for t in night.transitions if t.key == "sap_will_be_held_too_long/sap"] == ["tell"]


@pytest.mark.parametrize(
    ("farm", "lit"), [(HOUSE, False), (SLOW, True)], ids=["the morning is soon enough", "a boil is going on"]
)
def test_sap_that_will_be_boiled_in_time_is_not_told(farm, lit):
    night = house(farm, concentrate=5.0, permeate=5.0, **MORNING_SAP)
    if lit:
        night.show["stack"] = lambda hour: boil(hour - 15, fed_until=20.0)
    night.run_until(21.5)
    assert news(night, "sap_will_be_held_too_long") == []


def test_at_night_nobody_is_told_that_sap_will_be_old():
    night = house(SLOW, lower=2.0, upper=lambda hour: 1480 * between(hour, 2.2, 3), concentrate=5.0)
    night.run_until(12)
    assert news(night, "sap_will_be_held_too_long") == []


def test_sap_that_is_old_already_is_told_once():
    night = house(SLOW, lower=2.0, upper=lambda hour: 1480 * between(hour, 6, 7), concentrate=5.0)
    night.run_until(22)
    assert [hour for hour, _, _ in news(night, "sap_held_too_long")] == [pytest.approx(18.2, abs=0.3)]
    assert news(night, "sap_will_be_held_too_long") == []


def test_a_permeate_tank_that_fills_while_the_ro_runs_is_told_half_an_hour_before():
    night = house(**ro(0.5, 2.5))
    night.run_until(3.5)
    ((hour, _, body),) = news(night, "permeate_tank")
    assert 1.6 < hour < 1.9
    assert body.startswith("Permeate tank is 7")
    assert "full and the RO runs. Full about 22:1" in body


def test_a_permeate_tank_that_may_run_over_is_not_told():
    may = HOUSE + "[rules.permeate_tank]\nmay_run_over = true\n"
    night = house(may, **ro(0.5, 2.5))
    night.run_until(3)
    assert news(night, "permeate_tank") == []


@pytest.mark.parametrize("permeate", [690.0, 5.0], ids=["full", "empty"])
def test_a_permeate_tank_is_nobodys_care_while_the_ro_rests(permeate):
    night = house(permeate=permeate)
    night.run_until(3)
    assert news(night, "permeate_tank") == []


def test_permeate_that_runs_away_is_told_before_the_ro_must_be_washed():
    night = house(**ro(0.5, 2.5) | {"permeate": 12.0})
    night.run_until(2.4)
    ((hour, _, body),) = news(night, "permeate_tank")
    assert 1.3 < hour < 1.8
    assert body.startswith("Permeate tank holds only 12 gal though the RO runs.")


def test_a_permeate_tank_that_was_emptied_by_a_wash_is_not_told():
    tanks = ro(0.5, 1.5)
    filled = tanks["permeate"]
    night = house(**tanks | {"permeate": lambda hour: max(5.0, filled(hour) - 900 * between(hour, 1.6, 2.2))})
    night.run_until(1.5)
    write(night, LogKind.RO_STOPPED)
    night.run_until(3.5)
    assert news(night, "permeate_tank") == []
