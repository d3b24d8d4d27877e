"""Compaction: inbox rows go to their clustered place, and every bucket they touch is summed up anew.

The summaries of 1 minute come from readings, those of 15 minutes from the minutes, those of 4 hours from
the quarter hours. A late reading makes its buckets dirty like any other, so summaries are always exact.
"""

import sqlite3
from collections.abc import Iterable

from shared.store import Bucket

WIDTHS_MS = (60_000, 15 * 60_000, 4 * 3_600_000)

COLUMNS = "t_ms, count, sum, min, min_ms, max, max_ms, first, first_ms, last, last_ms"


def widen(buckets: Iterable[Bucket], width_ms: int) -> list[Bucket]:
    """The same readings in wider buckets; `buckets` may come in any order.

    Where two extremes are equal the earlier one is named.
    """
    wide: dict[int, Bucket] = {}
    for bucket in buckets:
        t_ms = bucket.t_ms - bucket.t_ms % width_ms
        known = wide.get(t_ms)
        if known is None:
            wide[t_ms] = Bucket(t_ms, *_fields(bucket))
            continue
        low = min((known.min, known.min_ms), (bucket.min, bucket.min_ms))
        # The highest value, and of equal ones the earliest.
        high = max((known.max, -known.max_ms), (bucket.max, -bucket.max_ms))
        first = known if known.first_ms <= bucket.first_ms else bucket
        last = known if known.last_ms >= bucket.last_ms else bucket
        wide[t_ms] = Bucket(
            t_ms,
            known.count + bucket.count,
            known.sum + bucket.sum,
            *low,
            high[0],
            -high[1],
            first.first,
            first.first_ms,
            last.last,
            last.last_ms,
        )
    return [wide[t_ms] for t_ms in sorted(wide)]


def _fields(bucket: Bucket) -> tuple[int, float, float, int, float, int, float, int, float, int]:
    return (
        bucket.count,
        bucket.sum,
        bucket.min,
        bucket.min_ms,
        bucket.max,
        bucket.max_ms,
        bucket.first,
        bucket.first_ms,
        bucket.last,
        bucket.last_ms,
    )


def single(t_ms: int, value: float) -> Bucket:
    """One reading as a bucket."""
    return Bucket(t_ms, 1, value, value, t_ms, value, t_ms, value, t_ms, value, t_ms)


def compact(connection: sqlite3.Connection, up_to: int) -> list[tuple[int, int]]:
    """Move inbox rows with seq <= up_to and return their (series, t_ms); runs in the caller's transaction."""
    moved = connection.execute("SELECT series, t_ms FROM inbox WHERE seq <= ?", (up_to,)).fetchall()
    if not moved:
        return []
    connection.execute(
        "INSERT OR IGNORE INTO reading SELECT series, t_ms, value, flags FROM inbox WHERE seq <= ?"
        " ORDER BY series, t_ms",
        (up_to,),
    )
    connection.execute("DELETE FROM inbox WHERE seq <= ?", (up_to,))
    finer_ms = 0
    for width_ms in WIDTHS_MS:
        dirty = sorted({(series, t_ms - t_ms % width_ms) for series, t_ms in moved})
        for series, t_ms in dirty:
            _sum_up(connection, series, t_ms, width_ms, finer_ms)
        finer_ms = width_ms
    return moved


def _sum_up(connection: sqlite3.Connection, series: int, t_ms: int, width_ms: int, finer_ms: int) -> None:
    until_ms = t_ms + width_ms
    if finer_ms:
        rows = connection.execute(
            f"SELECT {COLUMNS} FROM rollup WHERE width_ms = ? AND series = ? AND t_ms >= ? AND t_ms < ?",  # noqa: S608
            (finer_ms, series, t_ms, until_ms),
        )
        parts = [Bucket(*row) for row in rows]
    else:
        rows = connection.execute(
            "SELECT t_ms, value FROM reading WHERE series = ? AND t_ms >= ? AND t_ms < ?",
            (series, t_ms, until_ms),
        )
        parts = [single(*row) for row in rows]
    (whole,) = widen(parts, width_ms)
    connection.execute(
        "INSERT OR REPLACE INTO rollup VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (width_ms, series, t_ms, *_fields(whole)),
    )
