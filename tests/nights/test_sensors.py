"""Nights on which a sensor is at fault, and nights on which it only looks so.

Asked here: "sensor_stuck", "sensor_drifting", "sensor_out_of_range", "sensor_jumping", "sensor_clock_wrong" and
"battery_low".
"""

import pytest

from collector.evaluator import plan_for
from collector.rules import RULES
from shared.alerts import Cause
from shared.readings import RejectKind
from tests.fakes.night import KNOLL, T0
from tests.fakes.sick_sensors import CALM, MORE, farm_night, noise, refused_while, sticks, with_digits

ASKED = (
    "sensor_stuck",
    "sensor_drifting",
    "sensor_out_of_range",
    "sensor_jumping",
    "sensor_clock_wrong",
    "battery_low",
)


def raised(night, rule):
    """(hour, subject, sentence) of what that rule found."""
    found = [t for t in night.transitions if t.cause is Cause.RAISED and t.key.startswith(f"{rule}/")]
    return [((t.at_ms - T0) / 3.6e6, t.key.split("/")[1], t.sentence) for t in found]


def accused(night):
    """(rule, subject) of all that these rules found."""
    return {(rule, subject) for rule in ASKED for _, subject, _ in raised(night, rule)}


ledge, lower = CALM["ledge-far"], CALM["lower-level"]
LINES = ("pump-vacuum", "ledge-far", "brook-far")


def test_all_of_these_rules_tell_at_most():
    night = farm_night()
    for rule in RULES:
        if rule.id in ASKED:
            for subject in rule.subjects(night.farm):
                assert (
                    rule.judge(night.farm, night.watch.picture, subject.id, night.now_ms).priority == "tell"
                )


# Stuck and frozen.


def test_a_gauge_that_stands_still_under_a_running_pump_is_told_within_an_hour_and_a_quarter():
    night = farm_night(ledge_far=sticks(ledge, 4))
    night.run_until(6)
    ((hour, sensor, body),) = night.texts("sensor_stuck")
    assert sensor == "ledge-far"
    assert 5 <= hour <= 5.25
    assert body.startswith(
        f"Ledge-far has shown {ledge(4):.1f} inHg since {night.local(4)}, to the last digit."
    )


def test_a_gauge_that_moves_again_is_over():
    night = farm_night(ledge_far=sticks(ledge, 4, 6))
    night.run_until(7)
    assert [body[:6] for _, _, body in night.texts("sensor_stuck")] == ["Ledge-", "Over: "]


def test_the_rule_can_be_turned_off_for_one_sensor():
    text = (KNOLL + MORE).replace('id = "ledge-far"', 'id = "ledge-far"\nrules.sensor_stuck.enabled = false')
    night = farm_night(text, ledge_far=sticks(ledge, 4))
    night.run_until(6)
    assert accused(night) == set()


def test_sensors_that_say_whole_numbers_may_stand_still():
    night = with_digits(farm_night(every_s=60), {"inHg": 0, "ft": 1, "degF": 0, "V": 1})
    night.run_until(10, clock_every_s=60)
    assert accused(night) == set()


def test_a_whole_number_that_flickers_and_then_settles_is_no_fault():
    night = farm_night(ledge_far=lambda hour: round((25.5 if hour < 5 else 25.2) + noise(hour, 2)))
    night.run_until(9)
    assert accused(night) == set()


def test_gauges_may_stand_still_while_the_pump_rests_overnight():
    rest = {
        name.replace("-", "_"): lambda hour, shown=shown: shown(hour) if hour < 4 or hour >= 14 else 0.0
        for name, shown in CALM.items()
        if name in LINES
    }
    night = farm_night(**rest)
    night.run_until(16)
    assert accused(night) == set()


def test_a_cold_stack_may_stand_still():
    night = farm_night(stack=lambda hour: 50.0 + 3 * noise(hour, 7) if hour < 5 else 48.0)
    night.run_until(10)
    assert accused(night) == set()


