"""A sensor's stored rows as minutes against its usual before a storm, and what each minute can tell.

A minute tells of leaks only while the pump runs, settled, on thawed lines. A pump that was off (storms take the
power too) and lines shut by ice are told apart here, so that neither hides what a limb did before or after.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from itertools import groupby, pairwise
from math import inf
from statistics import mean, median

from shared.errors import InvalidArgument
from shared.estimates.onset import MINUTE_MS
from shared.estimates.usual import SIGMA_PER_DEVIATION
from shared.estimates.vacuum import (
    ABOVE_ATTAINABLE_PA,
    BACK_RATIO,
    FREEZE_C,
    HOUR_MS,
    LATE_THAW_K_H,
    LEAST_NOISE_PA,
    LONGEST_FELT_MS,
    RUNNING_LEAST_PA,
    SETTLE_MS,
    SURELY_THAWED_C,
    THAW_C,
    THAW_K_H,
    pump_is_running,
)
from shared.farm import Farm
from shared.physics.air import (
    attainable_vacuum_pa,
    standard_pressure_pa,
    station_pressure_from_barometer_pa,
)

Rows = Sequence[tuple[int, float]]
"""Readings of one sensor in order of time: measured_ms, and the value in SI."""
Span = tuple[int, int]
"""From when to when, ms."""

BEFORE_COUNT = 60
"""Minutes before the storm that are its usual: long enough for many dumps, short enough for one weather."""
LEAST_COUNT = 5
"""Minutes that a usual needs at least."""
GAP_MS = 5 * MINUTE_MS
GAP_COUNT = 5
"""Missed intervals before nothing is known between two minutes (from memory, design advice)."""
STUCK_COUNT = 60
"""Minutes that say the same to the last digit while others change: with a releaser dumping that is impossible."""
EBBS_RATIO = 1.02
"""Of its vacuum a farm's tubing loses at least so much in a minute once nothing draws on it: tight, frozen lines
take half an hour to lose most (isothermal emptying); a run that wanders loses less."""
TOLD_MS = 10 * MINUTE_MS
"""A pump's switch that has not spoken for so long says nothing of the pump."""


class Minute(Enum):
    """What a minute can tell."""

    OPEN = "open"
    """The pump runs, settled, on thawed lines: what is missing is lost."""
    COLD = "cold"
    """It freezes, or ice may still shut the line."""
    REST = "rest"
    """The pump is off, or has only begun to work."""


@dataclass(frozen=True, slots=True)
class Weather:
    """What barometer and thermometer said, or the standard pressure and nothing."""

    farm: Farm
    air_pressure: Rows
    air_temperature: Rows
    heat: Rows
    """K h that the air has given to the ice since it froze."""

    def station_pa(self, at_ms: int) -> float:
        """Air pressure at the farm at that time."""
        said_pa = _latest(self.air_pressure, at_ms)
        return standard_pressure_pa(self.farm.elevation_m) if said_pa is None else said_pa

    def air_c(self, at_ms: int) -> float | None:
        """Air temperature at that time; None without a thermometer."""
        return _latest(self.air_temperature, at_ms)

    def is_cold(self, at_ms: int, *, is_back: bool) -> bool:
        """Whether ice may shut a line; `is_back`: it holds its vacuum, so that little heat is enough."""
        air_c, heat_k_h = self.air_c(at_ms), _latest(self.heat, at_ms)
        if air_c is None or heat_k_h is None:
            return False
        return air_c <= THAW_C or heat_k_h < (THAW_K_H if is_back else LATE_THAW_K_H)


@dataclass(frozen=True, slots=True)
class Track:
    """One sensor's minutes."""

    from_ms: int
    """When the storm began."""
    heard_ms: int | None
    minutes_ms: list[int]
    vacuums_pa: list[float]
    standings: list[Minute]
    drops_pa: list[float]
    """Against the usual share of what the air allowed; empty where no usual is known."""
    usual_ratio: float
    usual_pa: float
    noise_pa: float
    gap_ms: int
    """Minutes further apart than this have a gap between them."""

    def median_pa(self, span: Span, *, but: Minute | None = None) -> float | None:
        """Median of the minutes from the one time to before the other, but one kind; None without any."""
        part = [self.vacuums_pa[i] for i in self.within(span) if self.standings[i] is not but]
        return median(part) if part else None

    def worst_pa(self, count: int, span: Span) -> float | None:
        """The lowest median of so many minutes on end, between two times, while the pump worked."""
        part = [self.vacuums_pa[i] for i in self.within(span) if self.standings[i] is not Minute.REST]
        windows = [part[start : start + count] for start in range(max(1, len(part) - count + 1))]
        return min(median(window) for window in windows) if part else None

    def within(self, span: Span) -> range:
        """Indices of the minutes from the one time to before the other."""
        return range(bisect_left(self.minutes_ms, span[0]), bisect_left(self.minutes_ms, span[1]))

    def stuck_since_ms(self, at_ms: int) -> int | None:
        """Since when it has said the same to the last digit at that time, if for an hour or more."""
        last = bisect_right(self.minutes_ms, at_ms) - 1
        first = last
        while first > 0 and self.vacuums_pa[first - 1] == self.vacuums_pa[last]:
            first -= 1
        return self.minutes_ms[first] if last - first >= STUCK_COUNT else None


