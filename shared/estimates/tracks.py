"""A sensor's stored rows as minutes against its usual before a storm: its fall, and its drop at any time."""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import mean, median

from shared.estimates.onset import MINUTE_MS, Departure, fall_s, slack_pa, start_ms
from shared.estimates.usual import SIGMA_PER_DEVIATION
from shared.estimates.vacuum import (
    ABOVE_ATTAINABLE_PA,
    FREEZE_C,
    LEAST_NOISE_PA,
    VacuumDrop,
    pump_is_running,
    silent_words,
)
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.physics.air import attainable_vacuum_pa, standard_pressure_pa
from shared.readings import Unknown

Rows = Sequence[tuple[int, float]]
"""Readings of one sensor in order of time: measured_ms, and the value in SI."""

BEFORE_MS = 60 * MINUTE_MS
"""The hour before the storm is its usual: long enough for many dumps, short enough for one weather."""
LEAST_COUNT = 5
"""Minutes that a usual needs at least."""
SURE_RATIO = 2.0
"""A fall counts once its cumulative sum is so many slacks: a blip of a minute or two does not get there."""


@dataclass(frozen=True, slots=True)
class Weather:
    """What barometer and thermometer said, or the standard pressure and nothing."""

    farm: Farm
    air_pressure: Rows
    air_temperature: Rows

    def station_pa(self, at_ms: int) -> float:
        """Air pressure at the farm at that time."""
        said_pa = _latest(self.air_pressure, at_ms)
        return standard_pressure_pa(self.farm.elevation_m) if said_pa is None else said_pa

    def air_c(self, at_ms: int) -> float | None:
        """Air temperature at that time; None without a thermometer."""
        return _latest(self.air_temperature, at_ms)


@dataclass(frozen=True, slots=True)
class Track:
    """One sensor's minutes from an hour before the storm on."""

    from_ms: int
    """When the storm began."""
    heard_ms: int | None
    minutes_ms: list[int]
    vacuums_pa: list[float]
    drops_pa: list[float]
    """Against the usual share of what the air allowed; empty where no usual is known."""
    usual_ratio: float
    usual_pa: float
    noise_pa: float

    def median_pa(self, first_ms: int, last_ms: int) -> float | None:
        """Median of the minutes from the one time to before the other; None without any."""
        part = self.vacuums_pa[bisect_left(self.minutes_ms, first_ms) : bisect_left(self.minutes_ms, last_ms)]
        return median(part) if part else None

    def worst_pa(self, count: int, first_ms: int, last_ms: int) -> float | None:
        """The lowest median of so many minutes on end, between two times."""
        part = self.vacuums_pa[bisect_left(self.minutes_ms, first_ms) : bisect_left(self.minutes_ms, last_ms)]
        windows = [part[start : start + count] for start in range(max(1, len(part) - count + 1))]
        return min(median(window) for window in windows) if part else None


@dataclass(frozen=True, slots=True)
class Fall:
    """One sensor's longest-lasting worst: from its start to its recovery, if it has recovered."""

    since_ms: int
    until_ms: int | None
    worst_pa: float
    worst_ms: int
    mean_pa: float
    minutes_count: int