def test_a_hot_stack_that_stands_still_is_told_within_twenty_minutes():
    def fire(hour):
        return 500.0 + 200 * noise(hour, 7) if hour >= 1 else 50.0

    night = farm_night(stack=sticks(fire, 5))
    night.run_until(5.6)
    ((hour, sensor, _),) = night.texts("sensor_stuck")
    assert sensor == "stack"
    assert hour <= 5.36


def test_a_tank_that_is_still_at_night_is_no_stuck_sensor():
    """It ripples while sap runs by day and is as smooth as glass by night."""

    def level(hour):
        runs = hour % 24 < 10
        return 1.5 + 0.02 * hour // 24 + (0.02 * noise(hour, 5) if runs else 0.0)

    night = farm_night(every_s=120, lower_level=level)
    night.run_until(48, clock_every_s=60)
    assert accused(night) == set()


def test_a_level_that_sticks_while_its_tank_fills_says_that_the_tank_is_not_watched():
    def level(hour):
        return 1.0 + 0.1 * hour + 0.02 * noise(hour, 5)

    night = farm_night(every_s=120, lower_level=sticks(level, 27))
    night.run_until(29, clock_every_s=60)
    ((hour, sensor, sentence),) = raised(night, "sensor_stuck")
    assert sensor == "lower-level"
    assert 28 <= hour <= 28.25
    said = f"Lower tank is not watched: lower-level stands still since {night.local(27)}, and it was filling."
    assert sentence == said


def test_a_stuck_level_does_not_end_the_alert_of_its_tank():
    def level(hour):
        return min(5.4, 4.0 + max(0.0, hour - 26)) + 0.02 * noise(hour, 5)

    night = farm_night(every_s=60, lower_level=sticks(level, 27))
    night.run_until(25.5, clock_every_s=60)
    night.plan = plan_for(night.farm)
    night.run_until(30, clock_every_s=60)
    assert ("sensor_stuck", "lower-level") in accused(night)
    assert [subject for _, subject, _ in raised(night, "tank_nearly_full")] == ["lower"]
    assert night.watch.alerting.alerts["tank_nearly_full/lower"].is_active


def test_a_level_that_stands_still_while_the_tank_it_is_filled_from_pours_is_stuck():
    def upper(hour):
        return 1.0 + 0.02 * noise(hour, 4)

    def pours(hour):
        return max(0.6, 4.5 - max(0.0, hour - 6)) + 0.02 * noise(hour, 5)

    night = farm_night(upper_level=sticks(upper, 5), lower_level=pours)
    night.run_until(10)
    assert ("sensor_stuck", "upper-level") in accused(night)


def test_a_gauge_that_holds_in_the_frost_while_the_others_fall_may_be_frozen():
    def falls(shown):
        return lambda hour: shown(hour) if hour < 5 else max(0.0, shown(hour) - 10 * (hour - 5))

    lines = {name: falls(shown) for name, shown in CALM.items() if name in ("pump-vacuum", "brook-far")}
    night = farm_night(
        ledge_far=sticks(ledge, 4.9),
        air=lambda hour: (40.0 if hour < 4 else 24.0) + 3 * noise(hour, 6),
        **{name.replace("-", "_"): shown for name, shown in lines.items()},
    )
    night.run_until(9)
    assert ("sensor_stuck", "ledge-far") in accused(night)
    advice = night.watch.alerting.alerts["sensor_stuck/ledge-far"].advice
    assert advice == "It may be frozen: warm it gently, without a flame."


def test_on_a_frozen_night_nobody_is_accused():
    def fades(shown):
        return lambda hour: shown(hour) if hour < 4 else round(max(0.0, shown(hour) - 6 * (hour - 4)), 2)

    night = farm_night(
        every_s=60,
        air=lambda hour: (36.0 if hour < 3 else 22.0) + 3 * noise(hour, 6),
        **{name.replace("-", "_"): fades(CALM[name]) for name in LINES},
    )
    night.run_until(14, clock_every_s=60)
    assert accused(night) == set()


# Drifting.


