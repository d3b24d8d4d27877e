"""The horn sounds when a wake-up has reached nobody, and for nothing else; it is never left as it was."""

import pytest

from collector.alerting.book import Told
from collector.alerting.horn import AGAIN_S, HornSwitch, horn_wanted
from collector.topics import router_of
from shared.alerts import Alert, AlertState, Priority
from shared.errors import FarmFileError, InvalidArgument
from shared.farm_contacts import Horn
from shared.farm_file import parse_farm

T0 = 1_774_330_860_000
KEY = "tank_nearly_full/lower"
HORN = Horn(after_s=300)
PATIENT = Horn(after_s=300, unanswered_s=1200)
FARM = '[farm]\nid = "small"\nname = "Small"\ntimezone = "America/New_York"\nelevation_ft = 1000\n'


def wake(state=AlertState.ACTIVE, **changes):
    facts = {"priority": Priority.WAKE, "episode": 1, "raised_ms": T0} | changes
    return {KEY: Alert("tank_nearly_full", "lower", state, **facts)}


def told(asked_s=0, confirmed_s=None):
    confirmed_ms = 0 if confirmed_s is None else T0 + confirmed_s * 1000
    return {KEY: Told(1, Priority.WAKE, T0 + asked_s * 1000, confirmed_ms=confirmed_ms)}


@pytest.mark.parametrize(
    ("alerts", "said", "horn", "at_s", "wanted"),
    [
        (wake(), told(), HORN, 299, False),
        (wake(), told(), HORN, 300, True),
        (wake(), told(confirmed_s=0), HORN, 300, False),
        (wake(), told(confirmed_s=0), HORN, 99_999, False),
        (wake(), told(asked_s=3600, confirmed_s=0), HORN, 3899, False),
        (wake(), told(asked_s=3600, confirmed_s=0), HORN, 3900, True),
        (wake(), told(confirmed_s=0), PATIENT, 1199, False),
        (wake(), told(confirmed_s=0), PATIENT, 1200, True),
        (wake(), {}, HORN, 300, True),
        (wake(AlertState.ACKNOWLEDGED), told(), PATIENT, 99_999, False),
        (wake(AlertState.CLEARED, cleared_ms=T0 + 60_000), told(), PATIENT, 99_999, False),
        (wake(priority=Priority.TELL), told(), PATIENT, 99_999, False),
        (wake(explained_by="the pump does not run"), told(), PATIENT, 99_999, False),
        (wake(shelved_until_ms=T0 + 400_000), told(), PATIENT, 399, False),
        (wake(shelved_until_ms=T0 + 400_000), told(), PATIENT, 400, True),
        ({}, {}, PATIENT, 99_999, False),
    ],
)
def test_the_horn_is_wanted_when_a_wake_up_that_asks_was_taken_or_answered_by_nobody(
    alerts, said, horn, at_s, wanted
):
    assert horn_wanted(alerts, said, horn, T0 + at_s * 1000) is wanted


class Wire:
    def __init__(self):
        self.is_up = True
        self.said = []

    def publish(self, topic, payload, *, retain):
        if self.is_up:
            self.said.append((topic, payload, retain))
        return self.is_up


class Seconds:
    now_s = 0.0

    def __call__(self):
        return self.now_s


def switch(horn_table, wire, monotonic):
    return HornSwitch(parse_farm(FARM + horn_table), wire.publish, monotonic)


def test_it_is_said_at_the_start_at_each_change_and_each_minute():
    wire, clock = Wire(), Seconds()
    horn = switch("[horn]\n", wire, clock)
    for at_s in range(600):
        clock.now_s = float(at_s)
        horn.look(wake() if 90 <= at_s < 450 else {}, told(asked_s=90), T0 + at_s * 1000)
    assert {topic for topic, _, _ in wire.said} == {"lantern/small/horn"}
    assert all(retained for _, _, retained in wire.said)
    off, on = b"off", b"on"
    # off at 0, 60 ... 360; on at 390; off at 450, 510, 570
    assert [payload for _, payload, _ in wire.said] == [off] * 7 + [on] + [off] * 3
    assert AGAIN_S == 60


def test_what_the_link_does_not_take_is_said_at_the_next_look():
    wire, clock = Wire(), Seconds()
    horn = switch('[horn]\ntopic = "siren/cmnd/POWER"\non = "ON"\noff = "OFF"\nafter_min = 0\n', wire, clock)
    wire.is_up = False
    horn.look(wake(), told(), T0)
    wire.is_up = True
    horn.look(wake(), told(), T0)
    horn.look(wake(), told(), T0)
    assert wire.said == [("siren/cmnd/POWER", b"ON", True)]


def test_a_farm_without_a_horn_says_nothing():
    wire = Wire()
    switch("", wire, Seconds()).look(wake(), told(), T0 + 999_000)
    assert wire.said == []


@pytest.mark.parametrize("topic", ["", "siren/#", "+/siren"])
def test_a_topic_that_is_none_is_refused_in_the_farm_file(topic):
    with pytest.raises(FarmFileError, match="topic"):
        parse_farm(f'{FARM}[horn]\ntopic = "{topic}"\n')


def test_a_sensor_on_the_topic_of_the_horn_is_refused():
    sensor = '[[sensor]]\nid = "horn"\nquantity = "battery"\nunit = "V"\n'
    with pytest.raises(InvalidArgument, match="Lantern's own"):
        router_of(parse_farm(f"{FARM}[horn]\n{sensor}"))
