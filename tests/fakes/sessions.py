"""A subscriber at a real broker, and what comes to it."""

import subprocess
import time
from contextlib import contextmanager

from collector.subscriber import Subscriber
from shared.clock import monotonic_s, system_clock
from shared.settings import Settings
from tests.fakes.sides import PATIENCE_S

FILTERS = ("lantern/knob/canary", "lantern/knob/+/status", "sensor/#")


@contextmanager
def subscriber_at(broker, filters=FILTERS, settings=None, **known):
    settings = settings or Settings(broker_port=broker.port)
    subscriber = Subscriber(
        settings, "knob", filters, system_clock, known.pop("monotonic", monotonic_s), **known
    )
    subscriber.start()
    try:
        yield subscriber
    finally:
        subscriber.stop()


def publish(broker, topic, *payloads, qos=1):
    """With a client that is not paho."""
    command = ["mosquitto_pub", "-p", str(broker.port), "-q", str(qos), "-t", topic]
    for payload in payloads:
        subprocess.run([*command, "-m", payload], check=True, timeout=PATIENCE_S)


def taken(subscriber, until, *, acknowledge=True, max_count=100):
    """What arrives until a condition on it holds; fails if it never does."""
    items = []
    end_s = time.monotonic() + PATIENCE_S
    while not until(items):
        assert time.monotonic() < end_s, (subscriber.state, items)
        more = subscriber.take(max_count, 0.2)
        if acknowledge:
            subscriber.acknowledge(more)
        items += more
    return items


def sensors(items):
    return [item.payload for item in items if item.topic.startswith("sensor/")]


def has_canary(items):
    return any(item.payload.startswith(b"drain ") for item in items)


def count_is(count):
    return lambda items: len(sensors(items)) == count


def settle(subscriber):
    """Connected, subscribed, and its own canary seen."""
    return taken(subscriber, has_canary)
