"""When texts count as unheard, and that what is not well is said once, not every few seconds."""

import logging

import pytest

from collector.heartbeat import Heartbeat, unheard
from shared.farm_file import parse_farm
from shared.settings import Settings
from shared.store import OutboxRow
from shared.store.sqlite import SqliteStore
from tests.fakes.night import KNOLL, T0


def row(event, state="waiting", attempts=1, channel="push", contact="owner"):
    sent_ms = T0 if state == "sent" else None
    return OutboxRow("vacuum_lost/ledge", event, contact, channel, "x", T0, state, sent_ms, attempts, None)


@pytest.mark.parametrize(
    ("rows", "waits"),
    [
        ([], False),
        ([row("2", attempts=0)], False),
        ([row("2"), row("1", "sent")], True),
        ([row("3"), row("2")], True),
        ([row("1", "sent"), row("0")], False),
        ([row("1", channel="mail"), row("1", "sent")], False),
        ([row("1", contact="neighbour"), row("1", "sent")], False),
        ([row("2", "expired"), row("1", "sent")], False),
        ([row("2", "refused"), row("1", "sent")], False),
    ],
    ids=[
        "no text",
        "not tried yet",
        "tried, and newer than what was taken",
        "none was ever taken",
        "a newer one was taken",
        "another channel took it",
        "another contact was reached",
        "given up after a day",
        "refused for good",
    ],
)
def test_a_text_is_unheard_when_it_was_tried_and_nobody_took_it_or_a_newer_one(rows, waits):
    """Newest first, as the store gives them."""
    assert unheard(rows)[1] is waits


@pytest.fixture
def heartbeat(tmp_path):
    """One that is not started: the test looks."""
    farm = parse_farm(KNOLL)
    store = SqliteStore(tmp_path / "lantern.sqlite", {sensor.id: sensor.quantity for sensor in farm.sensors})
    settings = Settings(store_file=tmp_path / "lantern.sqlite", heartbeat_url="http://127.0.0.1:9/")
    now_s = [0.0]
    heartbeat = Heartbeat(settings, farm, store, lambda: T0, lambda: now_s[0], {})
    yield heartbeat, now_s
    store.close()


def all_well(heartbeat):
    canaries = []
    heartbeat.turned(lambda token: canaries.append(token) or True)
    heartbeat.committed(1, canaries)
    heartbeat.judged()
    heartbeat.recorded()
    heartbeat.sender_moved()


def test_what_is_not_well_is_logged_once_until_it_changes(heartbeat, caplog):
    heartbeat, now_s = heartbeat
    caplog.set_level(logging.INFO)

    def said_within(seconds):
        caplog.clear()
        for _ in range(seconds // 5):
            now_s[0] += 5
            heartbeat._look()
        return [(record.levelname, record.message.partition(": ")[2][:8]) for record in caplog.records]

    assert said_within(60) == [("WARNING", "broker: ")]
    now_s[0] += 300
    all_well(heartbeat)
    assert [level for level, _ in said_within(300)] == ["INFO"]
    assert said_within(300) == [("WARNING", "store: n")]
    assert said_within(100) == [("WARNING", "broker: ")]


def test_a_store_that_cannot_be_looked_at_is_not_seen_well(heartbeat):
    heartbeat, _ = heartbeat
    all_well(heartbeat)
    heartbeat._store.close()
    heartbeat._look()
    assert '"trouble": "store: cannot be looked at: ' in heartbeat.health()
