"""What any store promises, run on each implementation."""

import sqlite3
from dataclasses import replace
from itertools import count

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.alerts import Alert, AlertState, Cause, Priority, Transition
from shared.errors import NewerStoreError, StoreError
from shared.readings import Quantity, Reading, Reject, RejectKind
from shared.requests import Acknowledge, LogKind, WriteLog
from shared.store import Batch, Memory, Record, Text
from shared.store.outbox import TOLD_ALONG
from shared.store.rollups import WIDTHS_MS, single, widen
from shared.store.sqlite import SqliteStore
from shared.store.sqlite_reader import open_reader

QUANTITIES = {"level": Quantity.LEVEL, "air": Quantity.AIR_TEMPERATURE}
T0 = 1_772_000_000_000
NOTHING = Memory(0, 0, T0, b"", b"")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "farm.sqlite"


@pytest.fixture
def store(path):
    opened = SqliteStore(path, QUANTITIES)
    yield opened
    opened.close()


def reading(at_s, value, sensor="level"):
    return Reading(sensor, T0 + round(at_s * 1000), value, T0 + round(at_s * 1000) + 50)


def text(event, due_ms=T0):
    return Text("tank_nearly_full/lower", event, "owner", "phone", f"short {event}", f"long {event}", due_ms)


def test_what_is_committed_is_there_for_another_process(store, path):
    store.commit(Batch([reading(0, 1.0), reading(10, 2.0)]))
    reader = open_reader(path, QUANTITIES)
    assert reader.readings("level", T0, T0 + 60_000) == [(T0, 1.0), (T0 + 10_000, 2.0)]
    assert reader.latest()["level"].value == 2.0
    reader.close()


def test_a_redelivered_message_changes_nothing(store):
    first = store.commit(Batch([reading(0, 1.0)]))
    again = store.commit(Batch([reading(0, 1.0)]))
    assert [sequence for sequence, _ in first.readings] == [1]
    assert (again.readings, again.duplicate_count) == ((), 1)
    assert store.readings("level", T0, T0 + 1) == [(T0, 1.0)]


def test_a_duplicate_is_known_after_compaction_and_after_a_restart(store, path):
    store.commit(Batch([reading(0, 1.0), reading(10, 2.0)]))
    store.compact(1)
    store.close()
    reopened = SqliteStore(path, QUANTITIES)
    assert reopened.commit(Batch([reading(0, 1.0), reading(10, 2.0)])).duplicate_count == 2
    assert reopened.readings("level", T0, T0 + 60_000) == [(T0, 1.0), (T0 + 10_000, 2.0)]
    reopened.close()


def test_the_first_value_stays_and_a_differing_second_one_is_remembered(store, path):
    store.commit(Batch([reading(0, 1.0)]))
    assert store.commit(Batch([reading(0, 1.5)])).conflict_count == 1
    assert store.readings("level", T0, T0 + 1) == [(T0, 1.0)]
    with sqlite3.connect(path) as connection:
        assert connection.execute("SELECT kept, refused FROM conflict").fetchall() == [(1.0, 1.5)]
    connection.close()


def test_a_late_reading_is_stored_at_its_own_time(store):
    store.commit(Batch([reading(100, 2.0)]))
    store.compact(1)
    assert len(store.commit(Batch([reading(50, 1.0)])).readings) == 1
    assert store.readings("level", T0, T0 + 200_000) == [(T0 + 50_000, 1.0), (T0 + 100_000, 2.0)]


def test_rejects_are_kept_with_reason_and_bytes(store):
    for _ in range(2):  # a refused message that is redelivered is kept once
        store.commit(Batch(rejects=[Reject(T0, "a/b", b"\xff\x00", "not a number")]))
    assert store.rejects(5) == [Reject(T0, "a/b", b"\xff\x00", "not a number")]


