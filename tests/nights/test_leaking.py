"""Nights on which a tank falls. Every one here asks "tank_leaking"."""

import pytest

from shared.requests import LogKind
from tests.fakes.house_nights import CONCENTRATE, FEED, PERMEATE, between, house, news, write
from tests.nights.test_fire import boil


def priorities(night):
    return [t.priority for t in night.transitions if t.key.startswith("tank_leaking/")]


def test_an_open_valve_wakes_within_the_hour_and_says_what_is_left():
    night = house(lower=lambda hour: 1200 - 150 * between(hour, 1, 9))
    night.run_until(2.5)
    ((hour, tank, body),) = news(night, "tank_leaking")
    assert tank == "lower"
    assert 1.4 < hour < 1.9
    assert body.startswith("Lower tank loses 1")
    assert "gal/h and nothing takes it." in body
    assert "Look for an open valve, broken pipe or siphon." in body
    assert priorities(night) == ["wake"]


def test_a_small_loss_is_told_and_wakes_nobody():
    night = house(lower=lambda hour: 1200 - 30 * between(hour, 1, 9))
    night.run_until(6)
    ((hour, _, body),) = news(night, "tank_leaking")
    assert 1.4 < hour < 3.0
    assert body.startswith(("Lower tank loses 3", "Lower tank loses 2"))
    assert priorities(night) == ["tell"]


def test_a_valve_that_was_shut_is_over():
    night = house(lower=lambda hour: 1200 - 200 * between(hour, 1, 2.5))
    night.run_until(5)
    bodies = [body for _, _, body in night.texts("tank_leaking")]
    assert len(bodies) == 2
    assert bodies[1].startswith("Over: Lower tank loses nothing")


def test_a_leak_is_found_while_the_ro_runs_elsewhere():
    ro = {
        "upper": lambda hour: 1300 - FEED * between(hour, 0.5, 3),
        "concentrate": lambda hour: 20 + CONCENTRATE * between(hour, 0.5, 3),
        "permeate": lambda hour: 5 + PERMEATE * between(hour, 0.5, 2),
    }
    night = house(lower=lambda hour: 1400 - 300 * between(hour, 1, 5), **ro)
    night.run_until(2)
    assert [tank for _, tank, _ in news(night, "tank_leaking")] == ["lower"]


TRANSFER = {
    "lower": lambda hour: 1500 - 1200 * between(hour, 1, 2),
    "upper": lambda hour: 100 + 1170 * between(hour, 1, 2),
}
"""An hour of it; the two sensors differ by a little."""
TRANSFER_AND_RO = {
    "lower": lambda hour: 1500 - 600 * between(hour, 1, 3),
    "upper": lambda hour: 500 + 600 * between(hour, 1, 3) - FEED * between(hour, 0.5, 3.5),
    "concentrate": lambda hour: 50 + CONCENTRATE * between(hour, 0.5, 3.5),
    "permeate": lambda hour: min(718, 500 + PERMEATE * between(hour, 0.5, 3.5)),
}
"""And the permeate runs over."""
RO_ALONE = {
    "upper": lambda hour: 1400 - FEED * between(hour, 1, 3.5),
    "concentrate": lambda hour: 50 + CONCENTRATE * between(hour, 1, 3.5),
    "permeate": lambda hour: 10 + PERMEATE * between(hour, 1, 2.6),
}
FLOODED_PANS = {"concentrate": lambda hour: 390 - 240 * between(hour, 1, 1.17)}
WASHED = {"lower": lambda hour: 300 - 2400 * between(hour, 1, 1.12)}
DRIFT = {"lower": lambda hour: 1000 - 8 * hour}
COOLING = {"lower": lambda hour: 1200 - 8 * between(hour, 0, 3), "upper": lambda hour: 900 + hour}
BUMPED = {"lower": lambda hour: 1000 if hour < 2 else 960}
HOSED_OVER = {
    "upper": lambda hour: 1200 - 300 * between(hour, 1, 3),
    "lower": lambda hour: 300 + 290 * between(hour, 1, 3),
}
UNHEARD_TARGET = {
    "lower": TRANSFER["lower"],
    "upper": lambda hour: TRANSFER["upper"](hour) if hour < 0.9 else None,
}
FULL_TARGET = {"lower": lambda hour: 1500 - 300 * between(hour, 1, 3), "upper": 1494.0}
"""It runs over at the other end, which is another trouble."""


@pytest.mark.parametrize(
    "tanks",
    [
        TRANSFER,
        TRANSFER_AND_RO,
        RO_ALONE,
        FLOODED_PANS,
        WASHED,
        DRIFT,
        COOLING,
        BUMPED,
        HOSED_OVER,
        UNHEARD_TARGET,
        FULL_TARGET,
    ],
    ids=lambda tanks: next(name for name, value in globals().items() if value is tanks).lower(),
)
def test_a_fall_that_is_explained_or_no_fall_is_not_told(tanks):
    night = house(**tanks)
    night.run_until(4.5)
    assert night.texts("tank_leaking") == []


def test_a_boil_is_no_leak_though_the_full_permeate_tank_hides_the_ro():
    night = house(
        upper=lambda hour: 1400 - FEED * between(hour, 1, 3.5),
        concentrate=lambda hour: 380 - 30 * between(hour, 1, 5),
        permeate=717.0,
    )
    night.show["stack"] = boil
    night.run_until(4.5)
    assert night.texts("tank_leaking") == []


def test_a_tank_that_is_drained_to_be_washed_is_no_leak_once_it_is_logged():
    night = house(lower=lambda hour: 700 - 1400 * between(hour, 1, 1.45))
    night.run_until(1.45)
    write(night, LogKind.TANK_WASHED, tank="lower")
    night.run_until(3)
    assert night.texts("tank_leaking") == []


def test_a_tank_whose_way_out_the_file_does_not_name_is_not_asked():
    night = house(upper=300.0)
    watched = {subject for rule, subject in night.plan.by_event if rule.id == "tank_leaking"}
    assert watched == {"lower", "upper", "concentrate"}
