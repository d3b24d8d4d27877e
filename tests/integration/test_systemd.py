"""systemd is told that the collector runs and moves, and nothing more once it is stuck; the test plays systemd."""

import sqlite3
import subprocess

import pytest

from collector.heartbeat import ALL_WELL, Heartbeat
from collector.systemd import Systemd
from shared.farm_file import parse_farm
from shared.settings import Settings
from shared.store.sqlite import SqliteStore
from tests.fakes.night import KNOLL, T0
from tests.fakes.servers import Mosquitto, free_port, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, side, wait_until
from tests.fakes.watchdogs import NotifySocket

WAITS_S = 0.9
"""What the test's systemd waits for a sign of life; three are told in it."""


@pytest.fixture(params=["file", "abstract"])
def systemd(request, tmp_path, monkeypatch):
    """The environment of a unit with WatchdogSec, and its socket."""
    with NotifySocket(tmp_path if request.param == "file" else None) as notify:
        monkeypatch.setenv("NOTIFY_SOCKET", notify.address)
        monkeypatch.setenv("WATCHDOG_USEC", str(round(WAITS_S * 1e6)))
        yield notify


def start(folder, broker_port):
    (folder / "farm.toml").write_text(KNOLL)
    return side(["collect"], folder, broker_port=broker_port)


@pytest.mark.mosquitto
@needs_mosquitto[1]
def test_a_collector_that_runs_says_so_and_one_whose_store_is_blocked_falls_silent(systemd, tmp_path):
    with Mosquitto() as broker, start(tmp_path, broker.port) as collector:
        told = systemd.wait_for("WATCHDOG=1")
        assert told.index("READY=1") < told.index("WATCHDOG=1")
        systemd.wait_for("WATCHDOG=1")  # and goes on
        other = sqlite3.connect(tmp_path / "lantern.sqlite", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")  # a second writer, as a copy that never ends
        publish = ["mosquitto_pub", "-p", str(broker.port), "-q", "1", "-t", "lantern/knoll/air", "-m", "40"]
        subprocess.run(publish, check=True, timeout=PATIENCE_S)
        collector.wait_until_said("not stored, nothing acknowledged")
        wait_until(lambda: "WATCHDOG=1" not in systemd.told(2 * WAITS_S))
        other.execute("ROLLBACK")
        other.close()
        systemd.wait_for("WATCHDOG=1")
        assert collector.stop() == 0
        assert "READY=1" not in systemd.wait_for("STOPPING=1")


def test_a_broker_that_is_away_is_no_reason_to_restart(systemd, tmp_path):
    with start(tmp_path, free_port()) as collector:
        assert "READY=1" in systemd.wait_for("WATCHDOG=1")
        told = systemd.wait_for("WATCHDOG=1") + systemd.wait_for("WATCHDOG=1")
        (status,) = {line for line in told if line.startswith("STATUS=")}
        assert status.startswith("STATUS=broker: no canary has come back since the start")
        assert collector.stop() == 0


class Loop:
    """The heartbeat of a loop that comes round when it is told to, at a time of its own."""

    def __init__(self, folder, notify):
        farm = parse_farm(KNOLL)
        self.now_s = 1000.0
        self.store = SqliteStore(folder / "lantern.sqlite", {s.id: s.quantity for s in farm.sensors})
        self.heartbeat = Heartbeat(
            Settings(store_file=folder / "lantern.sqlite"),
            farm,
            self.store,
            lambda: T0,
            lambda: self.now_s,
            {"NOTIFY_SOCKET": notify.address, "WATCHDOG_USEC": str(300_000_000)},
        )
        self.canaries = []

    def all_well(self):
        self.heartbeat.committed(1, self.canaries)
        self.heartbeat.judged()
        self.heartbeat.recorded()
        self.heartbeat.sender_moved()

    def turn(self):
        self.heartbeat.turned(lambda token: self.canaries.append(token) or True)


@pytest.fixture
def notify(tmp_path):
    with NotifySocket(tmp_path) as notify:
        yield notify


@pytest.fixture
def loop(tmp_path, notify):
    loop = Loop(tmp_path, notify)
    yield loop
    loop.store.close()


def test_it_is_ready_once_the_loop_came_round_and_alive_once_every_stage_did(loop, notify):
    loop.turn()
    status = notify.heard()[0]
    assert status.startswith(
        "STATUS=broker: no canary has come back since the start (limit 10 min); readings: "
    )
    loop.turn()
    assert notify.heard() == []  # a minute has not gone by
    loop.all_well()
    loop.now_s += 60
    loop.turn()
    assert notify.heard() == [f"STATUS={ALL_WELL}", "WATCHDOG=1"]


def test_readiness_is_told_again_where_systemd_was_too_busy(loop, notify, tmp_path):
    (tmp_path / "notify").rename(tmp_path / "away")
    loop.turn()
    (tmp_path / "away").rename(tmp_path / "notify")
    loop.now_s += 60
    loop.turn()
    assert "READY=1" in notify.heard()
    loop.now_s += 60
    loop.turn()
    assert "READY=1" not in notify.heard()


@pytest.mark.parametrize("stage", ["recorded", "sender_moved"])
def test_a_stage_that_a_restart_heals_stops_the_sign_of_life(loop, notify, stage):
    loop.turn()
    loop.all_well()
    loop.now_s += 1201
    for other in {"recorded", "sender_moved"} - {stage}:
        getattr(loop.heartbeat, other)()
    loop.turn()
    assert "WATCHDOG=1" not in notify.heard()
    getattr(loop.heartbeat, stage)()
    loop.now_s += 60
    loop.turn()
    assert "WATCHDOG=1" in notify.heard()


def test_a_canary_is_sent_every_five_minutes_and_sooner_while_none_comes_back(loop):
    def sent_within(seconds):
        loop.canaries = []
        for _ in range(seconds):
            loop.turn()
            loop.now_s += 1
        return len(loop.canaries)

    assert sent_within(90) == 3
    loop.all_well()
    assert sent_within(200) == 0
    assert sent_within(100) == 1
    assert sent_within(30) == 1


def test_only_a_canary_of_our_own_proves_the_path(loop):
    loop.turn()
    (token,) = loop.canaries
    loop.heartbeat.committed(0, ["drain lantern-knoll 1 0", f"{token}0"])
    assert loop.heartbeat.vitals.canary_s is None
    sent_s = loop.now_s
    loop.now_s += 20
    loop.heartbeat.committed(0, [token])
    assert loop.heartbeat.vitals.canary_s == sent_s
    loop.heartbeat.vitals.canary_s = None
    loop.heartbeat.committed(0, [token])  # once more, as a broker may bring it
    assert loop.heartbeat.vitals.canary_s is None


@pytest.mark.parametrize("address", ["", "/nobody/listens", "@nobody-listens"])
def test_without_systemd_nothing_is_told_and_nothing_breaks(address):
    assert Systemd({"NOTIFY_SOCKET": address}).tell(["READY=1"]) is False
