"""The stretch of time a chart shows: from the last hour to the season, with ticks in local time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from shared.store import Bucket

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
MONTH_MS = 30 * DAY_MS
"""Stands for the first of each month."""


@dataclass(frozen=True, slots=True)
class Window:
    """One preset of 336 to 360 buckets, each as wide as what the store has summed up or a multiple of it."""

    key: str
    label: str
    words: str
    span_ms: int
    width_ms: int
    tick_ms: int

    def from_ms(self, now_ms: int) -> int:
        """Where the window begins: its left edge stands still while a bucket fills."""
        start_ms = now_ms - self.span_ms
        return start_ms - start_ms % self.width_ms


WINDOWS: tuple[Window, ...] = (
    Window("1h", "1 h", "the last hour", HOUR_MS, 10_000, 15 * MINUTE_MS),
    Window("6h", "6 h", "the last 6 hours", 6 * HOUR_MS, MINUTE_MS, 2 * HOUR_MS),
    Window("24h", "24 h", "the last 24 hours", DAY_MS, 4 * MINUTE_MS, 6 * HOUR_MS),
    Window("7d", "7 d", "the last 7 days", 7 * DAY_MS, 30 * MINUTE_MS, DAY_MS),
    Window("30d", "30 d", "the last 30 days", 30 * DAY_MS, 2 * HOUR_MS, 7 * DAY_MS),
    # Sap runs from January to April at most: 120 days (from memory).
    Window("season", "Season", "the season", 120 * DAY_MS, 8 * HOUR_MS, MONTH_MS),
)

DEFAULT = WINDOWS[1]


def window_named(key: str | None) -> Window:
    """The preset of that key; what a browser sends may be anything, and then it is the default."""
    return next((window for window in WINDOWS if window.key == key), DEFAULT)


def peaks(buckets: Iterable[Bucket], gap_ms: int) -> list[tuple[int, float | None]]:
    """First, lowest, highest and last of each bucket in order of time, None where nothing was heard.

    Drawn as a line this hides no spike, however short. Source: Jugel et al., M4, VLDB 2014.
    """
    points: list[tuple[int, float | None]] = []
    last_ms: int | None = None
    for bucket in buckets:
        if last_ms is not None and bucket.first_ms - last_ms > gap_ms:
            points.append((last_ms + 1, None))
        four = {
            (bucket.first_ms, bucket.first),
            (bucket.min_ms, bucket.min),
            (bucket.max_ms, bucket.max),
            (bucket.last_ms, bucket.last),
        }
        points.extend(sorted(four))
        last_ms = bucket.last_ms
    return points


@lru_cache(maxsize=4096)
def _offset_ms(quarter: int, zone: ZoneInfo) -> int:
    # Zones change their offset on quarter hours only.
    offset = datetime.fromtimestamp(quarter * 900, zone).utcoffset() or timedelta()
    return round(offset.total_seconds() * 1000)


def local_ms(at_ms: int, zone: ZoneInfo) -> int:
    """What the farm's wall clock shows, as ms since its own 1970: a chart draws it as it stands.

    >>> local_ms(0, ZoneInfo("America/New_York")) // HOUR_MS
    -5
    """
    return at_ms + _offset_ms(at_ms // (15 * MINUTE_MS), zone)


def ticks(window: Window, from_ms: int, to_ms: int, zone: ZoneInfo) -> tuple[list[int], list[str]]:
    """Where the time axis is labelled, in local ms, and with what; days are named where they change."""
    first_ms, last_ms = local_ms(from_ms, zone), local_ms(to_ms, zone)
    days = range(first_ms - first_ms % -DAY_MS, last_ms + 1, DAY_MS)
    if window.tick_ms == MONTH_MS:
        months = [t_ms for t_ms in days if _local(t_ms).day == 1]
        return months, [f"{_local(t_ms):%b}" for t_ms in months]
    at_ms = list(range(first_ms - first_ms % -window.tick_ms, last_ms + 1, window.tick_ms))
    return at_ms, [_tick_words(t_ms, window) for t_ms in at_ms]


def _local(t_ms: int) -> datetime:
    """A time of the axis, which is the farm's own already."""
    return datetime.fromtimestamp(t_ms / 1000, UTC)


def _tick_words(t_ms: int, window: Window) -> str:
    local = _local(t_ms)
    if window.tick_ms > DAY_MS:
        return f"{local.day} {local:%b}"
    if window.tick_ms == DAY_MS:
        return f"{local:%a}"
    return f"{local:%H:%M}<br>{local:%a} {local.day}" if t_ms % DAY_MS == 0 else f"{local:%H:%M}"


def extent(values: Sequence[float], least: float, *, floor: float | None = None) -> tuple[float, float]:
    """An axis from low to high with some air, never narrower than `least`: scatter is no news."""
    low, high = (min(values), max(values)) if values else (0.0, least)
    middle = (low + high) / 2
    half = max(high - low, least) / 2 * 1.12
    bottom = middle - half
    return (bottom if floor is None else max(bottom, floor), middle + half)
