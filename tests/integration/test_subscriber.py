"""The subscriber against real brokers: Mosquitto with the configuration we ship, and the embedded one."""

import pytest

from collector.arrivals import Arrivals, arrivals_from
from collector.embedded_broker import EmbeddedBroker
from collector.intake import Memory, take_in
from collector.topics import router_of
from shared.broker import Link
from shared.clock import system_clock
from shared.settings import Settings
from tests.fakes.knoll import knoll
from tests.fakes.servers import Mosquitto, free_port, needs_mosquitto
from tests.fakes.sessions import (
    FILTERS,
    count_is,
    has_canary,
    publish,
    sensors,
    settle,
    subscriber_at,
    taken,
)

pytestmark = needs_mosquitto


@pytest.fixture
def mosquitto():
    with Mosquitto() as broker:
        yield broker


def test_it_speaks_mqtt_5_with_mosquitto_and_its_canary_comes_back(mosquitto):
    with subscriber_at(mosquitto) as subscriber:
        assert subscriber.state.link is Link.DOWN
        settle(subscriber)
        assert subscriber.state.link is Link.CONNECTED
        assert subscriber.protocol == "MQTT 5"
        assert subscriber.refused_filters == {}
        assert subscriber.send_canary("mine")
        taken(subscriber, lambda items: any(item.payload == b"mine" for item in items))


def test_what_was_not_acknowledged_comes_again_with_the_time_of_its_first_arrival(mosquitto):
    with subscriber_at(mosquitto) as subscriber:
        settle(subscriber)
        publish(mosquitto, "sensor/a", "1", "2", "3")
        first = taken(subscriber, count_is(3), acknowledge=False)
    known = [item.arrival for item in first]
    with subscriber_at(mosquitto, arrivals=arrivals_from(known, 200, None, {})) as subscriber:
        again = taken(subscriber, has_canary)
    assert sensors(again) == [b"1", b"2", b"3"]
    repeated = [item for item in again if item.topic == "sensor/a"]
    assert all(item.dup for item in repeated)
    assert [item.received_ms for item in repeated] == [item.received_ms for item in first]


def test_what_was_acknowledged_does_not_come_again(mosquitto):
    with subscriber_at(mosquitto) as subscriber:
        settle(subscriber)
        publish(mosquitto, "sensor/a", "1", "2")
        taken(subscriber, count_is(2))
    with subscriber_at(mosquitto) as subscriber:
        assert sensors(settle(subscriber)) == []


def test_no_more_than_the_window_is_under_way_unacknowledged(mosquitto):
    settings = Settings(broker_port=mosquitto.port, inflight_count=4)
    with subscriber_at(mosquitto, settings=settings) as subscriber:
        settle(subscriber)
        publish(mosquitto, "sensor/a", *"123456")
        held = taken(subscriber, count_is(4), acknowledge=False)
        assert subscriber.take(100, 0.3) == []
        subscriber.acknowledge(held)
        assert sensors(taken(subscriber, count_is(2))) == [b"5", b"6"]


@pytest.mark.parametrize("qos", [0, 1])
def test_what_is_published_while_both_were_away_is_kept_in_order(mosquitto, qos):
    """Also at QoS 0, which most sensors use, and before the collector is back after the broker's restart."""
    with subscriber_at(mosquitto) as subscriber:
        settle(subscriber)
        seen_ms = system_clock()
    publish(mosquitto, "sensor/a", "1", "2", qos=qos)
    mosquitto.stop()
    mosquitto.start()
    publish(mosquitto, "sensor/a", "3", qos=qos)
    with subscriber_at(mosquitto, arrivals=Arrivals(200, seen_ms)) as subscriber:
        items = settle(subscriber)
        publish(mosquitto, "sensor/a", "4")
        (live,) = [item for item in taken(subscriber, count_is(1)) if item.topic == "sensor/a"]
    assert sensors(items) == [b"1", b"2", b"3"]
    assert {item.waiting_since_ms for item in items} == {seen_ms}
    assert live.waiting_since_ms is None


def test_topics_no_longer_wanted_are_given_up(mosquitto):
    with subscriber_at(mosquitto) as subscriber:
        settle(subscriber)
    kept = FILTERS[:2]
    with subscriber_at(mosquitto, filters=kept, unwanted=("sensor/#",)) as subscriber:
        settle(subscriber)
        publish(mosquitto, "sensor/a", "1")
        assert sensors(subscriber.take(10, 0.5)) == []


def test_messages_of_common_firmware_become_readings(mosquitto):
    """Published by mosquitto_pub: nested JSON, a status in words, numbers as text."""
    farm = knoll()
    router = router_of(farm)
    payload = '{"Time":"2026-03-02T04:05:01","MAX6675":{"ProbeTemp":"812.0","Status":"OK"},"TempUnit":"F"}'
    with subscriber_at(mosquitto, filters=router.filters) as subscriber:
        settle(subscriber)
        publish(mosquitto, "tele/arch/SENSOR", payload)
        publish(mosquitto, "tele/pump/STATE", '{"POWER":"ON"}')
        publish(mosquitto, "lantern/knob/ledge-vacuum", "24.5")
        publish(mosquitto, "lantern/knob/ledge-vacuum", "unavailable")
        items = taken(subscriber, lambda items: len(items) >= 4)
    memory = Memory()
    intakes = [take_in(router, memory, item.topic, item.payload, item.received_ms) for item in items]
    readings = {reading.sensor: reading.value for intake in intakes for reading in intake.readings}
    assert readings == {
        "stack": pytest.approx((812 - 32) / 1.8),
        "pump": 1.0,
        "ledge-vacuum": pytest.approx(24.5 * 3386.389),
    }
    (reject,) = [reject for intake in intakes for reject in intake.rejects]
    assert reject.reason == "ledge-vacuum: 'unavailable' is no number"


def test_it_falls_back_to_mqtt_3_1_1_with_the_embedded_broker():
    with EmbeddedBroker(free_port()) as broker:
        assert "not durable" in broker.notice
        with subscriber_at(broker) as subscriber:
            settle(subscriber)
            assert subscriber.protocol == "MQTT 3.1.1"
            publish(broker, "sensor/a", "1", "2")
            assert sensors(taken(subscriber, count_is(2))) == [b"1", b"2"]
