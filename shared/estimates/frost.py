"""When the air freezes tonight and when it thaws again, from the farm's own thermometer alone.

Four days of the air are kept as one median a quarter of an hour. A night is foreseen from them:

1. The usual course of a day is the mean of the last three; today differs from it by so much now.
2. Today's course is the usual one with that difference, which fades by the hour as weather does, and with the
   way the difference has been going, which fades within two.
3. How wrong this was on the days that are remembered, blended with how wrong it usually is, makes the band.
   An error is taken to last through a night: one course for each part of the band, warmer or colder
   throughout. A course freezes where it crosses 0 °C.

It knows no clouds and no fronts. A forecast of the weather service is better; this one needs no link.
"""

import math
from bisect import insort
from dataclasses import dataclass, field
from functools import cache
from itertools import accumulate, pairwise
from statistics import NormalDist

from shared.errors import InvalidArgument
from shared.readings import Band, Unknown

SLOT_MS = 900_000
DAY_SLOTS = 96
KEPT_SLOTS = 4 * DAY_SLOTS
COURSE_DAYS = 3
MOST_NEWEST = 60
"""Readings kept of the newest quarter of an hour."""
FREEZING_C = 0.0
STALE_LEAST_S = 1800.0
STALE_COUNT = 5
"""Air that was measured longer ago, or missed so many intervals, says nothing of now."""

LEAST_COVER = 0.8
BRIDGED_SLOTS = 20
"""A day counts if so much of it was heard and no hole in it is longer than five hours; holes are bridged."""
FADES_SLOTS = 36 * 4.0
"""What is warmer today than of late is by half so tomorrow: day-to-day correlation 0.5 (from memory)."""
TREND_SLOTS = 8
"""Two hours: the stretch that the present trend is taken from, and the time in which it fades."""

USUAL_ERROR_C = 4.0
USUAL_GROWTH_SLOTS = 28.0
"""Standard error far ahead, and how fast it grows to that: between two simulated climates, one calm, one full of
fronts (no published figure)."""
USUAL_WEIGHT_DAYS = 1.0
"""The usual error counts as much as that many remembered days."""
LEAST_ERROR_C = 0.3
"""A thermometer's own scatter."""
TRIED_EVERY_SLOTS = 8
MAY_CHANCE = 0.1
"""Below it "no freeze expected"."""
_NORMAL = NormalDist()
_PARTS = (0.1, 0.5, 0.9)
_LATE_PARTS = (0.15, 0.5, 0.95)
"""Of the time of a freeze. No error quite lasts the night, and one that passes makes a freeze later rather than
earlier: with these as many freezes come before the band as after it, in both climates."""


@dataclass(slots=True)
class AirHistory:
    """Four days of air temperature, a median a quarter of an hour; None where nothing was heard."""

    first_slot: int = 0
    medians_c: list[float | None] = field(default_factory=list)
    newest_c: list[float] = field(default_factory=list)
    """Readings of the newest quarter, in order of size."""
    newest_ms: int = 0


@dataclass(frozen=True, slots=True)
class Turn:
    """Seconds until the air turns to frost, or to thaw, in 10, 50 and 90 of 100 nights in which it freezes.

    `high_s` None: perhaps not within a day.
    """

    low_s: float
    middle_s: float
    high_s: float | None


@dataclass(frozen=True, slots=True)
class Frost:
    """What the air does within a day."""

    air_c: float
    """Now."""
    chance: float
    """That it is at or below freezing at some time; 1 while it is."""
    freezes: Turn | None
    """None while it is freezing, and where the chance is below `MAY_CHANCE`."""
    thaws: Turn | None
    """None where no freeze is expected, or no end of it within a day."""
    coldest_c: Band

    @property
    def is_freezing(self) -> bool:
        """Whether the air is at or below freezing now."""
        return self.air_c <= FREEZING_C


