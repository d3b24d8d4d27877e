"""Nights on which tanks run over, or must. Every one here asks "overflow_certain"."""

import pytest

from tests.fakes.house_nights import HOUSE, between, house, news
from tests.nights.test_fire import boil

SLOW = HOUSE.replace("water_gal_h = 90", "water_gal_h = 5")
"""Its evaporator takes 36 gal of sap an hour."""


def told(night, rule="overflow_certain"):
    return news(night, rule)


def test_a_tank_at_its_brim_wakes_once_more_and_ends_the_reminders_that_it_fills():
    night = house(lower=lambda hour: min(1583, 1200 + 200 * hour), upper=100.0)
    night.run_until(4)
    ((before, _, _),) = told(night, "tank_nearly_full")
    ((hour, tank, body),) = told(night)
    assert before < 1.0
    assert tank == "lower"
    assert 1.75 < hour < 2.1
    assert body.startswith("Lower tank is at its brim: what still comes in is lost. Full since 21:")
    assert "It filled by " in body
    assert "Start the transfer to upper." in body
    assert [at for at, _, _ in night.texts("tank_nearly_full", repeats=True) if at > hour + 0.1] == []
    assert len(night.texts("overflow_certain", repeats=True)) > 1


def test_what_no_machine_can_take_in_time_is_told_hours_ahead_and_only_once():
    night = house(SLOW, lower=lambda hour: 700 + 250 * hour, upper=1470.0, concentrate=396.0)
    night.run_until(3.3)
    ((hour, tank, body),) = told(night)
    assert tank == "lower"
    assert 1.2 < hour < 2.0
    assert body.startswith("Lower tank will run over whatever is started: full about 23:")
    advice = night.watch.alerting.alerts["overflow_certain/lower"].advice
    assert advice.endswith("gal too much in 3 h. Transfer, start RO and boil, find room or stop the pump.")
    assert [tank for _, tank, _ in told(night, "tank_nearly_full") if tank == "lower"] == []


def test_what_the_machines_can_still_take_is_not_certain():
    night = house(lower=lambda hour: 900 + 250 * hour, upper=1000.0)
    night.run_until(1.6)
    assert told(night) == []
    assert [tank for _, tank, _ in told(night, "tank_nearly_full")] == ["lower"]


@pytest.mark.parametrize(
    "lower",
    [
        lambda hour: 900 if hour < 1 else 1583,
        lambda hour: min(1520, 900 + 250 * hour),
        lambda hour: 1583 if 1 < hour < 1.03 else 1400,
    ],
    ids=["ice on its sensor", "a fill that ends short of the brim", "foam"],
)
def test_a_tank_that_is_not_at_its_brim_by_filling_is_not_called_so(lower):
    night = house(lower=lower, upper=100.0)
    night.run_until(3)
    assert told(night) == []


def test_a_tank_that_is_pumped_down_is_over():
    night = house(
        lower=lambda hour: min(1583, 1300 + 200 * hour) - 1200 * between(hour, 2, 2.5),
        upper=lambda hour: 100 + 1200 * between(hour, 2, 2.5),
    )
    night.run_until(3.5)
    after = night.watch.alerting.alerts["overflow_certain/lower"]
    assert not after.is_active
    assert after.sentence == "Lower tank has room for what comes in."


def test_a_spike_of_its_sensor_is_no_end_of_it():
    night = house(
        lower=lambda hour: 700 if abs(hour - 2.5) < 0.005 else min(1583, 1200 + 200 * hour), upper=100.0
    )
    night.run_until(3.2)
    assert len(told(night)) == 1
    assert night.watch.alerting.alerts["overflow_certain/lower"].is_active


def test_where_the_owner_lets_it_only_tell_the_other_alert_still_wakes():
    calmer = HOUSE + '[rules.overflow_certain]\nat_most = "tell"\n'
    night = house(calmer, lower=lambda hour: min(1583, 1350 + 600 * hour), upper=100.0)
    night.run_until(1)
    woken = {t.key for t in night.transitions if t.priority == "wake"}
    assert woken == {"tank_nearly_full/lower"}


def test_permeate_runs_over_as_it_may():
    night = house(permeate=lambda hour: min(718, 500 + 300 * hour), upper=lambda hour: 1000 - 350 * hour)
    night.show["stack"] = boil
    night.run_until(2)
    assert told(night) == told(night, "tank_nearly_full") == []
