"""A store that cannot be written: nothing is acknowledged, nothing is lost, and it goes on when there is room."""

import threading
from contextlib import contextmanager

import pytest

from collector.alerting.delivery import Sender
from collector.arrivals import Received
from collector.daemon import Daemon
from collector.evaluator import plan_for
from collector.topics import router_of
from shared.broker import Link, LinkState
from shared.farm_file import parse_farm
from shared.settings import Settings
from shared.store.sqlite import SqliteStore
from tests.fakes.disks import allow_pages, fill_up
from tests.fakes.night import KNOLL, T0
from tests.fakes.sides import PATIENCE_S, wait_until


class Session:
    """A subscriber with one message in hand, which remembers what it was told to acknowledge."""

    state = LinkState(Link.CONNECTED)
    protocol = "MQTT 5"

    def __init__(self, *items):
        self.items = list(items)
        self.acknowledged = []
        self.refused_filters = {}

    def start(self):
        pass

    def stop(self):
        pass

    def take(self, max_count, _wait_s):
        threading.Event().wait(0.01)
        taken, self.items = self.items[:max_count], self.items[max_count:]
        return taken

    def acknowledge(self, items):
        self.acknowledged += items

    def publish(self, *_message, **_how):
        return False

    def send_canary(self, _token):
        return False


def message(mid, payload):
    return Received(1, mid, 1, "lantern/knoll/air", payload, False, False, T0 + mid, 0.0, None)


@pytest.fixture
def farm():
    return parse_farm(KNOLL)


@contextmanager
def watching(path, farm, session, retry_s):
    """A daemon at work on a store of its own; `run` has returned when this ends."""
    store = SqliteStore(path, {s.id: s.quantity for s in farm.sensors})
    daemon = Daemon(
        Settings(),
        plan_for(farm),
        router_of(farm),
        store,
        session,
        Sender(store, farm, {}, lambda: T0),
        lambda: T0,
        lambda: 0.0,
        retry_s=(retry_s,),
    )
    thread = threading.Thread(target=daemon.run)
    thread.start()
    wait_until(lambda: store.memory() is not None)
    yield store
    daemon.stopping.set()
    thread.join(PATIENCE_S)
    assert not thread.is_alive()


def test_a_full_disk_acknowledges_nothing_and_recovers(tmp_path, farm):
    session = Session()
    with watching(tmp_path / "lantern.sqlite", farm, session, retry_s=0.02) as store:
        fill_up(store)
        # A reading beside a reject too large for the room that is left: both, or neither.
        session.items = [message(1, b"40.5"), message(2, b"x" * 500_000)]
        wait_until(lambda: session.items == [])
        threading.Event().wait(0.2)
        assert session.acknowledged == []
        assert store.latest() == {}
        allow_pages(store, 1_000_000)
        wait_until(lambda: [item.mid for item in session.acknowledged] == [1, 2])
        assert store.latest()["air"].value == pytest.approx((40.5 - 32) / 1.8)
        assert len(store.rejects(5)) == 1


def test_one_that_is_told_to_stop_while_it_cannot_write_acknowledges_nothing(tmp_path, farm):
    session = Session()
    with watching(tmp_path / "lantern.sqlite", farm, session, retry_s=60.0) as store:
        fill_up(store)
        session.items = [message(1, b"x" * 500_000)]
        wait_until(lambda: session.items == [])
    assert session.acknowledged == []
