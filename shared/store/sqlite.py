"""The store in one SQLite file: this is the only connection that writes and checkpoints.

WAL with synchronous=FULL, because a message is acknowledged on commit and a power cut may follow.
One writer also keeps clear of the WAL-reset bug of SQLite 3.7.0 to 3.51.2, which needs two connections
that write or checkpoint at the same instant (sqlite.org/wal.html).
"""

import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from pydantic import TypeAdapter

from shared.alerts import Alert
from shared.errors import StoreError
from shared.readings import Quantity, Reading, Reject
from shared.requests import Request, encode
from shared.store import Batch, Delivery, Outgoing, Record, Store, Stored, Text, outbox
from shared.store.migrations import migrate
from shared.store.rollups import compact
from shared.store.sqlite_reader import SqliteReader

ALERT = TypeAdapter(Alert)
ARRIVALS_KEPT = 4096
"""More than two windows of any broker's usual setting; see settings.inflight_count."""


def _in_order(batch: Batch) -> Iterator[Reading | Reject]:
    """Readings and rejects as they came in."""
    places = batch.rejects_after or [len(batch.readings)] * len(batch.rejects)
    done = 0
    for place, reject in zip(places, batch.rejects, strict=True):
        yield from batch.readings[done:place]
        yield reject
        done = place
    yield from batch.readings[done:]


def _keep_reject(connection: sqlite3.Connection, seq: int, reject: Reject) -> bool:
    """Whether it is a new one; a refused message that is redelivered is kept once."""
    cursor = connection.execute(
        "INSERT INTO reject (seq, received_ms, topic, payload, reason, kind, sensor)"
        " SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7 WHERE NOT EXISTS (SELECT 1 FROM reject WHERE received_ms = ?2"
        " AND topic = ?3 AND payload = ?4 AND kind = ?6 AND sensor IS ?7)",
        (seq, reject.received_ms, reject.topic, reject.payload, reject.reason, reject.kind, reject.sensor),
    )
    return cursor.rowcount > 0


def _keep_requests(connection: sqlite3.Connection, batch: Batch) -> tuple[tuple[int, Request], ...]:
    """The new ones with their sequence; a request is carried out once."""
    new: list[tuple[int, Request]] = []
    for request in batch.requests:
        cursor = connection.execute(
            "INSERT OR IGNORE INTO request (id, received_ms, body) VALUES (?, ?, ?)",
            (request.id, batch.received_ms, encode(request)),
        )
        if cursor.rowcount:
            new.append((cursor.lastrowid or 0, request))
    return tuple(new)


