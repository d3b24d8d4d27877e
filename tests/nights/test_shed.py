"""Nights in the shed of pump and releaser. Every night here asks "shed_near_freezing"."""

from shared.gsm7 import LIMIT, length
from tests.fakes.night import KNOLL, Night, calm

SHED = '[[sensor]]\nid = "shed"\nquantity = "shed_temperature"\nunit = "degF"\ninterval_s = 60\n'
GAUGES = ("pump-vacuum", "ledge-far", "brook-far")
CODE = 9
"""What a code to answer with takes more than the number of a text."""
TEXT = (KNOLL + SHED).replace("interval_s = 30", "interval_s = 60")


def shed(shown, *, stop_h=99.0, start_h=-1.0, text=TEXT):
    night = calm(Night(text))
    night.show["shed"] = shown
    night.show["air"] = lambda hour: 40.0 if hour < stop_h else 20.0
    for gauge in GAUGES:
        before = night.show[gauge]
        night.show[gauge] = lambda hour, before=before: before(hour) if start_h <= hour < stop_h else 0.3
    return night


def told(night):
    return [(hour, body) for hour, _, body in night.texts("shed_near_freezing")]


def woke(night):
    return any(t.key == "shed_near_freezing/shed" and t.priority == "wake" for t in night.transitions)


def test_a_shed_that_will_freeze_within_the_hour_is_told_before_it_does():
    night = shed(lambda hour: max(30.0, 50.0 - 4.0 * hour))
    night.run_until(4.4)
    ((hour, body),) = told(night)
    # 36 F at 3.5 h, falling by 4 F an hour; 32 F at 4.5 h.
    assert 3.5 <= hour <= 4.2
    assert body.startswith("Shed is at 3")
    assert "freezing in " in body
    assert body.endswith("heater clear of wood. #1.1")
    assert length(body) <= LIMIT - CODE
    assert not woke(night)


def test_a_shed_that_hangs_just_above_freezing_is_told():
    night = shed(lambda hour: max(33.5, 40.0 - 2.0 * hour))
    night.run_until(5)
    assert len(told(night)) == 1


def test_below_freezing_with_the_pump_running_it_wakes():
    night = shed(lambda hour: max(28.0, 44.0 - 4.0 * hour))
    night.run_until(4)
    assert woke(night)
    assert "with the pump running" in told(night)[-1][1]


def test_after_the_pump_has_stopped_the_wet_releaser_is_told_and_wakes_nobody():
    night = shed(lambda hour: 42.0 if hour < 2 else max(24.0, 42.0 - 6.0 * (hour - 2)), stop_h=2.0)
    night.run_until(6)
    bodies = [body for _, body in told(night)]
    assert len(bodies) == 1
    assert "sap in the releaser" in bodies[0]
    assert not woke(night)


def test_a_shed_that_is_cold_with_everything_dry_is_no_text():
    night = shed(lambda _hour: 24.0, start_h=99.0)
    night.run_until(5)
    assert told(night) == []


def test_a_pump_that_starts_in_a_morning_still_cold_is_no_text():
    night = shed(lambda hour: min(45.0, 26.0 + 4.0 * max(0.0, hour - 2)), start_h=2.0)
    night.run_until(6)
    assert told(night) == []


def test_a_heated_shed_and_an_opened_door_are_no_text():
    night = shed(lambda hour: 36.0 if 3.0 <= hour < 3.15 else 52.0)
    night.run_until(5)
    assert told(night) == []


def test_a_shed_that_is_warm_again_is_over():
    night = shed(lambda hour: 33.0 if 1.0 <= hour < 3.0 else 44.0)
    night.run_until(5)
    assert [body[:5] for _, body in told(night)] == ["Shed ", "Over:"]


def test_a_silent_thermometer_makes_no_alert():
    night = shed(lambda hour: 36.0 - hour if hour < 1 else None)
    night.run_until(4)
    assert told(night) == []


def test_a_shed_with_a_name_of_forty_letters_still_says_when_it_freezes():
    long = "pump-and-releaser-shed-by-the-upper-gate"
    night = shed(lambda _hour: 44.0, text=TEXT.replace('"shed"', f'"{long}"'))
    night.show[long] = lambda hour: max(30.0, 50.0 - 4.0 * hour)
    night.run_until(4.4)
    ((_, body),) = told(night)
    assert length(body) <= LIMIT
    assert "freezing in " in body


def test_the_owner_sets_the_limits():
    own = "[rules.shed_near_freezing]\ntrip_f = 30\nclear_f = 33\nahead_min = 0\n"
    night = shed(lambda _hour: 33.0, text=TEXT + own)
    night.run_until(3)
    assert told(night) == []