def observe_air(history: AirHistory, measured_ms: int, temperature_c: float) -> None:
    """Take one reading in; a repeated one changes nothing, a late one fills its own empty quarter.

    Raises:
        InvalidArgument: the temperature is not a finite number.
    """
    if not math.isfinite(temperature_c):
        raise InvalidArgument("temperature_c", temperature_c, "a finite number")
    slot, medians = measured_ms // SLOT_MS, history.medians_c
    ahead = slot - history.first_slot - len(medians) + 1
    if not medians or ahead >= KEPT_SLOTS:
        history.first_slot, history.newest_ms = slot, measured_ms
        history.medians_c, history.newest_c = [temperature_c], [temperature_c]
    elif ahead > 0:
        medians.extend([None] * (ahead - 1))
        medians.append(round(temperature_c, 2))
        history.newest_c, history.newest_ms = [temperature_c], measured_ms
        expired = len(medians) - KEPT_SLOTS
        if expired > 0:
            del medians[:expired]
            history.first_slot += expired
    elif ahead == 0:
        if measured_ms == history.newest_ms:
            return
        newest = history.newest_c
        insort(newest, temperature_c)
        if len(newest) > MOST_NEWEST:
            del newest[0], newest[-1]  # the median stays
        medians[-1] = round(newest[(len(newest) - 1) // 2], 2)
        history.newest_ms = max(history.newest_ms, measured_ms)
    elif slot >= history.first_slot and medians[slot - history.first_slot] is None:
        medians[slot - history.first_slot] = round(temperature_c, 2)


def frost(history: AirHistory, now_ms: int, interval_s: float = 60.0) -> Frost | Unknown:
    """When it freezes within a day of now; Unknown where the thermometer is silent or not heard for a day yet."""
    if not history.medians_c:
        return Unknown("no air temperature heard yet")
    silent_s = (now_ms - history.newest_ms) / 1000
    if silent_s > max(STALE_LEAST_S, STALE_COUNT * interval_s):
        return Unknown(f"no air temperature for {silent_s / 60:.0f} min")
    air = _Air(history.medians_c)
    now = len(history.medians_c) - 1
    ahead = range(DAY_SLOTS + 1)
    expected = air.expected_c(now, ahead)
    if expected is None:
        return Unknown("less than a day of air temperature heard")
    # A median stands for the middle of its quarter, the newest for no later than now.
    middle_ms = (history.first_slot + now) * SLOT_MS + SLOT_MS / 2
    times_s = [(middle_ms + lead * SLOT_MS - now_ms) / 1000 for lead in ahead]
    return _answer([min(0.0, times_s[0]), *times_s[1:]], expected, air.errors_c(now))


class _Air:
    """The remembered air, with short holes bridged."""

    def __init__(self, medians_c: list[float | None]) -> None:
        self._heard_c = _without_spikes(medians_c)
        self._bridged_c = _bridged(self._heard_c)
        self._heard_count = [0, *accumulate(air_c is not None for air_c in medians_c)]

    def expected_c(self, origin: int, leads: range) -> list[float] | None:
        """The air so many quarters after a remembered one, from what came before; None without a day of it."""
        now_c = self._bridged_c[origin]
        days = [day for day in range(1, COURSE_DAYS + 1) if self._is_whole(origin - day * DAY_SLOTS)]
        if now_c is None or not days:
            return None
        unlike_c = now_c - self._usual_c(origin, days)
        trend_c = self._moved_c(origin)
        usual_moves = [self._moved_c(origin - day * DAY_SLOTS) for day in days]
        known_moves = [moved_c for moved_c in usual_moves if moved_c is not None]
        if trend_c is not None and known_moves:
            trend_c -= sum(known_moves) / len(known_moves)
        else:
            trend_c = 0.0
        return [
            self._usual_c(origin + lead, days) + unlike_c * fading + trend_c * bending
            for lead, fading, bending in zip(leads, *_fading(leads), strict=True)
        ]

    def errors_c(self, now: int) -> list[float]:
        """Standard error at each quarter from now to a day ahead."""
        leads = range(0, DAY_SLOTS + 1, TRIED_EVERY_SLOTS)
        squares, counts = [0.0] * len(leads), [0] * len(leads)
        for origin in range(now - TRIED_EVERY_SLOTS, DAY_SLOTS - 1, -TRIED_EVERY_SLOTS):
            within = leads[: (now - origin) // TRIED_EVERY_SLOTS + 1]
            expected = self.expected_c(origin, within)
            if expected is None:
                continue
            for i, (lead, expected_c) in enumerate(zip(within, expected, strict=True)):
                true_c = self._heard_c[origin + lead]
                if true_c is not None:
                    squares[i] += (true_c - expected_c) ** 2
                    counts[i] += 1
        spaced = []
        for lead, square, count in zip(leads, squares, counts, strict=True):
            usual_c = USUAL_ERROR_C * -math.expm1(-lead / USUAL_GROWTH_SLOTS)
            days = count * TRIED_EVERY_SLOTS / DAY_SLOTS
            own = square / count if count else 0.0
            blend = (USUAL_WEIGHT_DAYS * usual_c**2 + days * own) / (USUAL_WEIGHT_DAYS + days)
            spaced.append(math.hypot(LEAST_ERROR_C, math.sqrt(blend)))
        return [
            a + (b - a) * step / TRIED_EVERY_SLOTS
            for a, b in pairwise(spaced)
            for step in range(TRIED_EVERY_SLOTS)
        ] + spaced[-1:]

    def _is_whole(self, begin: int) -> bool:
        """Whether enough was heard of the day from there on."""
        end = begin + DAY_SLOTS + 1
        return (
            begin >= 0
            and self._heard_count[end] - self._heard_count[begin] >= LEAST_COVER * DAY_SLOTS
            and None not in self._bridged_c[begin:end]
        )

    def _moved_c(self, slot: int) -> float | None:
        """Change over the quarters of the trend up to that one."""
        if slot < TREND_SLOTS:
            return None
        to_c, from_c = self._bridged_c[slot], self._bridged_c[slot - TREND_SLOTS]
        return None if to_c is None or from_c is None else to_c - from_c

    def _usual_c(self, slot: int, days: list[int]) -> float:
        """Mean of the same quarter of those days before."""
        return sum(self._bridged_c[slot - day * DAY_SLOTS] or 0.0 for day in days) / len(days)


@cache
def _fading(leads: range) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """What is left of a difference after so many quarters, and what a difference of its trend has added."""
    return (
        tuple(math.exp(-lead / FADES_SLOTS) for lead in leads),
        tuple(-math.expm1(-lead / TREND_SLOTS) for lead in leads),
    )


def _without_spikes(medians_c: list[float | None]) -> list[float | None]:
    """Without what stands out for a single quarter: a late reading that is alone in its quarter may be a spike."""
    calm = list(medians_c)
    known = [(i, air_c) for i, air_c in enumerate(medians_c) if air_c is not None]
    for (_, before_c), (i, here_c), (_, after_c) in zip(known, known[1:], known[2:], strict=False):
        calm[i] = sorted((before_c, here_c, after_c))[1]
    return calm


def _bridged(air_c: list[float | None]) -> list[float | None]:
    """Straight over holes of up to `BRIDGED_SLOTS`."""
    bridged = list(air_c)
    known = [i for i, here_c in enumerate(air_c) if here_c is not None]
    for a, b in pairwise(known):
        from_c, to_c = air_c[a], air_c[b]
        if 1 < b - a <= BRIDGED_SLOTS and from_c is not None and to_c is not None:
            for i in range(a + 1, b):
                bridged[i] = from_c + (to_c - from_c) * (i - a) / (b - a)
    return bridged


def _answer(times_s: list[float], expected_c: list[float], errors_c: list[float]) -> Frost:
    """From the middle course and its error at each time; the first of them is now."""
    air_c = expected_c[0]
    later = list(zip(expected_c[1:], errors_c[1:], strict=True))

    def course_c(part: float) -> list[float]:
        """The course that so large a part of all nights are colder than."""
        z = _NORMAL.inv_cdf(part)
        return [air_c, *(middle_c + z * error_c for middle_c, error_c in later)]

    coldest_c = Band(*(min(course_c(part)) for part in _PARTS))
    if air_c <= FREEZING_C:
        chance, freezes = 1.0, None
    else:
        chance = _NORMAL.cdf(max((FREEZING_C - middle_c) / error_c for middle_c, error_c in later))
        if chance < MAY_CHANCE:
            return Frost(air_c, chance, None, None, coldest_c)
        # Of the nights that freeze: the colder, the earlier.
        freezes = Turn(*(_turns(times_s, course_c(part * chance))[0] or 0.0 for part in _LATE_PARTS))
    low_s, middle_s, high_s = (_turns(times_s, course_c((1.0 - part) * chance))[1] for part in _PARTS)
    thaws = None if low_s is None or middle_s is None else Turn(low_s, middle_s, high_s)
    return Frost(air_c, chance, freezes, thaws, coldest_c)


def _turns(times_s: list[float], course_c: list[float]) -> tuple[float | None, float | None]:
    """When a course first is at or below freezing, and when it is above again."""
    freezes_s: float | None = None if course_c[0] > FREEZING_C else 0.0
    for (from_s, to_s), (from_c, to_c) in zip(pairwise(times_s), pairwise(course_c), strict=True):
        if (to_c <= FREEZING_C) is (freezes_s is None):
            crossing_s = max(0.0, from_s + (to_s - from_s) * (FREEZING_C - from_c) / (to_c - from_c))
            if freezes_s is not None:
                return freezes_s, crossing_s
            freezes_s = crossing_s
    return freezes_s, None