def test_a_reject_keeps_its_kind_and_the_sensor_it_is_about(store):
    refused = [
        Reject(T0, "woods/up", b"{}", "level: too high", RejectKind.OUT_OF_RANGE, "level"),
        Reject(T0, "woods/up", b"{}", "air: unreadable", RejectKind.UNREADABLE, "air"),
    ]
    assert [reject for _, reject in store.commit(Batch(rejects=refused)).rejects] == refused
    assert store.rejects(5) == refused[::-1]
    assert store.commit(Batch(rejects=refused)).rejects == ()


def test_readings_and_rejects_have_one_sequence_the_order_in_which_they_came(store, path):
    first, second = (Reject(T0 + n, "a/b", b"x", "why", RejectKind.OUT_OF_RANGE, "air") for n in (1, 2))
    stored = store.commit(Batch([reading(0, 1.0), reading(10, 2.0)], [first, second], rejects_after=[1, 2]))
    assert stored.readings == ((1, reading(0, 1.0)), (3, reading(10, 2.0)))
    assert stored.rejects == ((2, first), (4, second))
    store.compact(4)
    store.close()
    reopened = SqliteStore(path, QUANTITIES)
    third = Reject(T0 + 3, "a/b", b"x", "why", RejectKind.OUT_OF_RANGE, "air")
    assert reopened.commit(Batch(rejects=[third])).rejects == ((5, third),)
    assert reopened.commit(Batch([reading(20, 3.0)])).readings == ((6, reading(20, 3.0)),)
    assert reopened.rejects_since(2) == [(4, second), (5, third)]
    assert reopened.since(4) == [(6, reading(20, 3.0))]
    reopened.close()


def test_a_request_is_carried_out_once(store):
    ask = Acknowledge(id="r1", by="Wren", asked_ms=T0, alert="tank_nearly_full/lower")
    entry = WriteLog(id="r2", by="Wren", asked_ms=T0, entry=LogKind.TANK_WASHED, happened_ms=T0, tank="lower")
    assert [r for _, r in store.commit(Batch(requests=[ask, entry], received_ms=T0)).requests] == [ask, entry]
    assert store.commit(Batch(requests=[ask], received_ms=T0)).requests == ()
    assert [r for _, r in store.requests_since(0)] == [ask, entry]
    assert store.log_entries(T0) == [entry]


def test_the_sequence_is_the_order_of_arrival_and_survives_compaction(store):
    store.commit(Batch([reading(0, 1.0), reading(0, 5.0, "air")]))
    store.compact(2)
    stored = store.commit(Batch([reading(10, 2.0)]))
    assert stored.readings == ((3, reading(10, 2.0)),)
    assert store.since(2) == [(3, reading(10, 2.0))]


def test_a_step_is_recorded_whole(store):
    alert = Alert(
        "tank_nearly_full", "lower", AlertState.ACTIVE, Priority.WAKE, 1, "Lower is full about 04:50."
    )
    change = Transition(
        alert.key, 1, T0, Cause.RAISED, AlertState.ACTIVE, Priority.WAKE, "Lower is full about 04:50."
    )
    memory = Memory(7, 2, T0, b"picture", b"alerting")
    store.record(Record(memory, [alert], [change], [text("1.1")], {"broker": "connected"}))
    assert store.alerts() == [alert]
    assert store.transitions(T0) == [change]
    assert store.memory() == memory
    assert store.health()["broker"] == (T0, "connected")
    assert [row.text for row in texts(store)] == [text("1.1")]


def texts(store, now_ms=T0, contact="owner"):
    """Texts that are due, as the sender asks for them."""
    due = store.due_ways(now_ms)
    return [row for row in store.texts_to(contact) if (contact, row.text.channel) in due]


def states(store):
    return {row.event: row.state for row in store.outbox(10)}


def test_a_text_is_written_once_however_often_its_step_is_recorded(store):
    for _ in range(3):
        store.record(Record(NOTHING, texts=[text("1.1")]))
    assert len(texts(store)) == 1