@pytest.mark.parametrize(("per_hour", "way"), [(-0.15, "less"), (0.15, "more")])
def test_a_gauge_that_slides_away_from_the_others_is_told_within_twelve_hours(per_hour, way):
    night = farm_night(every_s=120, ledge_far=lambda hour: ledge(hour) + per_hour * max(0.0, hour - 3))
    night.run_until(16, clock_every_s=60)
    ((hour, sensor, body),) = night.texts("sensor_drifting")
    assert sensor == "ledge-far"
    assert 10 <= hour <= 15
    assert f" inHg {way} than the others allow; it came over hours." in body


def test_a_leak_is_no_drift():
    night = farm_night(every_s=120, ledge_far=lambda hour: ledge(hour) - (2.5 if hour > 4 else 0.0))
    night.run_until(14, clock_every_s=60)
    assert accused(night) == set()


def test_what_all_lines_share_is_no_drift():
    night = farm_night(every_s=120)
    for line in LINES:
        before = night.show[line]
        night.show[line] = lambda hour, before=before: round(before(hour) - 0.15 * max(0.0, hour - 3), 2)
    night.run_until(14, clock_every_s=60)
    assert accused(night) == set()


def test_two_levels_of_one_tank_that_do_not_agree_are_told():
    second = (
        '[[sensor]]\nid = "lower-float"\nquantity = "level"\nunit = "ft"\ntank = "lower"\ninterval_s = 60\n'
    )
    night = farm_night(KNOLL + second, lower_float=lambda hour: lower(hour) + (0.0 if hour < 3 else 0.3))
    night.run_until(7)
    ((hour, sensor, body),) = night.texts("sensor_drifting")
    assert sensor == "lower-float"
    assert hour <= 6
    assert body.startswith("Lower-float shows 3.6 in more than the others allow")


# Out of range, jumping, the wrong clock.


@pytest.mark.parametrize("kind", [RejectKind.OUT_OF_RANGE, RejectKind.FAULT, RejectKind.UNREADABLE])
def test_a_sensor_that_is_refused_is_told_by_its_kind_and_not_as_silent(kind):
    night = farm_night()
    refused_while(night, "air", kind, 2, 2.5)
    night.run_until(3.5)
    told = night.texts("sensor_out_of_range")
    assert [subject for _, subject, _ in told] == ["air", "air"]
    assert 2.05 <= told[0][0] <= 2.25
    assert told[0][2].startswith(f"Air is refused since {night.local(2)}: {kind}.")
    assert told[1][2].startswith("Over: ")
    assert night.texts("sensor_silent") == []


def test_a_refused_sensor_whose_rule_is_off_is_silent():
    text = (KNOLL + MORE).replace('id = "air"', 'id = "air"\nrules.sensor_out_of_range.enabled = false')
    night = farm_night(text)
    refused_while(night, "air", RejectKind.OUT_OF_RANGE, 2, 2.5)
    assert [subject for _, subject, _ in night.texts("sensor_silent")] == ["air"]


@pytest.mark.parametrize("kind", [RejectKind.UNTIMED, RejectKind.OUR_CLOCK])
def test_what_is_no_fault_of_the_sensor_accuses_it_of_nothing(kind):
    night = farm_night()
    refused_while(night, "air", kind, 2, 2.5)
    assert accused(night) == set()
    assert [subject for _, subject, _ in night.texts("sensor_silent")] == ["air"]


def test_a_barometer_that_is_set_to_sea_level_is_told():
    barometer = '[[sensor]]\nid = "barometer"\nquantity = "air_pressure"\nunit = "inHg"\ninterval_s = 60\n'
    high = KNOLL.replace("elevation_ft = 1450", "elevation_ft = 2400")
    night = farm_night(high + barometer, barometer=lambda hour: 30.2 + 0.2 * noise(hour, 1))
    night.run_until(1)
    ((_, sensor, body),) = night.texts("sensor_out_of_range")
    assert sensor == "barometer"
    assert body.startswith("Barometer shows 30.2 inHg, which the air at 2,400 ft cannot have.")


