"""A real collector at a real broker pings a real web server, and only while every stage is seen well.

Time leaps instead of passing: the collector's clocks are moved on, and its stages must be seen well anew.
"""

import json
import threading
from contextlib import contextmanager
from dataclasses import replace

import pytest

from collector.embedded_broker import EmbeddedBroker
from collector.opening import open_daemon
from shared.broker import Link
from shared.clock import monotonic_s, system_clock
from shared.errors import SettingsError
from shared.farm_file import parse_farm
from shared.publisher import Publisher
from shared.settings import Settings
from shared.store import Memory, Record, Text
from tests.fakes.disks import allow_pages, fill_up
from tests.fakes.phones import HttpPhone
from tests.fakes.servers import Mosquitto, free_port, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, side, wait_until
from tests.fakes.watchdogs import OutsideWatchdog

pytestmark = needs_mosquitto

FARM = """
[farm]
id = "knoll"
name = "Knoll"
timezone = "America/New_York"
elevation_ft = 1450
[[sensor]]
id = "radio"
quantity = "battery"
unit = "V"
interval_s = 60
[[contact]]
id = "owner"
name = "Wren"
channel = [{ id = "push", url = "PUSH" }]
"""


class Collector:
    """One in this process, whose clocks can leap."""

    def __init__(self, settings, farm):
        self.ahead_s = 0.0
        self.wall_ahead_s = 0.0
        opened = open_daemon(settings, farm, self.wall, monotonic_s)
        # The link keeps to true time: a leap is no silence of the broker.
        self.daemon = replace(opened, monotonic=lambda: monotonic_s() + self.ahead_s, retry_s=(0.05,))
        self.heartbeat = self.daemon.heartbeat
        self.heartbeat.look_every_s = 0.05
        self.heartbeat.ping_again_s = 0.05
        self.settings = settings
        self._volts = 3.0

    def wall(self):
        return system_clock() + round((self.ahead_s + self.wall_ahead_s) * 1000)

    def leap(self, seconds):
        self.ahead_s += seconds

    def say(self, payload=None):
        """A sensor speaks, never twice alike."""
        self._volts += 0.001
        with Publisher(self.settings, "sensor") as door:
            door.publish("lantern/knoll/radio", payload or f"{self._volts:.3f}".encode())
            door.wait_acknowledged()

    @property
    def trouble(self):
        return json.loads(self.heartbeat.health())["trouble"]

    def stages(self):
        """The stages that are not seen well now."""
        return [reason.partition(":")[0] for reason in self.trouble.split("; ") if reason]

    def wait_for_stages(self, *stages):
        wait_until(lambda: self.stages() == list(stages), lambda: self.trouble)


@contextmanager
def collecting(tmp_path, broker_port, url, phone_url="json://127.0.0.1:9/"):
    settings = Settings(
        broker_port=broker_port, store_file=tmp_path / "lantern.sqlite", heartbeat_url=url, heartbeat_s=600
    )
    collector = Collector(settings, parse_farm(FARM.replace("PUSH", phone_url)))
    thread = threading.Thread(target=collector.daemon.run)
    thread.start()
    try:
        wait_until(lambda: collector.daemon.subscriber.state.link is Link.CONNECTED)
        yield collector
    finally:
        collector.daemon.stopping.set()
        thread.join(PATIENCE_S)
    assert not thread.is_alive()


@pytest.fixture
def watchdog():
    with OutsideWatchdog() as watchdog:
        yield watchdog


@pytest.fixture
def broker():
    with Mosquitto() as broker:
        yield broker


@pytest.fixture
def collector(tmp_path, broker, watchdog):
    """At work, and its watchdog pinged once."""
    with collecting(tmp_path, broker.port, watchdog.url) as collector:
        collector.wait_for_stages("readings")
        collector.say()
        wait_until(lambda: watchdog.count == 1, lambda: collector.trouble)
        yield collector


def heals(collector, watchdog):
    """Whether a reading more is all that it takes to be pinged again."""
    before = watchdog.count
    collector.say()
    wait_until(lambda: watchdog.count == before + 1, lambda: collector.trouble)
    return collector.stages() == []


def test_the_watchdog_is_pinged_every_ten_minutes_once_every_stage_was_seen_well(tmp_path, broker, watchdog):
    with collecting(tmp_path, broker.port, watchdog.url) as collector:
        collector.wait_for_stages("readings")
        assert watchdog.pings == []
        assert heals(collector, watchdog)
        for count in (2, 3):
            collector.leap(590)
            collector.say()
            collector.wait_for_stages()
            assert watchdog.count == count - 1
            collector.leap(11)
            wait_until(lambda count=count: watchdog.count == count, lambda: collector.trouble)
        assert {path for _, path in watchdog.pings} == {"/ping/secret?farm=knoll"}


def test_no_ping_while_the_sensors_are_silent(collector, watchdog):
    collector.leap(650)
    collector.wait_for_stages("readings")
    assert collector.trouble == "readings: none was stored for 11 min (limit 10 min)"
    assert watchdog.count == 1
    assert heals(collector, watchdog)


def test_no_ping_while_the_broker_is_away(collector, watchdog, broker):
    broker.stop()
    wait_until(lambda: collector.daemon.subscriber.state.link is not Link.CONNECTED)
    collector.leap(650)
    collector.wait_for_stages("broker", "readings")
    assert watchdog.count == 1
    broker.start()
    collector.wait_for_stages("readings")
    assert heals(collector, watchdog)