def test_a_text_waits_until_it_is_due_and_leaves_when_it_is_sent(store):
    store.record(Record(NOTHING, texts=[text("1.1", T0 + 1000)]))
    assert store.due_ways(T0 + 999) == []
    assert store.due_ways(T0 + 1000) == [("owner", "phone")]
    (row,) = store.texts_to("owner")
    store.mark_failed([row.id], T0 + 1000, error="no link", retry_ms=T0 + 11_000)
    assert store.due_ways(T0 + 10_999) == []
    assert [one.attempts for one in texts(store, T0 + 11_000)] == [1]
    store.mark_sent(row.id, T0 + 11_000)
    assert store.due_ways(T0 + 10**9) == []
    assert store.texts_to("owner") == []
    assert states(store) == {"1.1": "sent"}


def test_a_text_is_due_when_the_clock_was_put_back_before_it_was_written(store):
    store.record(Record(Memory(0, 0, T0, b"", b""), texts=[text("1.1", T0 + 600_000)]))
    assert store.due_ways(T0 - 3_600_000) == [("owner", "phone")]
    (row,) = store.texts_to("owner")
    store.mark_failed([row.id], T0 - 3_600_000, error="no link", retry_ms=T0 - 3_590_000)
    assert store.due_ways(T0 - 3_590_001) == []
    assert store.due_ways(T0 - 3_590_000) == [("owner", "phone")]


def test_a_clock_that_was_put_back_stretches_no_wait_for_the_next_try(store):
    store.record(Record(Memory(0, 0, T0 - 7_200_000, b"", b""), texts=[text("1.1")]))
    (row,) = store.texts_to("owner")
    store.mark_failed([row.id], T0, error="no link", retry_ms=T0 + 600_000)
    assert store.due_ways(T0) == []
    assert store.due_ways(T0 - 1) == [("owner", "phone")]
    (row,) = store.texts_to("owner")
    assert [row.is_due(T0), row.is_due(T0 - 1)] == [False, True]


def test_texts_beside_the_oldest_that_waits_are_seen_however_they_stand(store):
    by_mail = replace(text("1.2"), channel="mail")
    store.record(Record(NOTHING, texts=[text("1.1"), text("1.2"), by_mail, text("1.3")]))
    rows = {(row.text.event, row.text.channel): row for row in store.texts_to("owner")}
    store.mark_sent(rows["1.1", "phone"].id, T0)
    store.mark_sent(rows["1.2", "phone"].id, T0)
    store.mark_sent(rows["1.3", "phone"].id, T0)
    assert [(row.text.event, row.text.channel, row.state) for row in store.texts_to("owner")] == [
        ("1.2", "phone", "sent"),
        ("1.2", "mail", "waiting"),
        ("1.3", "phone", "sent"),
    ]
    assert store.texts_to("neighbour") == []


def test_a_text_that_is_spared_expired_or_refused_is_kept_with_its_reason(store):
    store.record(Record(NOTHING, texts=[text("1.1"), text("1.2"), text("1.3")]))
    first, second, third = (row.id for row in store.texts_to("owner"))
    store.mark_spared([(first, "newer text 3 says it")])
    store.mark_expired([(second, "no link for a day")])
    store.mark_failed([third], T0, error="no such number", retry_ms=None)
    store.mark_spared([(second, "too late: it waits no longer")])
    assert store.due_ways(T0 + 10**9) == []
    assert [(row.state, row.error) for row in store.outbox(10)] == [
        ("refused", "no such number"),
        ("expired", "no link for a day"),
        ("spared", "newer text 3 says it"),
    ]


def test_a_digest_is_kept_as_it_was_sent_and_all_that_it_stands_for_is_sent_with_it(store):
    store.record(Record(NOTHING, texts=[text("1.1"), text("1.2"), replace(text("1.3"), code="ABC")]))
    *along, lead = store.texts_to("owner")
    digest = replace(lead.text, body="all of it", long_body="at length", also=("a/b",))
    store.mark_sent(lead.id, T0 + 5, text=digest, along=[row.id for row in along])
    assert [(row.body, row.state, row.error) for row in store.outbox(10)] == [
        ("all of it", "sent", None),
        ("short 1.2", "sent", TOLD_ALONG),
        ("short 1.1", "sent", TOLD_ALONG),
    ]
    assert store.text_by_code("ABC") == digest
    outcomes = store.taken_since(T0 + 5)
    key = lead.text.key
    assert [one.keys for one in outcomes] == [(key,), (key,), (key, "a/b")]
    assert {(one.contact, one.channel, one.at_ms, one.error) for one in outcomes} == {
        ("owner", "phone", T0 + 5, None)
    }
    assert store.taken_since(T0 + 6) == []


