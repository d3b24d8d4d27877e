"""A vacuum sensor's share of what the air allows: now, hour by hour of good running, and its best day of a week.

The usual (see usual) follows a slow decline, so it cannot tell one. What is kept here does not follow: a median
for each hour in which the pump ran, settled, on thawed lines, and of each day the median of its hours. A day's
median outvotes the hours of strong flow and gas from the trees. A share needs no barometer's help against
weather as long as there is a barometer.
"""

from bisect import bisect_right
from dataclasses import dataclass, field
from statistics import median

from shared.estimates.onset import MINUTE_MS
from shared.estimates.vacuum import (
    ABOVE_ATTAINABLE_PA,
    HOUR_MS,
    NOW_COUNT,
    NOW_MS,
    RUNNING_LEAST_PA,
    SETTLE_MS,
    SILENT_MS,
    VacuumHistory,
    silent_words,
)
from shared.physics.air import attainable_vacuum_pa
from shared.readings import Unknown

THAWED_MS = 30 * MINUTE_MS
"""After a start or a thaw trees give off gas and the last ice goes: that is no usual hour yet."""
LEAST_HOUR_COUNT = 3
"""Readings that an hour needs, of a sensor that speaks every quarter of one."""
LEAST_HOURS = 3
DAY_HOURS = 24
DAYS_KEPT = 8
BEFORE_HOURS = 12
"""The best day ended at least so long ago: what came within hours is no slow fall."""


@dataclass(slots=True)
class ShareHistory:
    """What is remembered of one vacuum sensor beside its usual: at most a day of hours and eight days."""

    newest_ms: int = 0
    hour: int = 0
    """Hours since 1970, of the one that is being gathered."""
    shares: list[float] = field(default_factory=list)
    hours: list[int] = field(default_factory=list)
    hour_medians: list[float] = field(default_factory=list)
    days: list[int] = field(default_factory=list)
    day_medians: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Share:
    """How a sensor stands against what the air allows."""

    vacuum_pa: float
    attainable_pa: float
    share_ratio: float
    is_open: bool
    """The pump runs, settled, on thawed lines that are open to it."""


@dataclass(frozen=True, slots=True)
class Decline:
    """What a sensor has lost against the best day of the last week, at today's air pressure."""

    best_pa: float
    now_pa: float
    drop_pa: float
    """Best less now: positive is worse."""
    best_ms: int
    """Noon of the best day, in UTC."""
    worst_pa: float
    """The most that any hour of the last day, or any day since the best, lay below it."""
    station_pa: float
    attainable_pa: float


def observe_share(state: ShareHistory, vacuum: VacuumHistory, measured_ms: int) -> None:
    """Take the sensor's newest reading, as its vacuum history has taken it; one a minute counts, late ones do not."""
    if measured_ms < state.newest_ms + MINUTE_MS or vacuum.times_ms[-1] != measured_ms:
        return
    state.newest_ms = measured_ms
    hour = measured_ms // HOUR_MS
    if hour != state.hour:
        if len(state.shares) >= LEAST_HOUR_COUNT:
            _close_hour(state, median(state.shares))
        state.hour, state.shares = hour, []
    vacuum_pa = vacuum.vacuums_pa[-1]
    possible = RUNNING_LEAST_PA < vacuum_pa <= vacuum.station_pa + ABOVE_ATTAINABLE_PA
    if possible and _is_open(vacuum, measured_ms, THAWED_MS):
        state.shares.append(round(vacuum_pa / attainable_vacuum_pa(vacuum.station_pa), 5))


def share_of(vacuum: VacuumHistory, now_ms: int, interval_s: float = 60.0) -> Share | Unknown:
    """A sensor's share now; Unknown while it is silent."""
    heard = bisect_right(vacuum.times_ms, now_ms)
    if heard == 0:
        return Unknown("nothing heard yet")
    newest_ms, interval_ms = vacuum.times_ms[heard - 1], 1000 * interval_s
    if now_ms - newest_ms > max(SILENT_MS, NOW_COUNT * interval_ms):
        return Unknown(silent_words(now_ms - newest_ms))
    first = bisect_right(vacuum.times_ms, newest_ms - max(NOW_MS, NOW_COUNT * interval_ms))
    vacuum_pa = median(vacuum.vacuums_pa[first:heard])
    attainable_pa = attainable_vacuum_pa(vacuum.station_pa)
    is_open = _is_open(vacuum, now_ms, SETTLE_MS)
    return Share(vacuum_pa, attainable_pa, vacuum_pa / attainable_pa, is_open)


def decline_of(state: ShareHistory, station_pa: float, now_ms: int) -> Decline | Unknown:
    """What was lost since the best day, by the last day's good hours as a whole and by the latest of them."""
    recent_from = now_ms // HOUR_MS - DAY_HOURS
    recent = [
        share for hour, share in zip(state.hours, state.hour_medians, strict=True) if hour >= recent_from
    ]
    if len(recent) < LEAST_HOURS:
        return Unknown(f"less than {LEAST_HOURS} h of the pump running on thawed lines within a day")
    over = (now_ms // HOUR_MS - BEFORE_HOURS) // DAY_HOURS
    before = [
        (share, day)
        for day, share in zip(state.days, state.day_medians, strict=True)
        if over - DAYS_KEPT < day < over
    ]
    if not before:
        return Unknown("no earlier day to compare with")
    best, best_day = max(before)
    # What was mended shows in the latest hour, long before the day's median says so.
    now = max(median(recent), recent[-1])
    least = min(*recent, *(share for share, day in before if day >= best_day))
    attainable_pa = attainable_vacuum_pa(station_pa)
    best_ms = (best_day * DAY_HOURS + DAY_HOURS // 2) * HOUR_MS
    return Decline(
        best * attainable_pa,
        now * attainable_pa,
        (best - now) * attainable_pa,
        best_ms,
        (best - least) * attainable_pa,
        station_pa,
        attainable_pa,
    )


def _is_open(vacuum: VacuumHistory, at_ms: int, settled_ms: int) -> bool:
    settled = vacuum.running and at_ms - vacuum.running_since_ms >= settled_ms
    return settled and not (vacuum.frozen or vacuum.freezing or vacuum.sealed)


def _close_hour(state: ShareHistory, share: float) -> None:
    day = state.hour // DAY_HOURS
    if state.hours and day > (last := state.hours[-1] // DAY_HOURS):
        of_day = [
            median_share
            for hour, median_share in zip(state.hours, state.hour_medians, strict=True)
            if hour // DAY_HOURS == last
        ]
        if len(of_day) >= LEAST_HOURS:
            state.days.append(last)
            state.day_medians.append(round(median(of_day), 5))
            del state.days[:-DAYS_KEPT], state.day_medians[:-DAYS_KEPT]
    state.hours.append(state.hour)
    state.hour_medians.append(round(share, 5))
    old = bisect_right(state.hours, state.hour - DAY_HOURS)
    del state.hours[:old], state.hour_medians[:old]