def track_of(rows: Rows, weather: Weather, from_ms: int, now_ms: int) -> Track:
    """Those rows as minutes, and their drops against the usual of the hour before the storm."""
    told = [row for row in rows if from_ms - BEFORE_MS <= row[0] <= now_ms]
    minutes_ms: list[int] = []
    vacuums_pa: list[float] = []
    for minute, group in groupby(told, key=lambda row: row[0] // MINUTE_MS):
        minutes_ms.append(minute * MINUTE_MS)
        vacuums_pa.append(median(value for _, value in group))
    attainable = [attainable_vacuum_pa(weather.station_pa(minute_ms)) for minute_ms in minutes_ms]
    before = bisect_left(minutes_ms, from_ms)
    heard_ms = told[-1][0] if told else None
    if before < LEAST_COUNT:
        return Track(from_ms, heard_ms, minutes_ms, vacuums_pa, [], 0.0, 0.0, 0.0)
    shares = [vacuum_pa / most_pa for vacuum_pa, most_pa in zip(vacuums_pa, attainable, strict=True)]
    usual_ratio = median(shares[:before])
    drops_pa = [(usual_ratio - share) * most_pa for share, most_pa in zip(shares, attainable, strict=True)]
    noise_pa = SIGMA_PER_DEVIATION * mean(abs(drop_pa) for drop_pa in drops_pa[:before])
    return Track(
        from_ms=from_ms,
        heard_ms=heard_ms,
        minutes_ms=minutes_ms,
        vacuums_pa=vacuums_pa,
        drops_pa=drops_pa,
        usual_ratio=usual_ratio,
        usual_pa=median(vacuums_pa[:before]),
        noise_pa=max(LEAST_NOISE_PA, noise_pa),
    )


def fall_of(track: Track) -> Fall | None:
    """The fall that holds the sensor's worst minute since the storm began; None when it held."""
    falls: list[Fall] = []
    departure, sure, since_ms = Departure(), False, 0
    least_pa = slack_pa(track.noise_pa)
    first = bisect_left(track.minutes_ms, track.from_ms)
    for index in range(first, len(track.drops_pa)):
        departure.take(track.minutes_ms[index], track.drops_pa[index], least_pa)
        if departure.since_ms is not None:
            since_ms = departure.since_ms
            sure = sure or departure.sum_pa >= SURE_RATIO * least_pa
        elif sure:
            falls.append(_fall(track, since_ms, track.minutes_ms[index]))
            sure = False
    if sure:
        falls.append(_fall(track, since_ms, None))
    return max(falls, key=lambda fall: fall.worst_pa, default=None)


def drops_at(
    farm: Farm, tracks: Mapping[str, Track], weather: Weather, at_ms: int, count: int
) -> dict[str, VacuumDrop | Unknown]:
    """Every sensor's drop at one time, from the median of so many minutes before it."""
    first_ms = at_ms - count * MINUTE_MS
    now = {name: track.median_pa(first_ms, at_ms + 1) for name, track in tracks.items()}
    pumps = [now[s.id] for s in farm.sensors if s.id in now and s.line == PUMP]
    running = pump_is_running(value for value in (pumps or now.values()) if value is not None)
    air_c = weather.air_c(at_ms)
    frozen = None if air_c is None else air_c <= FREEZE_C
    station_pa = weather.station_pa(at_ms)
    return {
        name: _drop(track, now[name], at_ms, station_pa, running=running, frozen=frozen)
        for name, track in tracks.items()
    }


def _fall(track: Track, since_ms: int, until_ms: int | None) -> Fall:
    start = bisect_left(track.minutes_ms, since_ms)
    end = len(track.minutes_ms) if until_ms is None else bisect_left(track.minutes_ms, until_ms)
    drops_pa = track.drops_pa[start:end]
    worst = max(range(len(drops_pa)), key=drops_pa.__getitem__)
    return Fall(
        since_ms=start_ms(track.minutes_ms[:end], track.drops_pa[:end], since_ms, drops_pa[worst]),
        until_ms=until_ms,
        worst_pa=drops_pa[worst],
        worst_ms=track.minutes_ms[start + worst],
        mean_pa=mean(max(0.0, drop_pa) for drop_pa in drops_pa),
        minutes_count=len(drops_pa),
    )


def _drop(
    track: Track, now_pa: float | None, at_ms: int, station_pa: float, *, running: bool, frozen: bool | None
) -> VacuumDrop | Unknown:
    if track.heard_ms is None:
        return Unknown("nothing heard")
    if now_pa is None:
        return Unknown(silent_words(at_ms - track.heard_ms))
    if not track.drops_pa:
        return Unknown("too little heard before the storm to know its usual")
    attainable_pa = attainable_vacuum_pa(station_pa)
    usual_pa = track.usual_ratio * attainable_pa
    drop_pa = usual_pa - now_pa
    since_ms = None
    end = bisect_right(track.minutes_ms, at_ms)
    if drop_pa > slack_pa(track.noise_pa):
        departure = Departure()
        for index in range(bisect_left(track.minutes_ms, track.from_ms), end):
            departure.take(track.minutes_ms[index], track.drops_pa[index], slack_pa(track.noise_pa))
        if departure.since_ms is not None:
            since_ms = start_ms(track.minutes_ms[:end], track.drops_pa[:end], departure.since_ms, drop_pa)
    return VacuumDrop(
        usual_pa=usual_pa,
        now_pa=now_pa,
        drop_pa=drop_pa,
        attainable_pa=attainable_pa,
        station_pa=station_pa,
        share_ratio=now_pa / attainable_pa,
        since_ms=since_ms,
        fell_s=fall_s(track.minutes_ms[:end], track.drops_pa[:end], since_ms, drop_pa),
        pump_running=running,
        frozen=frozen,
        noise_pa=track.noise_pa,
        above_attainable=now_pa > station_pa + ABOVE_ATTAINABLE_PA,
    )


def _latest(rows: Rows, at_ms: int) -> float | None:
    """The value told last at that time, or the first one told after it."""
    if not rows:
        return None
    return rows[max(0, bisect_right(rows, at_ms, key=lambda row: row[0]) - 1)][1]
