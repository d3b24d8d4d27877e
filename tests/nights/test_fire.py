"""Evenings at the arch. Every one here asks "fire_dying", "over_fire" or "fire_unattended"."""

import pytest

from shared.requests import LogKind
from tests.fakes.house_nights import between, house, news, write
from tests.fakes.night import KNOLL, Night, calm

FARM = f"""{KNOLL}
[evaporator]
water_gal_h = 90
over_fire_f = 1000
[[sensor]]
id = "stack"
quantity = "stack_temperature"
unit = "degF"
interval_s = 10
"""


def boil(hour, *, fed_until=9.0, hot_at=None):
    """Lit at one o'clock, fired each eight minutes: a dip of 200 °F for a minute, and back within two."""
    if hour < 1:
        return 50.0
    since_fed = max(0.0, hour - fed_until)
    minute = (hour - 1) * 60 % 8
    dip = 200.0 * max(0.0, 1 - minute / 3) if hour <= fed_until else 0.0
    hot = 600.0 if hot_at is not None and hot_at <= hour < hot_at + 0.2 else 0.0
    return max(50.0, min(650.0, 50 + (hour - 1) * 3000) - dip + hot - 1200 * since_fed)


def evening(**how):
    night = calm(Night(FARM))
    night.show["stack"] = lambda hour: boil(hour, **how)
    return night


def test_a_fire_that_nobody_feeds_is_told_and_an_open_door_is_not():
    night = evening(fed_until=4.0)
    night.run_until(4.0)
    assert night.texts("fire_dying") == []
    night.run_until(4.5)
    ((hour, _, body),) = night.texts("fire_dying")
    assert 4.1 < hour < 4.4
    assert body.startswith("The fire is dying since ")


def test_a_stack_over_its_limit_wakes_and_says_what_to_do():
    night = evening(hot_at=3.0)
    night.run_until(3.4)
    (hour, _, body), (_, _, over) = night.texts("over_fire")
    assert 3.0 < hour < 3.08
    assert body.startswith("Over-fire: stack ")
    assert "Close the draft" in body
    assert over.startswith("Over: ")


def boiling(gallons, **how):
    """An evening of an arch that is fed from a tank of concentrate."""
    night = house(concentrate=gallons, permeate=100.0, upper=100.0, lower=100.0)
    night.show["stack"] = lambda hour: boil(hour, **how)
    return night


def drunk(hour):
    """A hundred gallons an hour from one o'clock on, until nothing is left at three."""
    return max(3.0, 203 - 100 * between(hour, 1, 9))


def unattended(night):
    return [(hour, body) for hour, _, body in news(night, "fire_unattended")]


def test_a_fire_that_is_fed_with_nothing_left_to_boil_wakes():
    night = boiling(drunk, fed_until=5.0)
    night.run_until(3.8)
    ((hour, body),) = unattended(night)
    assert 3.15 < hour < 3.4
    assert body.startswith("The fire has nothing left to boil since 22:5")
    assert "Let sap or water into the pans, fire no more. Mind the steam; never douse it." in body
    assert [t.priority for t in night.transitions if t.key == "fire_unattended/stack"] == ["wake"]


@pytest.mark.parametrize(
    ("gallons", "fed_until"),
    [
        (drunk, 2.95),
        (lambda hour: max(60.0, drunk(hour)), 5.0),
        (lambda _hour: 3.0, 5.0),
        (lambda hour: drunk(hour) if hour < 2 else 3.0, 5.0),
        (lambda hour: drunk(hour) if hour < 2.9 else None, 5.0),
    ],
    ids=["burns down", "sap is left", "was empty when lit", "its sensor failed", "its level is silent"],
)
def test_a_fire_that_may_burn_as_it_does_wakes_nobody(gallons, fed_until):
    night = boiling(gallons, fed_until=fed_until)
    night.run_until(4.5)
    assert unattended(night) == []


def test_a_tank_kept_at_its_heel_by_the_ro_is_not_empty():
    night = boiling(drunk, fed_until=6.0)
    night.show["upper-level"] = lambda hour: 3.5 - 500 / 374.03 * between(hour, 2.9, 5)
    night.run_until(4.5)
    assert unattended(night) == []


def test_a_fire_that_nobody_logged_is_told_to_those_who_keep_a_log():
    night = boiling(390.0, fed_until=6.0)
    write(night, LogKind.BOIL_STARTED, hours_ago=30)
    write(night, LogKind.BOIL_STOPPED, hours_ago=24)
    night.run_until(3)
    ((hour, body),) = unattended(night)
    assert 1.5 < hour < 1.7
    assert body.startswith("A fire burns since 21:0")
    assert "nobody is logged as boiling" in body
    assert [t.priority for t in night.transitions if t.key == "fire_unattended/stack"] == ["tell"]


@pytest.mark.parametrize("logged", ["never", "at its start", "its end, while it burns down"])
def test_a_fire_is_not_told_where_no_boil_was_ever_logged_or_this_one_is(logged):
    night = boiling(390.0, fed_until=2.5)
    night.run_until(1.1)
    if logged != "never":
        write(night, LogKind.BOIL_STARTED)
    night.run_until(2.6)
    if logged.startswith("its end"):
        write(night, LogKind.BOIL_STOPPED)
    night.run_until(3.5)
    assert unattended(night) == []