def test_arrivals_come_back_as_they_were_committed(store):
    store.commit(Batch([reading(0, 1.0)], arrivals=[(7, 123, T0)], alive_ms=T0))
    store.commit(Batch(arrivals=[(7, 456, T0 + 1), (8, 789, T0)]))
    assert store.arrivals() == [(7, 123, T0), (7, 456, T0 + 1), (8, 789, T0)]
    assert store.health()["alive"][0] == T0


READINGS = st.lists(
    st.tuples(st.integers(0, 3 * 3600), st.floats(-5, 5).map(lambda v: round(v, 2))),
    min_size=1,
    max_size=60,
    unique_by=lambda pair: pair[0],
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(readings=READINGS, cut=st.integers(0, 60), second_cut=st.integers(0, 60))
def test_rollups_are_exact_in_any_order_and_with_part_of_it_not_yet_compacted(
    tmp_path, readings, cut, second_cut
):
    path = tmp_path / f"{next(NUMBER)}.sqlite"
    store = SqliteStore(path, QUANTITIES)
    for at_s, value in readings:
        store.commit(Batch([reading(at_s, value)]))
    store.compact(min(cut, second_cut))
    store.compact(max(cut, second_cut))
    every = [single(T0 + at_s * 1000, value) for at_s, value in readings]
    for width_ms in (*WIDTHS_MS, 5 * 60_000, 3_600_000):
        whole = widen(sorted(every, key=lambda b: b.t_ms), width_ms)
        found = store.buckets("level", T0, T0 + 4 * 3_600_000, width_ms)
        assert [b.t_ms for b in found] == [b.t_ms for b in whole]
        for ours, true in zip(found, whole, strict=True):
            assert ours.sum == pytest.approx(true.sum, abs=1e-9)
            assert (ours.count, ours.min, ours.min_ms, ours.max, ours.max_ms) == (
                true.count,
                true.min,
                true.min_ms,
                true.max,
                true.max_ms,
            )
            assert (ours.first, ours.first_ms, ours.last, ours.last_ms) == (
                true.first,
                true.first_ms,
                true.last,
                true.last_ms,
            )
    store.close()


NUMBER = count()


def test_a_reader_cannot_write(store, path):
    store.commit(Batch([reading(0, 1.0)]))
    reader = open_reader(path, QUANTITIES)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        reader._connection.execute("DELETE FROM inbox")
    reader.close()


def test_there_is_no_reading_a_store_that_does_not_exist(path):
    with pytest.raises(StoreError, match="is the collector running"):
        open_reader(path, QUANTITIES)


def test_a_newer_store_is_refused_untouched(store, path):
    store.close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(NewerStoreError, match="version 99"):
        SqliteStore(path, QUANTITIES)


def test_a_store_that_was_let_go_says_so(store):
    store.close()
    with pytest.raises(StoreError, match="cannot write"):
        store.mark_sent(1, T0)


def test_another_programs_file_is_refused_untouched(path):
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE notes (text)")
    connection.close()
    with pytest.raises(StoreError, match="not Lantern's"):
        SqliteStore(path, QUANTITIES)


def test_a_full_disk_stores_nothing_of_the_batch_and_recovers(store):
    store.commit(Batch([reading(0, 1.0)]))
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages}")
    big = Batch([reading(10, 2.0)], [Reject(T0, "a", b"x" * 200_000, "too big")])
    with pytest.raises(StoreError, match="full"):
        store.commit(big)
    assert store.readings("level", T0, T0 + 60_000) == [(T0, 1.0)]
    store._connection.execute("PRAGMA max_page_count = 100000")
    assert len(store.commit(big).readings) == 1