def test_more_vacuum_than_there_is_air_is_told():
    night = farm_night(ledge_far=lambda hour: ledge(hour) + (0.0 if hour < 3 else 5.0))
    night.run_until(4)
    ((hour, sensor, body),) = night.texts("sensor_out_of_range")
    assert sensor == "ledge-far"
    assert hour <= 3.25
    assert "more vacuum than there is air" in body


def test_a_level_that_jumps_and_comes_back_is_told_at_the_third_time():
    def spiky(hour):
        minute = round(hour * 60)
        return lower(hour) + (2.0 if minute in (130, 170, 215) else 0.0)

    night = farm_night(lower_level=spiky)
    night.run_until(12)
    told = night.texts("sensor_jumping")
    assert [subject for _, subject, _ in told] == ["lower-level", "lower-level"]
    assert 3.58 <= told[0][0] <= 3.75
    assert told[0][2].startswith("Lower-level has jumped and come back 3 times in 6 h.")
    assert told[1][2].startswith("Over: ")
    assert told[1][0] >= 9.5


def test_refused_values_between_good_ones_are_jumps_and_not_a_range():
    night = farm_night()
    for hour in (2, 2.4, 2.8):
        refused_while(night, "air", RejectKind.OUT_OF_RANGE, hour, hour + 1 / 60)
    night.run_until(4)
    assert accused(night) == {("sensor_jumping", "air")}


def test_a_releasers_dumps_and_a_door_that_is_opened_are_no_jumps():
    night = farm_night(
        pump_vacuum=lambda hour: 26.0 + noise(hour, 1) - (1.8 if round(hour * 120) % 7 == 0 else 0.0),
        stack=lambda hour: 600.0 + 200 * noise(hour, 7) - (150.0 if round(hour * 120) % 15 == 0 else 0.0),
    )
    night.run_until(4)
    assert accused(night) == set()


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        (RejectKind.CLOCK_AHEAD, "ahead of ours"),
        (RejectKind.CLOCK_NOT_SET, "not set"),
        (RejectKind.LONG_PAST, "weeks behind ours"),
    ],
)
def test_a_clock_that_gets_readings_refused_is_told_and_the_sensor_is_not_silent(kind, said):
    night = farm_night()
    refused_while(night, "air", kind, 2, 2.5)
    night.run_until(3.5)
    told = night.texts("sensor_clock_wrong")
    assert told[0][0] <= 2.12
    assert told[0][2].startswith(f"The clock of air is {said}; its readings are refused.")
    assert told[-1][2].startswith("Over: ")
    assert accused(night) == {("sensor_clock_wrong", "air")}
    assert night.texts("sensor_silent") == []


# Batteries.


def test_a_battery_that_is_low_is_told_with_what_hangs_on_it():
    night = farm_night(ledge_battery=lambda hour: 3.6 - (0.0 if hour < 3 else 0.1 * (hour - 3)))
    night.run_until(7)
    ((hour, sensor, body),) = night.texts("battery_low")
    assert sensor == "ledge-battery"
    assert 6 <= hour <= 6.4
    assert body.startswith("Ledge-battery is low: 3.2")
    assert "Ledge-spare goes silent with it." in body


def test_a_battery_that_dips_while_its_radio_sends_is_not_low():
    night = farm_night(ledge_battery=lambda hour: 3.1 if round(hour * 60) % 5 == 0 else 3.6)
    night.run_until(8)
    assert accused(night) == set()


def test_the_owner_may_say_what_is_low():
    text = (KNOLL + MORE).replace(
        'id = "ledge-battery"', 'id = "ledge-battery"\nrules.battery_low.low_v = 3.65'
    )
    night = farm_night(text)
    night.run_until(1)
    assert [subject for _, subject, _ in night.texts("battery_low")] == ["ledge-battery"]


def test_a_battery_that_falls_steadily_is_told_days_before():
    night = farm_night(every_s=600, ledge_battery=lambda hour: 12.9 - 0.012 * hour + 0.1 * noise(hour, 8))
    night.run_until(47, clock_every_s=60)
    ((hour, _, sentence),) = raised(night, "battery_low")
    assert 35 <= hour <= 47
    assert "V and will be low in" in sentence
