"""The outbox in SQL: which texts wait, how those beside them stand, and what came of each."""

import json
import sqlite3
from collections.abc import Iterable, Sequence

from shared.store import LONGEST_RETRY_MS, Delivery, Outgoing, Text
from shared.store.sqlite_reader import TEXT, text_of, text_row

_COLUMNS = len(TEXT.split(","))
TOLD_ALONG = "in one text with all that waited"
"""What stands at a text that a digest was sent in place of."""


def add(connection: sqlite3.Connection, texts: Iterable[Text], created_ms: int) -> None:
    """Put texts in, each once."""
    places = ", ".join("?" * (_COLUMNS + 1))
    connection.executemany(
        f"INSERT OR IGNORE INTO outbox ({TEXT}, created_ms) VALUES ({places})",  # noqa: S608 - our own columns
        [(*text_row(text), created_ms) for text in texts],
    )


def due_ways(connection: sqlite3.Connection, now_ms: int) -> list[tuple[str, str]]:
    """(contact, channel) of every text that is due."""
    # As Outgoing.is_due says it.
    return connection.execute(
        "SELECT DISTINCT contact, channel FROM outbox WHERE state = 'waiting'"
        " AND (due_ms <= ?1 OR created_ms > ?1 OR (attempts > 0 AND due_ms > ?1 + ?2))",
        (now_ms, LONGEST_RETRY_MS),
    ).fetchall()


def texts_to(connection: sqlite3.Connection, contact: str) -> list[Outgoing]:
    """All texts to a contact, by any channel, from the oldest that waits on; oldest first."""
    rows = connection.execute(
        f"SELECT {TEXT}, id, attempts, created_ms, state FROM outbox WHERE contact = ?1 AND id >= ("  # noqa: S608
        " SELECT min(beside.id) FROM outbox AS waiting JOIN outbox AS beside USING (key, event, contact)"
        " WHERE waiting.id = (SELECT min(id) FROM outbox WHERE state = 'waiting' AND contact = ?1)) ORDER BY id",
        (contact,),
    ).fetchall()
    return [Outgoing(row[_COLUMNS], text_of(row), *row[_COLUMNS + 1 :]) for row in rows]


def mark_sent(
    connection: sqlite3.Connection, text_id: int, now_ms: int, text: Text | None, along: Sequence[int]
) -> None:
    """A channel took it: `text` where it was sent in other words, in place of those `along`."""
    sent = "UPDATE outbox SET state = 'sent', sent_ms = ?, attempts = attempts + 1, error = ? WHERE id = ?"
    connection.execute(sent, (now_ms, None, text_id))
    connection.executemany(sent, [(now_ms, TOLD_ALONG, one) for one in along])
    if text is not None:
        connection.execute(
            "UPDATE outbox SET body = ?, long_body = ?, also = ? WHERE id = ?",
            (text.body, text.long_body, json.dumps(text.also), text_id),
        )


def mark_failed(
    connection: sqlite3.Connection, text_ids: Sequence[int], now_ms: int, error: str, retry_ms: int | None
) -> None:
    """A channel did not take them: to be tried again, or refused for good."""
    connection.executemany(
        "UPDATE outbox SET state = ?, attempts = attempts + 1, error = ?, due_ms = coalesce(?, due_ms),"
        " created_ms = min(created_ms, ?) WHERE id = ?",
        [("refused" if retry_ms is None else "waiting", error, retry_ms, now_ms, one) for one in text_ids],
    )


def mark(connection: sqlite3.Connection, state: str, reasons: Iterable[tuple[int, str]]) -> None:
    """These wait no longer, and why."""
    connection.executemany(
        "UPDATE outbox SET state = ?, error = ? WHERE id = ? AND state = 'waiting'",
        [(state, reason, text_id) for text_id, reason in reasons],
    )


def taken_since(connection: sqlite3.Connection, since_ms: int) -> list[Delivery]:
    """What channels have taken from that time on, in that order."""
    rows = connection.execute(
        "SELECT contact, channel, sent_ms, key, also, code, created_ms FROM outbox"
        " WHERE state = 'sent' AND sent_ms >= ? ORDER BY sent_ms",
        (since_ms,),
    ).fetchall()
    return [
        Delivery(contact, channel, sent_ms, (key, *json.loads(also)), code, created_ms)
        for contact, channel, sent_ms, key, also, code, created_ms in rows
    ]
