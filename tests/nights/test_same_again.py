"""The same stream gives the same alerts and texts, however it is cut into batches, repeated, or broken by restarts."""

import gzip
import random

import pytest

from collector.evaluator import Changes, memory_of, new_watch, plan_for, restore_watch
from collector.intake import Memory, rejects_after, take_in
from collector.topics import router_of
from collector.watch import on_clock, on_reading, on_reject, on_start
from shared.readings import Reject
from shared.store import Batch, Record
from shared.store.sqlite import SqliteStore
from shared.streams import read_stream
from tests.fakes.seasons import SAMPLES, farm

MINUTE_MS = 60_000
STRETCHES = {"demo-night": (8.0, 13.0), "faulty-sensors": (4.0, 8.0)}


def messages(stream):
    """The hours of a recorded night in which most happens, minute by minute as they arrived."""
    minutes = {}
    from_h, to_h = STRETCHES[stream]
    with gzip.open(SAMPLES / f"{stream}.jsonl.gz", "rt") as lines:
        said = list(read_stream(lines))
    first_ms = said[0].at_ms
    for message in said:
        if from_h <= (message.at_ms - first_ms) / 3_600_000 < to_h:
            minutes.setdefault(message.at_ms // MINUTE_MS, []).append(message)
    return minutes


class Collector:
    """What the daemon does in a turn, by the same functions, over a real store that may be closed at any time."""

    def __init__(self, path):
        self.path, self.farm = path, farm()
        self.plan, self.router = plan_for(self.farm), router_of(self.farm)
        self.transitions, self.texts, self.cursor = [], [], 0
        self.changes = Changes()
        self.watch = new_watch(self.plan)
        self.open()

    def open(self):
        self.store = SqliteStore(self.path, {sensor.id: sensor.quantity for sensor in self.farm.sensors})
        self.last_good = Memory()
        stored = self.store.memory()
        if stored is not None:
            self.watch = restore_watch(stored, self.plan, self.changes)
            self.cursor = stored.cursor
            self.fold([*self.store.since(self.cursor), *self.store.rejects_since(self.cursor)])

    def die(self):
        """All that is not in the store is gone; the next one takes up what is."""
        self.store.close()
        self.changes = Changes()
        self.open()

    def take(self, batch):
        taken = [take_in(self.router, self.last_good, m.topic, m.payload, m.at_ms) for m in batch]
        stored = self.store.commit(
            Batch(
                readings=[reading for intake in taken for reading in intake.readings],
                rejects=[reject for intake in taken for reject in intake.rejects],
                rejects_after=rejects_after(taken),
                received_ms=batch[-1].at_ms,
            )
        )
        self.fold([*stored.readings, *stored.rejects])

    def fold(self, numbered):
        for sequence, item in sorted(numbered, key=lambda each: each[0]):
            if isinstance(item, Reject):
                on_reject(self.watch, self.plan, item)
            else:
                on_reading(self.watch, self.plan, item, self.changes)
            self.cursor = sequence

    def record(self, now_ms):
        changes, self.changes = self.changes, Changes()
        memory = memory_of(self.watch, self.cursor, 0, now_ms)
        self.store.record(Record(memory, tuple(changes.alerts.values()), changes.transitions, changes.texts))
        self.transitions += changes.transitions
        self.texts += [(text.key, text.event, text.contact, text.body) for text in changes.texts]


def lived(stream, path, dice=None):
    """The stream lived by one collector: whole minutes at once, or, with dice, cut, repeated and broken."""
    collector = Collector(path)
    for minute, said in messages(stream).items():
        if collector.cursor == 0:
            on_start(collector.watch, minute * MINUTE_MS)
        batches = [said]
        if dice is not None:
            cuts = sorted(dice.sample(range(1, len(said)), min(3, len(said) - 1)))
            batches = [said[a:b] for a, b in zip([0, *cuts], [*cuts, len(said)], strict=True)]
        for batch in batches:
            collector.take(batch)
            if dice is not None and dice.random() < 0.1:
                collector.take(batch)
            if dice is not None and dice.random() < 0.02:
                collector.die()
        now_ms = (minute + 1) * MINUTE_MS
        on_clock(collector.watch, collector.plan, now_ms, collector.changes)
        collector.record(now_ms)
    collector.store.close()
    return collector


@pytest.mark.parametrize("stream", STRETCHES)
def test_batches_duplicates_and_restarts_change_nothing(stream, tmp_path):
    whole = lived(stream, tmp_path / "whole.sqlite")
    broken = lived(stream, tmp_path / "broken.sqlite", random.Random(7))
    assert len(whole.texts) > 3, whole.texts
    assert broken.texts == whole.texts
    assert broken.transitions == whole.transitions