def weather_of(farm: Farm, air_pressure: Rows, air_temperature: Rows) -> Weather:
    """The weather of those rows; a barometer that weather cannot explain is not believed."""
    believed = []
    for at_ms, said_pa in air_pressure:
        with suppress(InvalidArgument):
            station_pa = station_pressure_from_barometer_pa(said_pa, farm.elevation_m, farm.elevation_m)
            believed.append((at_ms, station_pa))
    heat: list[tuple[int, float]] = []
    for at_ms, air_c in air_temperature:
        if air_c <= FREEZE_C or (not heat and air_c < SURELY_THAWED_C):
            heat.append((at_ms, 0.0))
        elif not heat:
            heat.append((at_ms, LATE_THAW_K_H))
        else:
            passed_h = min(at_ms - heat[-1][0], LONGEST_FELT_MS) / HOUR_MS
            given_k_h = heat[-1][1] + (air_c - THAW_C) * passed_h
            heat.append((at_ms, min(max(0.0, given_k_h), LATE_THAW_K_H)))
    return Weather(farm, believed, air_temperature, heat)


def in_minutes(rows: Rows) -> list[tuple[int, float]]:
    """A median a minute."""
    return [
        (minute * MINUTE_MS, median(value for _, value in group))
        for minute, group in groupby(rows, key=lambda row: row[0] // MINUTE_MS)
    ]


def pump_off(switch: Rows, pumps: Iterable[Rows], lines: Iterable[Rows], end_ms: int) -> tuple[Span, ...]:
    """When the pump was off.

    By its switch (1 while it runs) where that speaks, else by its own vacuum, or having none by all lines'.
    """
    made: dict[int, float] = {}
    for rows in list(pumps) or list(lines):
        for minute_ms, vacuum_pa in rows:
            made[minute_ms] = max(made.get(minute_ms, 0.0), vacuum_pa)
    runs = {minute_ms: pump_is_running((vacuum_pa,)) for minute_ms, vacuum_pa in made.items()}
    told = set()
    for (at_ms, is_on), (next_ms, _) in pairwise([*switch, (end_ms, 0.0)]):
        for minute_ms in minutes_of((at_ms, min(next_ms, at_ms + TOLD_MS))):
            runs[minute_ms] = is_on > 0
            told.add(minute_ms)
    offs: list[Span] = []
    minutes_ms = sorted(runs)
    for is_on, group in groupby(range(len(minutes_ms)), key=lambda i: runs[minutes_ms[i]]):
        if not is_on:
            first, *rest = group
            last = rest[-1] if rest else first
            # Without a switch it is known to be off when the lines have run empty; it stopped when they began to.
            while (
                first > 0 and minutes_ms[first] not in told and _ebbs(made, minutes_ms[first - 1 : first + 1])
            ):
                first -= 1
            offs.append(
                (minutes_ms[first], minutes_ms[last + 1] if last + 1 < len(minutes_ms) else end_ms + 1)
            )
    return tuple(offs)


def _ebbs(made: Mapping[int, float], two_ms: Sequence[int]) -> bool:
    minutes = (two_ms[1] - two_ms[0]) / MINUTE_MS
    return minutes <= GAP_COUNT and made.get(two_ms[0], 0.0) > made[two_ms[1]] * EBBS_RATIO**minutes


def rests_of(offs: Iterable[Span]) -> frozenset[int]:
    """Minutes that tell nothing of the lines: off, the one before, and until the pump has worked for a while."""
    return frozenset(minute for a, b in offs for minute in minutes_of((a - MINUTE_MS, b + SETTLE_MS)))


def sealed_of(pumps: Iterable[Rows], lines: Iterable[Rows]) -> frozenset[int]:
    """Minutes in which most lines held far less than the pump, shut off by ice: they tell nothing of the pump."""
    held: dict[int, list[float]] = {}
    for rows in lines:
        for minute_ms, vacuum_pa in rows:
            held.setdefault(minute_ms, []).append(vacuum_pa)
    made = {minute_ms: vacuum_pa for rows in pumps for minute_ms, vacuum_pa in rows}
    return frozenset(
        minute_ms
        for minute_ms, vacuum_pa in made.items()
        if minute_ms in held and median(held[minute_ms]) < BACK_RATIO * vacuum_pa
    )


def minutes_of(span: Span) -> range:
    """The minutes that a span touches, by their beginnings."""
    return range(span[0] // MINUTE_MS * MINUTE_MS, span[1], MINUTE_MS)


def track_of(minutes: Rows, weather: Weather, rests: frozenset[int], from_ms: int, end_ms: int) -> Track:
    """Those minutes, and their drops against the usual of the last good hour before the storm."""
    told = [row for row in minutes if row[0] <= end_ms]
    minutes_ms, vacuums_pa = [at_ms for at_ms, _ in told], [value for _, value in told]
    stations_pa = [weather.station_pa(at_ms) for at_ms in minutes_ms]
    attainable_pa = [attainable_vacuum_pa(station_pa) for station_pa in stations_pa]
    shares = [vacuum_pa / most_pa for vacuum_pa, most_pa in zip(vacuums_pa, attainable_pa, strict=True)]
    standings = _standings(minutes_ms, shares, weather, rests)
    gaps_ms = [later - earlier for earlier, later in pairwise(minutes_ms)]
    gap_ms = max(GAP_MS, round(GAP_COUNT * median(gaps_ms))) if gaps_ms else GAP_MS
    before = [
        i
        for i in range(bisect_left(minutes_ms, from_ms))
        if standings[i] is not Minute.REST
        and RUNNING_LEAST_PA < vacuums_pa[i] <= stations_pa[i] + ABOVE_ATTAINABLE_PA
    ]
    thawed = [i for i in before if standings[i] is Minute.OPEN]
    # Where it has been freezing all along, the last hour must do.
    usual = (thawed if len(thawed) >= LEAST_COUNT else before)[-BEFORE_COUNT:]
    heard_ms = told[-1][0] if told else None
    if len(usual) < LEAST_COUNT:
        return Track(
            from_ms, heard_ms, minutes_ms, vacuums_pa, standings, [], 0.0, 0.0, LEAST_NOISE_PA, gap_ms
        )
    usual_ratio = median(shares[i] for i in usual)
    drops_pa = [(usual_ratio - share) * most_pa for share, most_pa in zip(shares, attainable_pa, strict=True)]
    noise_pa = SIGMA_PER_DEVIATION * mean(abs(drops_pa[i]) for i in usual)
    return Track(
        from_ms=from_ms,
        heard_ms=heard_ms,
        minutes_ms=minutes_ms,
        vacuums_pa=vacuums_pa,
        standings=standings,
        drops_pa=drops_pa,
        usual_ratio=usual_ratio,
        usual_pa=median(vacuums_pa[i] for i in usual),
        noise_pa=max(LEAST_NOISE_PA, noise_pa),
        gap_ms=gap_ms,
    )


def stuck(tracks: Mapping[str, Track], at_ms: int) -> dict[str, int]:
    """Sensors that are stuck at that time, and since when; none where most stand still, as in a hard frost."""
    found = {name: track.stuck_since_ms(at_ms) for name, track in tracks.items() if track.minutes_ms}
    still = {name: since_ms for name, since_ms in found.items() if since_ms is not None}
    return still if 2 * len(still) < len(found) else {}


def _standings(
    minutes_ms: Sequence[int], shares: Sequence[float], weather: Weather, rests: frozenset[int]
) -> list[Minute]:
    standings: list[Minute] = []
    full_ratio = sorted(shares)[9 * len(shares) // 10] if shares else 0.0
    for at_ms, share in zip(minutes_ms, shares, strict=True):
        if at_ms in rests:
            standings.append(Minute.REST)
        elif weather.is_cold(at_ms, is_back=share >= BACK_RATIO * full_ratio):
            standings.append(Minute.COLD)
        else:
            standings.append(Minute.OPEN)
    return standings


def _latest(rows: Rows, at_ms: int) -> float | None:
    """The value told last at that time, or the first one told after it."""
    if not rows:
        return None
    return rows[max(0, bisect_right(rows, (at_ms, inf)) - 1)][1]
