"""Through the door that deploy/mosquitto/lantern.conf shows for the farm's network: TLS, password, access list.

The lines of that file are used as they stand, with their '#' removed; the certificates are thrown away after.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from collector.replay import Plan, replay
from collector.subscriber import Subscriber
from shared.broker import Link
from shared.clock import monotonic_s, system_clock
from shared.errors import BrokerError, SettingsError
from shared.publisher import Publisher
from shared.settings import Settings
from shared.streams import StreamMessage
from tests.fakes.servers import CONF, Mosquitto, free_port, needs_mosquitto
from tests.fakes.sides import PATIENCE_S

pytestmark = [
    *needs_mosquitto,
    # paho forgets to close the socket of a handshake that failed.
    pytest.mark.filterwarnings(
        "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
    ),
]
ROOT = Path(__file__).parents[2]
EC = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2")


def openssl(*arguments):
    subprocess.run(["openssl", *map(str, arguments)], check=True, capture_output=True)


def authority(folder, name):
    """A certificate authority of our own; gives its certificate and key."""
    certificate, key = folder / f"{name}.crt", folder / f"{name}.key"
    usage = ("-addext", "keyUsage=critical,keyCertSign,cRLSign")
    openssl("req", "-x509", *EC, "-subj", f"/CN={name}", *usage, "-keyout", key, "-out", certificate)
    return certificate, key


def shown_lines(port):
    """The listener for the farm's network, as the shipped file shows it."""
    text = CONF.read_text()
    block = re.search(r"^#listener 8883\n(?:#\S.*\n)+", text, re.MULTILINE)[0].replace("#", "")
    block = re.sub(r"/etc/mosquitto/(?:certs/)?", "FOLDER/", block)
    assert block.count("FOLDER/") == 4  # password, access list, certificate and key
    return block.replace("listener 8883", f"listener {port} 127.0.0.1")


@pytest.fixture(scope="module")
def guarded(tmp_path_factory):
    """A broker behind that door, its port, and the authority that vouches for it."""
    folder, port = tmp_path_factory.mktemp("certificates"), free_port()
    ca, ca_key = authority(folder, "farm")
    key, request, certificate = folder / "broker.key", folder / "broker.csr", folder / "broker.crt"
    names = folder / "names"
    names.write_text("subjectAltName=IP:127.0.0.1,DNS:localhost\nauthorityKeyIdentifier=keyid\n")
    openssl("req", *EC, "-subj", "/CN=broker", "-keyout", key, "-out", request)
    openssl(
        *("x509", "-req", "-in", request, "-CA", ca, "-CAkey", ca_key, "-CAcreateserial"),
        *("-days", "2", "-extfile", names, "-out", certificate),
    )
    broker = Mosquitto(shown_lines(port))
    passwords = broker.write("lantern.passwd", "lantern:secret\n")
    subprocess.run(["mosquitto_passwd", "-U", passwords], check=True)
    broker.write("lantern.passwd", passwords.read_text())
    broker.write("lantern.acl", (CONF.parent / "lantern.acl").read_text().replace("MYFARM", "knob"))
    broker.write("broker.crt", certificate.read_text())
    broker.write("broker.key", key.read_text())
    with broker:
        yield port, ca


def settings(guarded, **other):
    port, ca = guarded
    said = {
        "broker_port": port,
        "broker_tls": True,
        "broker_ca_file": ca,
        "broker_user": "lantern",
        "broker_password": "secret",
    }
    return Settings(**(said | other))


def subscribed(with_settings):
    subscriber = Subscriber(with_settings, "knob", ("lantern/knob/#",), system_clock, monotonic_s)
    subscriber.start()
    return subscriber


def wait_until(subscriber, is_so):
    taken = []
    give_up_s = monotonic_s() + PATIENCE_S
    while not is_so(taken) and monotonic_s() < give_up_s:
        items = subscriber.take(100, 0.2)
        subscriber.acknowledge(items)
        taken += [item.payload for item in items if item.topic == "lantern/knob/air"]
    return taken


