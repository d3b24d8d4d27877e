"""Nights on which a gateway, or what many sensors share, is silent. Every night here asks "sensor_silent"."""

import re

import pytest

from collector.evaluator import plan_for
from collector.rules import sensor_silent
from shared.alerts import Cause, Priority
from tests.fakes.night import KNOLL, Night, calm

WOODS = ("ledge-far", "brook-far", "air")
HOUSE = """
[[sensor]]
id = "shed"
quantity = "shed_temperature"
unit = "degF"
interval_s = 60
"""


def through(text, gateway, sensors):
    """The farm file with those sensors behind a gateway."""
    for sensor in sensors:
        text = text.replace(f'id = "{sensor}"\n', f'id = "{sensor}"\ngateway = "{gateway}"\n')
    return text


def quiet(text):
    """A calm night on which nothing but silence is asked for."""
    night = calm(Night(text))
    night.plan = plan_for(night.farm, [sensor_silent.RULE])
    return night


def silent_while(night, sensors, *stretches):
    for sensor in sensors:
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before: (
            None if any(start <= hour < end for start, end in stretches) else before(hour)
        )


def raised(night):
    """(hour, subject) of every silence that was raised."""
    return [
        (round((t.at_ms - night.now_ms + night.at_s * 1000) / 3.6e6, 2), t.key.split("/")[1])
        for t in night.transitions
        if t.cause is Cause.RAISED and t.key.startswith("sensor_silent/")
    ]


def suppressed(night):
    return {t.key.split("/")[1] for t in night.transitions if t.cause is Cause.SUPPRESSED}


def test_a_dead_gateway_is_one_text_and_explains_its_sensors():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, WOODS, (2, 5))
    night.run_until(7)
    ((hour, gateway),) = raised(night)
    assert gateway == "woods-gateway"
    assert 2.07 <= hour <= 2.1
    first, over = night.texts("sensor_silent")
    assert first[2].startswith(f"Woods-gateway is silent since {night.local(1.99)}, and with it 3 sensors.")
    assert over[2].startswith("Over: ")
    assert suppressed(night) == set(WOODS)
    assert night.watch.alerting.alerts["sensor_silent/woods-gateway"].priority is Priority.TELL


def test_its_alert_says_which_gateway_explains_a_sensor():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, WOODS, (2, 5))
    night.run_until(3)
    alert = night.watch.alerting.alerts["sensor_silent/ledge-far"]
    assert alert.explained_by == "gateway woods-gateway is silent"


def test_sensors_that_come_back_one_after_the_other_are_not_told_one_by_one():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, ("ledge-far",), (2, 5))
    silent_while(night, ("brook-far",), (2, 5.03))
    silent_while(night, ("air",), (2, 5.05))
    night.run_until(7)
    assert [subject for _, subject in raised(night)] == ["woods-gateway"]


def test_a_sensor_that_does_not_come_back_with_its_gateway_is_told():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, WOODS, (2, 5))
    silent_while(night, ("air",), (2, 9))
    night.run_until(6)
    assert [(subject, hour > 5.08) for hour, subject in raised(night)] == [
        ("woods-gateway", False),
        ("air", True),
    ]


def test_one_silent_sensor_of_a_gateway_is_told_by_name():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, ("ledge-far",), (2, 5))
    night.run_until(3)
    assert [subject for _, subject in raised(night)] == ["ledge-far"]


def test_a_sensor_that_died_days_before_its_gateway_is_still_its_own_trouble():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, ("air",), (1, 9))
    silent_while(night, WOODS, (4, 5))
    night.run_until(4.5)
    assert [subject for _, subject in raised(night)] == ["air", "woods-gateway"]


def test_two_sensors_that_fall_silent_one_after_the_other_do_not_make_a_dead_gateway():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, ("ledge-far",), (2, 9))
    silent_while(night, ("brook-far",), (3, 9))
    night.run_until(5)
    assert [subject for _, subject in raised(night)] == ["ledge-far", "brook-far"]


def test_a_slow_sensor_does_not_keep_its_dead_gateway_from_being_told():
    text = re.sub(
        r'(id = "air"\n(?:.*\n){3})interval_s = 60',
        r"\1interval_s = 600",
        through(KNOLL, "woods-gateway", WOODS),
    )
    night = quiet(text)
    silent_while(night, WOODS, (2, 9))
    night.run_until(4)
    ((hour, gateway),) = raised(night)
    assert gateway == "woods-gateway"
    assert hour <= 2.1


@pytest.mark.parametrize("alone", [(), ("lower-level",)])
def test_a_gateway_wakes_only_where_neither_vacuum_nor_level_is_left(alone):
    behind = {"pump-vacuum", "ledge-far", "brook-far", "upper-level", "lower-level"} - set(alone)
    night = quiet(through(KNOLL + HOUSE, "shed-gateway", behind))
    night.show["shed"] = lambda _hour: 50.0
    silent_while(night, behind, (2, 5))
    night.run_until(3)
    alert = night.watch.alerting.alerts["sensor_silent/shed-gateway"]
    assert alert.priority is (Priority.TELL if alone else Priority.WAKE)
    assert ("No vacuum and no tank is watched." in alert.advice) is not bool(alone)


def test_when_everything_is_silent_that_alone_is_told():
    night = quiet(through(KNOLL, "woods-gateway", WOODS))
    silent_while(night, tuple(night.show), (2, 5))
    night.run_until(7)
    ((hour, subject),) = raised(night)
    assert subject == "all-sensors"
    assert 2.15 <= hour <= 2.2


def test_after_a_silence_of_all_each_sensor_has_its_time_to_speak():
    night = quiet(KNOLL)
    silent_while(night, tuple(night.show), (2, 5))
    silent_while(night, ("air",), (2, 5.04))
    silent_while(night, ("lower-level",), (2, 9))
    night.run_until(7)
    (_, all_silent), (hour, dead) = raised(night)
    assert (all_silent, dead) == ("all-sensors", "lower-level")
    assert hour >= 5.08


def test_silence_is_the_same_after_a_restart_in_the_middle_of_it():
    def lived(*, restarts):
        night = quiet(through(KNOLL, "woods-gateway", WOODS))
        silent_while(night, WOODS, (2, 5))
        night.run_until(3)
        if restarts:
            night.restart()
        night.run_until(6)
        return raised(night), suppressed(night)

    assert lived(restarts=True) == lived(restarts=False)
