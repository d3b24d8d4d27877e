"""Replay through real brokers: what is counted as sent is in the broker's hands."""

import pytest

from collector.embedded_broker import EmbeddedBroker
from collector.replay import Plan, replay
from collector.subscriber import Subscriber
from shared.clock import monotonic_s, system_clock
from shared.errors import BrokerError
from shared.publisher import Publisher
from shared.settings import Settings
from shared.streams import StreamMessage
from tests.fakes.servers import CONF, Mosquitto, free_port, guarded_mosquitto, needs_mosquitto
from tests.fakes.sides import PATIENCE_S

pytestmark = needs_mosquitto


@pytest.fixture
def mosquitto():
    with Mosquitto() as broker:
        yield broker


def flood(count):
    return [StreamMessage(i, "sensor/a", b"%d" % i, qos=i % 2, retain=i == count - 1) for i in range(count)]


def received(broker, count):
    subscriber = Subscriber(
        Settings(broker_port=broker.port), "knob", ("sensor/#",), system_clock, monotonic_s
    )
    subscriber.start()
    payloads = []
    give_up_s = monotonic_s() + PATIENCE_S
    while len(payloads) < count and monotonic_s() < give_up_s:
        items = subscriber.take(100, 0.2)
        subscriber.acknowledge(items)
        payloads += [item.payload for item in items if not item.retain]
    subscriber.stop()
    return payloads


def test_at_full_speed_every_message_is_taken_once_and_in_order(mosquitto):
    """The collector is away, so all of it waits in the broker; half was recorded at QoS 0."""
    first = Subscriber(Settings(broker_port=mosquitto.port), "knob", ("sensor/#",), system_clock, monotonic_s)
    first.start()
    while first.protocol == "" or first.state.reason:
        first.take(1, 0.1)
    first.stop()
    messages = flood(3000)
    with Publisher(Settings(broker_port=mosquitto.port), "replay") as door:
        assert replay(messages, door, Plan(0, None)) == 3000
        assert (door.sent_count, door.acknowledged_count) == (3000, 3000)
    assert received(mosquitto, 3000) == [message.payload for message in messages]


def test_a_replay_outlives_a_restart_of_the_broker(mosquitto):
    seen = 0

    def restart_halfway():
        nonlocal seen
        seen += 1
        if seen == 100:
            mosquitto.stop()
            mosquitto.start()

    with Publisher(Settings(broker_port=mosquitto.port), "replay") as door:
        assert replay(flood(200), door, Plan(0, None), on_sent=restart_halfway) == 200
        assert door.acknowledged_count == 200


def test_a_broker_that_hangs_is_handed_no_more_than_a_window(mosquitto):
    settings = Settings(broker_port=mosquitto.port, inflight_count=8)
    with Publisher(settings, "replay") as door:
        mosquitto.freeze()
        for message in flood(8):
            door.publish(message.topic, message.payload)
        with pytest.raises(BrokerError, match="acknowledges nothing any more"):
            door.publish("sensor/a", b"one too many", wait_s=0.3)
        assert door.sent_count == 8
        mosquitto.thaw()
        door.wait_acknowledged()


def test_a_refused_message_ends_the_replay_with_the_brokers_reason():
    """By the access list we ship; the user `ledge-node` may write only below its own name."""
    rules = (CONF.parent / "lantern.acl").read_text().replace("MYFARM", "knob")
    broker, port = guarded_mosquitto("ledge-node", "secret", rules)
    settings = Settings(broker_port=port, broker_user="ledge-node", broker_password="secret")
    with broker:
        allowed = [StreamMessage(0, "lantern/knob/ledge-node/vacuum", b"1")]
        refused = [StreamMessage(0, "lantern/knob/brook-node/vacuum", b"1")]
        with Publisher(settings, "replay") as door:
            assert replay(allowed, door, Plan(0, None)) == 1
            with pytest.raises(BrokerError, match="Not authorized"):
                replay(refused, door, Plan(0, None))


def test_a_broker_that_is_not_there_is_said_at_once():
    with pytest.raises(BrokerError, match="does not let us in: no connection to"):
        Publisher(Settings(broker_port=free_port()), "replay").__enter__()


def test_a_broker_that_refuses_us_is_said_with_its_reason():
    broker, port = guarded_mosquitto("lantern", "secret")
    with broker, pytest.raises(BrokerError, match="Not authorized"):
        Publisher(Settings(broker_port=port), "replay").__enter__()


def test_the_embedded_broker_takes_a_replay_too():
    with (
        EmbeddedBroker(free_port()) as broker,
        Publisher(Settings(broker_port=broker.port), "replay") as door,
    ):
        assert replay(flood(300), door, Plan(0, None)) == 300
        assert door.acknowledged_count == 300
