"""What happens to the subscriber's messages when something dies, hangs, forgets or refuses."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from collector.subscriber import SILENT_S
from shared.broker import KEEPALIVE_S, Link
from shared.clock import monotonic_s
from shared.settings import Settings
from tests.fakes.servers import Mosquitto, free_port, guarded_mosquitto, needs_mosquitto
from tests.fakes.sessions import (
    count_is,
    has_canary,
    publish,
    sensors,
    settle,
    subscriber_at,
    taken,
)
from tests.fakes.sides import PATIENCE_S

pytestmark = needs_mosquitto


@pytest.fixture
def mosquitto():
    with Mosquitto() as broker:
        yield broker


KILLED = """
import sys
from collector.subscriber import Subscriber
from shared.clock import monotonic_s, system_clock
from shared.settings import Settings
settings = Settings(broker_port=int(sys.argv[1]))
subscriber = Subscriber(settings, "knob", ("sensor/#",), system_clock, monotonic_s)
subscriber.start()
while True:
    for item in subscriber.take(100, 0.2):
        print(item.payload.decode(), flush=True)
"""


def test_a_collector_that_is_killed_before_its_commit_loses_nothing(mosquitto):
    collector = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(mosquitto.port)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    with collector:
        watch = [
            "mosquitto_sub",
            "-p",
            str(mosquitto.port),
            "-t",
            "lantern/knob/collector/status",
            "-W",
            "10",
        ]
        said = subprocess.run([*watch, "-C", "1"], capture_output=True, text=True, check=True)
        assert said.stdout == "online\n"
        publish(mosquitto, "sensor/a", "1", "2", "3")
        assert [collector.stdout.readline() for _ in range(3)] == ["1\n", "2\n", "3\n"]
        collector.kill()
    said = subprocess.run([*watch, "-C", "1"], capture_output=True, text=True, check=True)
    assert said.stdout == "offline\n", "the broker's last will for it"
    with subscriber_at(mosquitto) as subscriber:
        assert sensors(settle(subscriber)) == [b"1", b"2", b"3"]


def test_a_late_acknowledgement_never_confirms_a_message_of_another_connection(mosquitto):
    with subscriber_at(mosquitto) as subscriber:
        old = taken(subscriber, has_canary, acknowledge=False)
        mosquitto.kill()
        (mosquitto.folder / "mosquitto.db").unlink(missing_ok=True)  # the broker forgets the session
        mosquitto.start()
        new = taken(subscriber, has_canary, acknowledge=False)
        publish(mosquitto, "sensor/a", "1")
        new += taken(subscriber, count_is(1), acknowledge=False)
        assert {item.mid for item in old} & {item.mid for item in new}, "packet ids began again"
        assert {item.epoch for item in old} == {1}
        assert {item.epoch for item in new} == {2}
        subscriber.acknowledge(old)
    with subscriber_at(mosquitto) as subscriber:
        again = taken(subscriber, has_canary)
    assert {item.payload for item in new} <= {item.payload for item in again}


def test_it_comes_back_by_itself_when_the_broker_was_killed(mosquitto):
    with subscriber_at(mosquitto) as subscriber:
        settle(subscriber)
        mosquitto.kill()
        end_s = time.monotonic() + PATIENCE_S
        while subscriber.state.link is Link.CONNECTED and time.monotonic() < end_s:
            subscriber.take(1, 0.05)
        assert subscriber.state.link is Link.DOWN
        assert not subscriber.publish("lantern/knob/horn", b"on"), "nothing is kept to go off much later"
        mosquitto.start()
        settle(subscriber)
        publish(mosquitto, "sensor/a", "1")
        taken(subscriber, count_is(1))


def test_a_broker_that_is_down_at_the_start_is_waited_for():
    broker = Mosquitto()
    with subscriber_at(broker) as subscriber:
        end_s = time.monotonic() + PATIENCE_S
        while "refused" not in subscriber.state.reason and time.monotonic() < end_s:
            subscriber.take(1, 0.05)
        assert f"no connection to 127.0.0.1:{broker.port}" in subscriber.state.reason
        with broker:
            settle(subscriber)


def test_a_client_without_a_sign_of_life_is_pulsed_and_then_built_anew(mosquitto):
    ahead_s = 0.0
    with subscriber_at(mosquitto, monotonic=lambda: monotonic_s() + ahead_s) as subscriber:
        settle(subscriber)
        ahead_s += KEEPALIVE_S + 1
        taken(subscriber, lambda items: any(item.payload.startswith(b"pulse ") for item in items))
        assert subscriber.state.link is Link.CONNECTED
        mosquitto.freeze()
        ahead_s += SILENT_S + 1
        subscriber.take(1, 0.05)
        assert subscriber.state.link is Link.DOWN
        assert "no sign of life" in subscriber.state.reason
        mosquitto.thaw()
        (canary,) = [item for item in settle(subscriber) if item.payload.startswith(b"drain ")]
        assert canary.epoch == 2
        publish(mosquitto, "sensor/a", "1")
        taken(subscriber, count_is(1))


def test_a_wrong_password_is_said_with_the_brokers_own_reason():
    broker, port = guarded_mosquitto("lantern", "right")
    with broker:
        wrong = Settings(broker_port=port, broker_user="lantern", broker_password="wrong")
        with subscriber_at(broker, settings=wrong) as subscriber:
            end_s = time.monotonic() + PATIENCE_S
            while subscriber.state.link is not Link.REFUSED and time.monotonic() < end_s:
                subscriber.take(1, 0.05)
            assert (subscriber.state.link, subscriber.state.reason) == (Link.REFUSED, "Not authorized")
        right = wrong.model_copy(
            update={"broker_password": Settings(broker_password="right").broker_password}
        )
        with subscriber_at(broker, settings=right) as subscriber:
            settle(subscriber)


def test_a_filter_the_broker_refuses_is_said():
    """With Mosquitto's own security plugin; its ACL file answers a refused subscription as if granted."""
    port = free_port()
    plugin = "/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so"
    extra = f"listener {port} 127.0.0.1\nallow_anonymous false\nplugin {plugin}\n"
    extra += "plugin_opt_config_file FOLDER/security.json\n"
    broker = Mosquitto(extra)
    subprocess.run(
        ["mosquitto_ctrl", "dynsec", "init", broker.folder / "security.json", "admin", "secret"],
        check=True,
        capture_output=True,
    )
    rules = json.loads((broker.folder / "security.json").read_text())
    for role in rules["roles"]:
        role["acls"] = [
            acl for acl in role["acls"] if (acl["acltype"], acl["topic"]) != ("subscribePattern", "#")
        ]
    broker.write("security.json", json.dumps(rules))
    with broker:
        admin = Settings(broker_port=port, broker_user="admin", broker_password="secret")
        filters = ("$CONTROL/dynamic-security/v1/response", "sensor/#")
        with subscriber_at(broker, filters=filters, settings=admin) as subscriber:
            end_s = time.monotonic() + PATIENCE_S
            while not subscriber.refused_filters and time.monotonic() < end_s:
                subscriber.take(1, 0.05)
            assert subscriber.refused_filters == {"sensor/#": "Not authorized"}
