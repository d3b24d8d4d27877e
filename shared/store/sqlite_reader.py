"""Reads the store's file; `open_reader` opens it so that nothing can be written.

A window is answered from the coarsest summary that still resolves it, and the inbox's tail is folded in,
so that pages see a reading as soon as it is committed.
"""

import json
import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from shared.alerts import Alert, AlertState, Cause, Priority, Transition
from shared.errors import StoreError
from shared.readings import Quality, Quantity, Reading, Reject, RejectKind
from shared.requests import Request, WriteLog, decode
from shared.store import Bucket, Memory, OutboxRow, Reader, Text
from shared.store.rollups import COLUMNS, WIDTHS_MS, single, widen

ALERT = TypeAdapter(Alert)
_REJECT = "received_ms, topic, payload, reason, kind, sensor"


def _reject_of(row: Sequence[Any]) -> Reject:
    received_ms, topic, payload, reason, kind, sensor = row
    return Reject(received_ms, topic, payload, reason, RejectKind(kind), sensor)


def open_reader(path: Path, quantities: Mapping[str, Quantity]) -> "SqliteReader":
    """A read-only view of the store.

    Raises:
        StoreError: there is no store at `path` yet.
    """
    try:
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=ro",
            uri=True,
            isolation_level=None,
            check_same_thread=False,
            timeout=5.0,
        )
        connection.execute("SELECT count(*) FROM series").fetchone()
    except sqlite3.Error as error:
        raise StoreError(f"no store at {path} yet ({error}); is the collector running?") from error
    return SqliteReader(connection, quantities)


TEXT = "key, event, contact, channel, body, long_body, due_ms, priority, also, code, fallback"


def text_row(text: Text) -> tuple[str | int, ...]:
    """A text as the columns of TEXT."""
    also = json.dumps(text.also)
    said = (text.key, text.event, text.contact, text.channel, text.body, text.long_body, text.due_ms)
    return (*said, text.priority, also, text.code, text.fallback)


def text_of(row: Sequence[Any]) -> Text:
    """The text in the columns of TEXT."""
    return replace(
        Text(*row[:7]),
        priority=Priority(row[7]),
        also=tuple(json.loads(row[8])),
        code=row[9],
        fallback=bool(row[10]),
    )


