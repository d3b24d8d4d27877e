"""Nights on which the pump stands still. Every night here asks "pump_not_running", and that one stop is one alert."""

import pytest

from shared.gsm7 import LIMIT, length
from tests.fakes.night import KNOLL, Night, calm, wobble

GAUGES = ("pump-vacuum", "ledge-far", "brook-far")
SWITCH = '[[sensor]]\nid = "pump-switch"\nquantity = "running"\nunit = "/"\nline = "pump"\n'
NO_GAUGE = KNOLL.replace(
    '[[sensor]]\nid = "pump-vacuum"\nquantity = "vacuum"\nunit = "inHg"\nline = "pump"\ninterval_s = 30\n', ""
)
STOP_H = 3.0


def stopped(night, stop_h=STOP_H, *, inhg_min=2.5, back_h=99.0):
    """Air comes in evenly once nobody takes it away; back again within minutes."""
    for sensor in GAUGES:
        before = night.show[sensor]

        def shown(hour, before=before):
            if stop_h <= hour < back_h:
                return max(0.3, before(hour) - inhg_min * 60 * (hour - stop_h))
            return before(hour)

        night.show[sensor] = shown
    return night


def told(night):
    return [(hour, body) for hour, _, body in night.texts("pump_not_running")]


def wakes(night):
    return [t for t in night.transitions if t.key == "pump_not_running/pump" and t.priority == "wake"]


def test_a_stop_in_a_thaw_is_one_text_that_says_since_when():
    night = stopped(calm(Night()))
    night.run_until(4.5)
    ((hour, body),) = told(night)
    assert STOP_H + 0.05 <= hour <= STOP_H + 0.25
    # By the minute in which the vacuum was last as before.
    assert f"has not run since {night.local(STOP_H)[:4]}" in body
    assert body.endswith("lock out power before you touch them. #1.1")
    # A code to answer with takes nine more.
    assert length(body) <= LIMIT - 9
    assert wakes(night)
    assert night.texts("vacuum_lost") == []


def test_a_stop_of_a_tight_system_is_known_long_before_its_vacuum_is_gone():
    night = stopped(calm(Night()), inhg_min=0.6)
    night.run_until(3.5)
    ((hour, _),) = told(night)
    assert hour <= STOP_H + 0.3
    assert night.texts("vacuum_lost") == []


def test_a_switch_tells_a_stop_within_minutes():
    night = stopped(calm(Night(KNOLL + SWITCH)))
    night.show["pump-switch"] = lambda hour: 1.0 if hour < STOP_H else 0.0
    night.run_until(4)
    ((hour, body),) = told(night)
    assert hour <= STOP_H + 0.1
    assert f"since {night.local(STOP_H)}" in body
    assert night.texts("vacuum_lost") == []


def test_a_switch_that_says_off_while_the_vacuum_holds_wakes_nobody_and_hides_no_leak():
    night = calm(Night(KNOLL + SWITCH))
    night.show["pump-switch"] = lambda hour: 1.0 if hour < 2 else 0.0
    night.show["ledge-far"] = lambda hour: (25.0 if hour < 4 else 20.0) + wobble(hour, 2)
    night.run_until(4.5)
    assert told(night) == []
    assert [line for _, line, _ in night.texts("vacuum_lost")] == ["ledge"]


def test_without_a_gauge_at_the_pump_the_lines_tell():
    night = calm(Night(NO_GAUGE))
    night.show.pop("pump-vacuum")
    for sensor in GAUGES[1:]:
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before: (
            before(hour) if hour < STOP_H else max(0.3, before(hour) - 150 * (hour - STOP_H))
        )
    night.run_until(4)
    assert len(told(night)) == 1
    assert night.texts("vacuum_lost") == []


def test_a_pump_that_runs_again_is_over():
    night = stopped(calm(Night()), back_h=4.0)
    night.run_until(4.5)
    assert told(night)[-1][1].startswith("Over: The pump runs")
    assert night.texts("vacuum_lost") == []