class SqliteStore(SqliteReader, Store):
    """The collector's own connection; its methods may be called from several threads.

    Args:
        path: The file; made, and brought to this version, where needed.
        quantities: What each sensor of the farm measures.

    Raises:
        StoreError: the file cannot be opened for writing, or is not ours.
        NewerStoreError: a newer Lantern wrote it.
    """

    def __init__(self, path: Path, quantities: Mapping[str, Quantity]) -> None:
        try:
            connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=5.0)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            # Checkpoints happen in compaction, when it suits us, not inside a commit someone waits for.
            connection.execute("PRAGMA wal_autocheckpoint = 4000")
            migrate(connection, path)
        except sqlite3.Error as error:
            raise StoreError(f"cannot open {path} for writing: {error}") from error
        super().__init__(connection, quantities)
        self._lock = threading.RLock()
        with self._transaction():
            connection.executemany(
                "INSERT OR IGNORE INTO series (sensor, quantity) VALUES (?, ?)", quantities.items()
            )
        self._know_series()
        # By subqueries: one step per series, where a max over the whole clustered table would read all of it.
        self._last_ms: dict[int, int] = dict(
            connection.execute(
                "SELECT id, max((SELECT coalesce(max(t_ms), -1) FROM reading WHERE series = id),"
                " (SELECT coalesce(max(t_ms), -1) FROM inbox WHERE series = id)) FROM series"
            ).fetchall()
        )
        (self._arrival_count,) = connection.execute(
            "SELECT coalesce(max(number) + 1, 0) FROM arrival"
        ).fetchone()
        self._waiting: dict[tuple[int, int], float] = {
            (series, t_ms): value
            for series, t_ms, value in connection.execute("SELECT series, t_ms, value FROM inbox")
        }

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                yield self._connection
                self._connection.execute("COMMIT")
            except sqlite3.Error as error:
                with suppress(sqlite3.ProgrammingError):  # it may have been let go
                    if self._connection.in_transaction:
                        self._connection.execute("ROLLBACK")
                raise StoreError(f"cannot write to the store: {error}") from error
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _known_value(self, series: int, t_ms: int) -> float | None:
        """The value stored for that time, None when there is none yet."""
        # Nearly every reading is newer than all before it, and then nothing need be looked up.
        if t_ms > self._last_ms.get(series, -1):
            return None
        waiting = self._waiting.get((series, t_ms))
        if waiting is not None:
            return waiting
        row = self._connection.execute(
            "SELECT value FROM reading WHERE series = ? AND t_ms = ?", (series, t_ms)
        ).fetchone()
        return None if row is None else float(row[0])

    def commit(self, batch: Batch) -> Stored:
        """Make a batch durable (see Store)."""
        fresh: list[tuple[int, Reading]] = []
        refused: list[tuple[int, Reject]] = []
        rows: list[tuple[int, int, int, float, int, int]] = []
        conflicts: list[tuple[int, int, int, float, float]] = []
        seen: dict[tuple[int, int], float] = {}
        duplicates = 0
        with self._transaction() as connection:
            (seq,) = connection.execute(
                "SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name IN ('inbox', 'reject')"
            ).fetchone()
            for reading in _in_order(batch):
                if isinstance(reading, Reject):
                    if _keep_reject(connection, seq + 1, reading):
                        seq += 1
                        refused.append((seq, reading))
                    continue
                series = self._series[reading.sensor]
                key = (series, reading.measured_ms)
                known = seen.get(key)
                if known is None:
                    known = self._known_value(*key)
                if known is None:
                    seq += 1
                    seen[key] = reading.value
                    fresh.append((seq, reading))
                    rows.append((seq, *key, reading.value, int(reading.quality), reading.received_ms))
                elif known == reading.value:
                    duplicates += 1
                else:
                    conflicts.append((reading.received_ms, *key, known, reading.value))
            connection.executemany(
                "INSERT INTO inbox (seq, series, t_ms, value, flags, received_ms) VALUES (?, ?, ?, ?, ?, ?)",
                rows,
            )
            connection.executemany("INSERT INTO conflict VALUES (?, ?, ?, ?, ?)", conflicts)
            connection.executemany(
                "INSERT OR REPLACE INTO arrival (place, number, mid, checksum, received_ms) VALUES (?, ?, ?, ?, ?)",
                [
                    (number % ARRIVALS_KEPT, number, *arrival)
                    for number, arrival in enumerate(batch.arrivals, self._arrival_count)
                ],
            )
            if batch.alive_ms:
                connection.execute("INSERT OR REPLACE INTO health VALUES ('alive', ?, '')", (batch.alive_ms,))
            requests = _keep_requests(connection, batch)
        self._arrival_count += len(batch.arrivals)
        self._waiting.update(seen)
        for series, t_ms in seen:
            if t_ms > self._last_ms.get(series, -1):
                self._last_ms[series] = t_ms
        return Stored(tuple(fresh), tuple(refused), requests, duplicates, len(conflicts))

    def arrivals(self) -> list[tuple[int, int, int]]:
        """The messages last committed (see Store)."""
        return self._all("SELECT mid, checksum, received_ms FROM arrival ORDER BY number")

    def record(self, record: Record) -> None:
        """Write what a step changed (see Store)."""
        memory = record.memory
        with self._transaction() as connection:
            connection.executemany(
                "INSERT OR REPLACE INTO alert (key, body) VALUES (?, ?)",
                [(alert.key, ALERT.dump_json(alert).decode()) for alert in record.alerts],
            )
            connection.executemany(
                "INSERT INTO transition (key, episode, at_ms, cause, state, priority, sentence, by)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (t.key, t.episode, t.at_ms, t.cause, t.state, t.priority, t.sentence, t.by)
                    for t in record.transitions
                ],
            )
            outbox.add(connection, record.texts, memory.at_ms)
            connection.execute(
                "INSERT OR REPLACE INTO watch VALUES (1, ?, ?, ?, ?, ?)",
                (memory.cursor, memory.request_cursor, memory.at_ms, memory.picture, memory.alerting),
            )
            connection.executemany(
                "INSERT OR REPLACE INTO health VALUES (?, ?, ?)",
                [(name, memory.at_ms, value) for name, value in record.health.items()],
            )

    def compact(self, up_to: int) -> int:
        """Move inbox rows to their final place (see Store)."""
        with self._transaction() as connection:
            moved = compact(connection, up_to)
        for key in moved:
            self._waiting.pop(key, None)
        with self._lock:
            self._connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
        return len(moved)

    def due_ways(self, now_ms: int) -> list[tuple[str, str]]:
        """Whom something is due to, and by what channel (see Store)."""
        with self._lock:
            return outbox.due_ways(self._connection, now_ms)

    def texts_to(self, contact: str) -> list[Outgoing]:
        """All texts to a contact from the oldest that waits on (see Store)."""
        with self._lock:
            return outbox.texts_to(self._connection, contact)

    def mark_sent(
        self, text_id: int, now_ms: int, *, text: Text | None = None, along: Sequence[int] = ()
    ) -> None:
        """The channel took it (see Store)."""
        with self._transaction() as connection:
            outbox.mark_sent(connection, text_id, now_ms, text, along)

    def mark_failed(self, text_ids: Sequence[int], now_ms: int, *, error: str, retry_ms: int | None) -> None:
        """The channel did not take them (see Store)."""
        with self._transaction() as connection:
            outbox.mark_failed(connection, text_ids, now_ms, error, retry_ms)

    def mark_spared(self, reasons: Sequence[tuple[int, str]]) -> None:
        """These need not be sent (see Store)."""
        with self._transaction() as connection:
            outbox.mark(connection, "spared", reasons)

    def mark_expired(self, reasons: Sequence[tuple[int, str]]) -> None:
        """These were tried long enough (see Store)."""
        with self._transaction() as connection:
            outbox.mark(connection, "expired", reasons)

    def taken_since(self, since_ms: int) -> list[Delivery]:
        """What channels have taken (see Store)."""
        with self._lock:
            return outbox.taken_since(self._connection, since_ms)

    def close(self) -> None:
        """Let the file go."""
        with self._lock:
            self._connection.close()
