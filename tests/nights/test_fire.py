"""Evenings at the arch. Every one here asks "fire_dying" or "over_fire"."""

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
