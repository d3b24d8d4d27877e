"""What a thermometer showed in the last days: now, between two times, how fast it moves, and since when it is warm."""

from itertools import combinations
from statistics import median

from shared.estimates.frost import SLOT_MS, STALE_COUNT, STALE_LEAST_S, AirHistory

HOUR_SLOTS = 4
LEAST_RATE_SLOTS = 2
"""Between the first and the last that are known."""


def now_c(history: AirHistory | None, now_ms: int, interval_s: float = 60.0) -> float | None:
    """The median of its newest quarter of an hour; None while it is silent."""
    if history is None or not history.medians_c:
        return None
    silent_s = (now_ms - history.newest_ms) / 1000
    return None if silent_s > max(STALE_LEAST_S, STALE_COUNT * interval_s) else history.medians_c[-1]


def between_c(history: AirHistory | None, from_ms: int, to_ms: int) -> list[float]:
    """The medians of the quarters that lie in this time, as far as they were heard."""
    if history is None or to_ms < from_ms:
        return []
    first = max(0, from_ms // SLOT_MS - history.first_slot)
    last = to_ms // SLOT_MS - history.first_slot
    return [heard for heard in history.medians_c[first : max(0, last + 1)] if heard is not None]


def rate_c_h(history: AirHistory | None, slots: int = HOUR_SLOTS) -> float | None:
    """How fast it moves, K/h, over its last quarters of an hour; None where less than two of those were heard.

    The median of the slopes between all its quarters (Theil 1950, Sen 1968), so that a door that stood open does
    not count.
    """
    heard = [] if history is None else history.medians_c[-slots - 1 :]
    known = [(slot, median_c) for slot, median_c in enumerate(heard) if median_c is not None]
    if not known or known[-1][0] - known[0][0] < LEAST_RATE_SLOTS:
        return None
    slopes = [(b_c - a_c) / (b - a) for (a, a_c), (b, b_c) in combinations(known, 2)]
    return median(slopes) * HOUR_SLOTS


def above_since_ms(history: AirHistory | None, limit_c: float) -> int | None:
    """Since when every quarter that was heard was above the limit; None while the newest is not."""
    if history is None:
        return None
    since: int | None = None
    for slot in reversed(range(len(history.medians_c))):
        heard = history.medians_c[slot]
        if heard is None:
            continue
        if heard <= limit_c:
            break
        since = slot
    return None if since is None else (history.first_slot + since) * SLOT_MS