class SqliteReader(Reader):
    """Every question a page may ask; each is one short read."""

    def __init__(self, connection: sqlite3.Connection, quantities: Mapping[str, Quantity]) -> None:
        self._connection = connection
        self._quantities = quantities
        self._series: dict[str, int] = {}
        self._sensor: dict[int, str] = {}
        self._lock: threading.RLock = threading.RLock()
        self._know_series()

    def _know_series(self) -> None:
        for series, sensor, quantity in self._connection.execute("SELECT id, sensor, quantity FROM series"):
            if self._quantities.get(sensor) == quantity:
                self._series[sensor] = series
                self._sensor[series] = sensor

    def _all(self, sql: str, *values: object) -> list[tuple]:  # type: ignore[type-arg]
        # One statement at a time on the connection; rows are fetched at once, so that no read stays open
        # and keeps the writer's log from being folded back.
        with self._lock:
            return self._connection.execute(sql, values).fetchall()

    @contextmanager
    def _snapshot(self) -> Iterator[None]:
        """Several statements that see the same state: between them compaction may move rows."""
        with self._lock:
            if self._connection.in_transaction:
                yield
                return
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                self._connection.execute("COMMIT")

    def _id(self, sensor: str) -> int:
        if sensor not in self._series:
            self._know_series()
        return self._series.get(sensor, -1)

    def latest(self) -> dict[str, Reading]:
        """The newest reading of each sensor (see Reader)."""
        found: dict[str, Reading] = {}
        with self._snapshot():
            rows = self._all("SELECT series, t_ms, value, received_ms, flags FROM inbox")
            for sensor in self._quantities:
                # One descending step per series; max() over a GROUP BY would read the whole table.
                rows += self._all(
                    "SELECT series, t_ms, value, t_ms, flags FROM reading WHERE series = ?"
                    " ORDER BY t_ms DESC LIMIT 1",
                    self._id(sensor),
                )
        for series, t_ms, value, received_ms, flags in rows:
            known = self._sensor.get(series)
            if known is not None and (known not in found or t_ms > found[known].measured_ms):
                found[known] = Reading(known, t_ms, value, received_ms, Quality(flags))
        return found

    def readings(self, sensor: str, from_ms: int, to_ms: int) -> list[tuple[int, float]]:
        """Times and values of one sensor (see Reader)."""
        series = self._id(sensor)
        rows: list[tuple[int, float]] = self._all(
            "SELECT t_ms, value FROM reading WHERE series = ?1 AND t_ms >= ?2 AND t_ms < ?3"
            " UNION ALL SELECT t_ms, value FROM inbox WHERE series = ?1 AND t_ms >= ?2 AND t_ms < ?3"
            " ORDER BY t_ms",
            series,
            from_ms,
            to_ms,
        )
        return rows

    def buckets(self, sensor: str, from_ms: int, to_ms: int, width_ms: int) -> list[Bucket]:
        """The same, summed up (see Reader)."""
        series = self._id(sensor)
        source_ms = max((w for w in WIDTHS_MS if width_ms % w == 0), default=0)
        if source_ms == 0:
            return widen((single(*row) for row in self.readings(sensor, from_ms, to_ms)), width_ms)
        # A summary may reach over the window's edge: whole buckets are returned, never part of one.
        from_ms -= from_ms % source_ms
        to_ms += -to_ms % source_ms
        with self._snapshot():
            parts = [
                Bucket(*row)
                for row in self._all(
                    f"SELECT {COLUMNS} FROM rollup WHERE width_ms = ? AND series = ? AND t_ms >= ? AND t_ms < ?",  # noqa: S608
                    source_ms,
                    series,
                    from_ms,
                    to_ms,
                )
            ]
            tail = self._all(
                "SELECT t_ms, value FROM inbox WHERE series = ? AND t_ms >= ? AND t_ms < ?",
                series,
                from_ms,
                to_ms,
            )
        parts.extend(single(*row) for row in tail)
        return widen(parts, width_ms)

    def since(self, cursor: int) -> list[tuple[int, Reading]]:
        """Readings that arrived after that sequence (see Reader)."""
        rows = self._all(
            "SELECT seq, series, t_ms, value, received_ms, flags FROM inbox WHERE seq > ? ORDER BY seq",
            cursor,
        )
        return [
            (seq, Reading(self._sensor[series], t_ms, value, received_ms, Quality(flags)))
            for seq, series, t_ms, value, received_ms, flags in rows
            if series in self._sensor
        ]

    def rejects_since(self, cursor: int) -> list[tuple[int, Reject]]:
        """What was refused after that sequence (see Reader)."""
        rows = self._all(f"SELECT seq, {_REJECT} FROM reject WHERE seq > ? ORDER BY seq", cursor)  # noqa: S608
        return [(seq, _reject_of(row)) for seq, *row in rows]

    def requests_since(self, cursor: int) -> list[tuple[int, Request]]:
        """Requests that arrived after that sequence (see Reader)."""
        rows = self._all("SELECT seq, body FROM request WHERE seq > ? ORDER BY seq", cursor)
        return [(seq, decode(body)) for seq, body in rows]

    def log_entries(self, since_ms: int) -> list[WriteLog]:
        """What the owner wrote in the log (see Reader)."""
        rows = self._all("SELECT body FROM request WHERE received_ms >= ? ORDER BY seq", since_ms)
        requests = [decode(body) for (body,) in rows]
        return [request for request in requests if isinstance(request, WriteLog)]

    def memory(self) -> Memory | None:
        """The evaluator's memory (see Reader)."""
        rows = self._all("SELECT cursor, request_cursor, at_ms, picture, alerting FROM watch")
        return Memory(*rows[0]) if rows else None

    def alerts(self) -> list[Alert]:
        """Every alert (see Reader)."""
        return [ALERT.validate_json(body) for (body,) in self._all("SELECT body FROM alert ORDER BY key")]

    def transitions(self, since_ms: int) -> list[Transition]:
        """The history (see Reader)."""
        rows = self._all(
            "SELECT key, episode, at_ms, cause, state, priority, sentence, by FROM transition"
            " WHERE at_ms >= ? ORDER BY id",
            since_ms,
        )
        return [
            Transition(key, episode, at_ms, Cause(cause), AlertState(state), Priority(priority), sentence, by)
            for key, episode, at_ms, cause, state, priority, sentence, by in rows
        ]

    def outbox(self, limit: int) -> list[OutboxRow]:
        """The newest texts (see Reader)."""
        rows = self._all(
            "SELECT key, event, contact, channel, body, created_ms, state, sent_ms, attempts, error FROM outbox"
            " ORDER BY id DESC LIMIT ?",
            limit,
        )
        return [OutboxRow(*row) for row in rows]

    def text_by_code(self, code: str) -> Text | None:
        """The text with this code (see Reader)."""
        rows = self._all(f"SELECT {TEXT} FROM outbox WHERE code = ? AND code <> '' LIMIT 1", code)  # noqa: S608
        return text_of(rows[0]) if rows else None

    def rejects(self, limit: int) -> list[Reject]:
        """The newest refused messages (see Reader)."""
        rows = self._all(f"SELECT {_REJECT} FROM reject ORDER BY seq DESC LIMIT ?", limit)  # noqa: S608
        return [_reject_of(row) for row in rows]

    def health(self) -> dict[str, tuple[int, str]]:
        """Name -> when and what was last seen (see Reader)."""
        return {
            name: (at_ms, value) for name, at_ms, value in self._all("SELECT name, at_ms, value FROM health")
        }

    def close(self) -> None:
        """Let the file go."""
        with self._lock:
            self._connection.close()