def test_a_leak_at_the_pump_that_levels_off_is_no_stop():
    night = calm(Night())
    for sensor in GAUGES:
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before: (
            before(hour) if hour < STOP_H else before(hour) - 9.0 * (1 - 0.5 ** ((hour - STOP_H) * 60))
        )
    night.run_until(4)
    assert told(night) == []
    ((hour, line, body),) = night.texts("vacuum_lost")
    assert line == "pump"
    assert hour <= STOP_H + 0.2
    assert "moisture trap" in body


def test_a_dead_gauge_at_the_pump_is_no_stop_while_the_lines_hold():
    night = calm(Night())
    before = night.show["pump-vacuum"]
    night.show["pump-vacuum"] = lambda hour: before(hour) if hour < STOP_H else 0.0
    night.run_until(4)
    assert told(night) == []


def test_a_pump_that_rests_in_the_frost_is_no_text():
    night = calm(Night())
    night.show["air"] = lambda hour: max(20.0, 40.0 - 5 * hour)
    stopped(night, 4.0)
    night.run_until(8)
    assert told(night) == []
    assert night.texts("vacuum_lost") == []


def test_a_pump_switched_off_for_the_night_is_told_and_wakes_nobody():
    """At 36 F and falling by 2.5 F an hour: it freezes before two hours have gone."""
    night = calm(Night())
    night.show["air"] = lambda hour: max(22.0, 43.5 - 2.5 * hour)
    stopped(night, 3.0)
    night.run_until(9)
    assert wakes(night) == []
    assert len([body for _, body in told(night) if not body.startswith("Over")]) == 1
    assert night.texts("vacuum_lost") == []


def test_a_stop_that_no_frost_follows_wakes_after_all():
    night = calm(Night())
    night.show["air"] = lambda hour: max(36.0, 43.5 - 2.5 * hour)
    stopped(night, 3.0)
    night.run_until(5.6)
    assert wakes(night)
    assert told(night)[-1][0] <= 5.3


def test_a_pump_that_stopped_near_freezing_and_does_not_start_with_the_thaw_is_told():
    night = calm(Night())
    night.show["air"] = lambda hour: (
        max(22.0, 40.0 - 4 * hour) if hour < 8 else min(45.0, 22.0 + 6 * (hour - 8))
    )
    stopped(night, 2.2)
    night.run_until(12.5)
    ((hour, body),) = told(night)
    # Above 34 F from 10 h on.
    assert 11.0 <= hour <= 11.6
    assert "Start it if sap should flow" in body
    assert wakes(night) == []


def test_a_stop_in_a_thaw_is_quiet_through_the_frost_and_asks_again_after_it():
    night = calm(Night())
    night.show["air"] = lambda hour: 40.0 if hour < 5.5 else 24.0 if hour < 8 else 44.0
    stopped(night, 3.0)
    night.run_until(4)
    night.acknowledge("pump_not_running/pump")
    night.run_until(7.9)
    frost = [hour for hour, _, _ in night.texts("pump_not_running", repeats=True) if hour >= 6.2]
    assert frost == []
    night.run_until(11)
    assert any(hour > 8 for hour, _, _ in night.texts("pump_not_running", repeats=True))


def test_before_the_seasons_first_run_nobody_is_told():
    night = calm(Night())
    for sensor in GAUGES:
        night.show[sensor] = lambda _hour: 0.1
    night.run_until(6)
    assert told(night) == []


def test_without_a_thermometer_a_stop_wakes():
    night = stopped(calm(Night()))
    night.show.pop("air")
    night.run_until(4)
    assert wakes(night)


@pytest.mark.parametrize("rules", ["\n[rules.pump_not_running]\nenabled = false\n"])
def test_where_the_owner_has_turned_it_off_the_lost_vacuum_still_speaks(rules):
    night = stopped(calm(Night(KNOLL + rules)))
    night.run_until(4)
    assert told(night) == []
    assert {line for _, line, _ in night.texts("vacuum_lost")} == {"pump"}


def test_a_restart_in_the_middle_of_a_stop_tells_nothing_twice():
    night = stopped(calm(Night()))
    for hour in (3.05, 3.1, 3.2, 3.6):
        night.run_until(hour)
        night.restart()
    night.run_until(4)
    assert len(told(night)) == 1