def test_no_ping_while_the_broker_takes_messages_and_brings_none(collector, watchdog, broker):
    """Readings of another path would not help: it is the canary that proves this one."""
    broker.freeze()
    collector.leap(650)
    collector.wait_for_stages("broker", "readings")
    assert watchdog.count == 1
    broker.thaw()
    assert heals(collector, watchdog)


def test_no_ping_while_the_disk_is_full(collector, watchdog):
    fill_up(collector.daemon.store)
    collector.say(b"x" * 500_000)
    collector.leap(650)
    collector.wait_for_stages("broker", "readings", "rules", "store")
    assert watchdog.count == 1
    allow_pages(collector.daemon.store, 1_000_000)
    assert heals(collector, watchdog)


def test_no_ping_while_the_sender_hangs(collector, watchdog):
    collector.daemon.sender.on_moved = lambda: None
    collector.leap(650)
    collector.say()
    collector.wait_for_stages("outbox")
    assert watchdog.count == 1
    collector.daemon.sender.on_moved = collector.heartbeat.sender_moved
    wait_until(lambda: watchdog.count == 2, lambda: collector.trouble)


def test_no_ping_while_no_text_is_taken(tmp_path, broker, watchdog):
    with HttpPhone() as phone, collecting(tmp_path, broker.port, watchdog.url, phone.url) as collector:
        phone.status = 503
        collector.say()
        wait_until(lambda: watchdog.count == 1, lambda: collector.trouble)
        text = Text("vacuum_lost/ledge", "1.1", "owner", "push", "short", "long", collector.wall())
        store = collector.daemon.store
        store.record(Record(Memory(0, 0, collector.wall(), b"", b""), texts=[text]))
        wait_until(lambda: store.outbox(1)[0].attempts == 1)
        # Looked at once before the leap: from then on it waits.
        wait_until(lambda: collector.heartbeat.vitals.unheard_since_s is not None)
        collector.leap(1900)
        collector.say()
        collector.wait_for_stages("outbox")
        assert collector.trouble == "outbox: no text was taken for 32 min (limit 30 min)"
        assert watchdog.count == 1
        phone.status = 200
        collector.leap(590)
        collector.say()
        wait_until(lambda: watchdog.count == 2, lambda: collector.trouble)
        assert phone.inbox.bodies[0] == "short"  # what wakes goes first


@pytest.mark.parametrize("years", [-1, 1])
def test_a_wall_clock_that_jumps_brings_no_ping_and_keeps_none_back(collector, watchdog, years):
    collector.wall_ahead_s += years * 365 * 86_400
    collector.leap(590)
    collector.say()
    collector.wait_for_stages()
    assert watchdog.count == 1
    collector.leap(11)
    wait_until(lambda: watchdog.count == 2, lambda: collector.trouble)


def test_a_ping_that_fails_is_tried_once_more_and_the_watch_goes_on(collector, watchdog):
    watchdog.status = 503
    collector.leap(590)
    collector.say()
    collector.leap(20)
    wait_until(lambda: len(watchdog.pings) == 3, lambda: watchdog.pings)
    wait_until(lambda: collector.trouble == "not reached: it answered 503 Service Unavailable")
    watchdog.status = 200
    collector.leap(601)
    assert heals(collector, watchdog)


def test_a_watchdog_that_does_not_answer_holds_nothing_up(collector, watchdog):
    watchdog.may_answer.clear()
    collector.leap(590)
    collector.say()
    collector.leap(20)
    wait_until(lambda: len(watchdog.pings) == 2, lambda: collector.trouble)
    before = collector.daemon.store.latest()["radio"].value
    collector.say()
    wait_until(lambda: collector.daemon.store.latest()["radio"].value > before)


@pytest.mark.parametrize(
    "kind", [Mosquitto, lambda: EmbeddedBroker(free_port())], ids=["mosquitto", "embedded"]
)
def test_a_collector_started_as_an_owner_does_pings(tmp_path, kind, watchdog):
    (tmp_path / "farm.toml").write_text(FARM.replace("PUSH", "terminal:"))
    with (
        kind() as broker,
        side(["collect"], tmp_path, broker_port=broker.port, heartbeat_url=watchdog.url) as collector,
        Publisher(Settings(broker_port=broker.port), "sensor") as door,
    ):
        collector.wait_until_said("proven")
        door.publish("lantern/knoll/radio", b"3.1")
        wait_until(lambda: watchdog.count == 1, collector.said)
        assert collector.stop() == 0
        assert "secret" not in collector.said()


def test_a_demo_pings_nobody(tmp_path):
    farm = parse_farm(FARM.replace("PUSH", "terminal:"))
    settings = Settings(
        store_file=tmp_path / "lantern.sqlite", heartbeat_url="http://127.0.0.1:9/", pace="[[0, 0, 1.0]]"
    )
    daemon = open_daemon(settings, farm, system_clock, monotonic_s)
    assert daemon.heartbeat.health() == ""
    daemon.store.close()


@pytest.mark.parametrize(
    "url",
    ["a/secret", "ftp://a/secret", "http:///secret", "http://a:b/secret", "http://a/secret 2", "http://a:0/"],
)
def test_an_address_that_cannot_be_pinged_is_refused_at_the_start_and_not_repeated(tmp_path, url):
    farm = parse_farm(FARM.replace("PUSH", "terminal:"))
    settings = Settings(store_file=tmp_path / "lantern.sqlite", heartbeat_url=url)
    with pytest.raises(SettingsError) as refused:
        open_daemon(settings, farm, system_clock, monotonic_s)
    assert str(refused.value).startswith("LANTERN_HEARTBEAT_URL")
    assert "secret" not in str(refused.value)