def test_a_replay_and_the_collectors_session_pass(guarded):
    subscriber = subscribed(settings(guarded))
    wait_until(subscriber, lambda _: subscriber.state.link is Link.CONNECTED)
    messages = [StreamMessage(i, "lantern/knob/air", b"%d" % i) for i in range(500)]
    with Publisher(settings(guarded), "replay") as door:
        assert replay(messages, door, Plan(0, None)) == 500
    taken = wait_until(subscriber, lambda taken: len(taken) >= 500)
    subscriber.stop()
    assert taken == [message.payload for message in messages]


def replayed_by_command(folder, environment):
    stream = folder / "night.jsonl"
    stream.write_text('{"t": 0, "topic": "lantern/knob/air", "payload": "1"}\n')
    return subprocess.run(
        [sys.executable, ROOT / "lantern.py", "replay", stream, "--speed", "max"],
        env={**os.environ, **environment},
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_the_environments_settings_are_enough(guarded, tmp_path):
    port, ca = guarded
    environment = {
        "LANTERN_BROKER_PORT": str(port),
        "LANTERN_BROKER_TLS": "true",
        "LANTERN_BROKER_CA_FILE": str(ca),
        "LANTERN_BROKER_USER": "lantern",
        "LANTERN_BROKER_PASSWORD": "secret",
    }
    done = replayed_by_command(tmp_path, environment)
    assert (done.returncode, done.stderr) == (0, "")
    assert "1 of 1 messages published" in done.stdout
    refused = replayed_by_command(tmp_path, environment | {"LANTERN_BROKER_PASSWORD": "guess"})
    assert refused.returncode == 1
    assert refused.stderr.startswith("lantern replay: the broker at 127.0.0.1:")
    assert "Not authorized" in refused.stderr
    assert "guess" not in refused.stderr + refused.stdout


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        ({"broker_password": "guess"}, "does not let us in: Not authorized"),
        ({"broker_user": None, "broker_password": None}, "does not let us in: Not authorized"),
        ({"broker_ca_file": None}, "no connection to .*CERTIFICATE_VERIFY_FAILED"),
        ({"broker_host": "127.0.0.2"}, "no connection to 127.0.0.2"),
    ],
)
def test_who_should_not_come_in_is_told_why(guarded, other, reason):
    with pytest.raises(BrokerError, match=reason):
        Publisher(settings(guarded, **other), "replay").__enter__()


def test_a_broker_that_another_authority_vouches_for_is_not_trusted(guarded, tmp_path):
    stranger, _ = authority(tmp_path, "stranger")
    with pytest.raises(BrokerError, match=r"no connection to .*CERTIFICATE_VERIFY_FAILED"):
        Publisher(settings(guarded, broker_ca_file=stranger), "replay").__enter__()
    subscriber = subscribed(settings(guarded, broker_ca_file=stranger))
    wait_until(subscriber, lambda _: "CERTIFICATE_VERIFY_FAILED" in subscriber.state.reason)
    state = subscriber.state
    subscriber.stop()
    assert (state.link, "CERTIFICATE_VERIFY_FAILED" in state.reason) == (Link.DOWN, True)


def test_a_wrong_password_is_told_to_the_collector_too(guarded):
    subscriber = subscribed(settings(guarded, broker_password="guess"))
    wait_until(subscriber, lambda _: subscriber.state.link is Link.REFUSED)
    state = subscriber.state
    subscriber.stop()
    assert (state.link, state.reason) == (Link.REFUSED, "Not authorized")


def test_an_authoritys_file_that_is_not_there_is_said(guarded, tmp_path):
    with pytest.raises(SettingsError, match=r"nowhere\.crt cannot be used"):
        Publisher(settings(guarded, broker_ca_file=tmp_path / "nowhere.crt"), "replay").__enter__()


def test_without_tls_nobody_comes_in_by_that_door(guarded):
    with pytest.raises(BrokerError, match="if it wants TLS, set LANTERN_BROKER_TLS"):
        Publisher(settings(guarded, broker_tls=False), "replay").__enter__()
