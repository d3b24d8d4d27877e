"""What the invented farm's sensors said, as rows a storm's review takes: of a sample stream, or of a story."""

import gzip
import json
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from collector.intake import Memory, take_in
from collector.topics import router_of
from shared.estimates.storm import Heard
from shared.readings import Quantity, Reading
from shared.store import Batch
from shared.store.sqlite import SqliteStore
from shared.streams import read_stream
from tests.fakes.seasons import SAMPLES, farm

BATCH_COUNT = 10_000

Rows = dict[str, list[tuple[int, float]]]


def readings_of(messages: Iterable[tuple[int, str, bytes]]) -> list[Reading]:
    """Readings of messages (time of arrival, topic, payload) as intake makes them."""
    router, memory = router_of(farm()), Memory()
    return [
        r
        for at_ms, topic, payload in messages
        for r in take_in(router, memory, topic, payload, at_ms).readings
    ]


@cache
def sample_readings(name: str) -> tuple[Reading, ...]:
    """All of a sample stream."""
    with gzip.open(SAMPLES / f"{name}.jsonl.gz", "rt") as lines:
        return tuple(readings_of((m.at_ms, m.topic, m.payload) for m in read_stream(lines)))


@cache
def sample_truth(name: str) -> dict:
    return json.loads((SAMPLES / f"{name}.truth.json").read_text())


def filled_store(path: Path, name: str, until_ms: int | None = None) -> SqliteStore:
    """A store with what a sample stream said, half of it compacted, as the collector leaves it."""
    store = SqliteStore(path, {sensor.id: sensor.quantity for sensor in farm().sensors})
    readings = [r for r in sample_readings(name) if until_ms is None or r.measured_ms <= until_ms]
    for start in range(0, len(readings), BATCH_COUNT):
        batch = readings[start : start + BATCH_COUNT]
        stored = store.commit(Batch(readings=batch, received_ms=batch[-1].received_ms))
        if start <= len(readings) // 2 < start + BATCH_COUNT:
            store.compact(stored.readings[-1][0])
    return store


def rows_of(readings: Iterable[Reading]) -> Rows:
    """By sensor, in order of time; the first of two that were told for one time."""
    found: dict[str, dict[int, float]] = {sensor.id: {} for sensor in farm().sensors}
    for reading in readings:
        found[reading.sensor].setdefault(reading.measured_ms, reading.value)
    return {name: sorted(values.items()) for name, values in found.items()}


def heard(rows: Rows) -> Heard:
    """All that a review asks for."""
    return Heard(
        vacuum={s.id: rows[s.id] for s in farm().sensors_of(Quantity.VACUUM)},
        air_pressure=rows["barometer"],
        air_temperature=rows["air"],
        pump_running=rows["pump-running"],
        levels={s.id: rows[s.id] for s in farm().sensors_of(Quantity.LEVEL)},
    )
