"""A storm as all its sensors saw it, and what changed across one moment of it, with the causes ranked."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from shared.estimates.falls import Fall, Instant
from shared.estimates.leaks import locate
from shared.estimates.onset import MINUTE_MS, fall_s, slack_pa
from shared.estimates.sap_run import SapRun
from shared.estimates.suspects import Suspect
from shared.estimates.tracks import Minute, Span, Track, Weather, stuck
from shared.estimates.vacuum import ABOVE_ATTAINABLE_PA, VacuumDrop, silent_words
from shared.farm import Farm
from shared.physics.air import attainable_vacuum_pa
from shared.physics.contested import Contested
from shared.readings import Unknown
from shared.words import clock_time

BEFORE_COUNT = 10
"""Minutes before a moment that it is held against."""
LATE_COUNT = 15
"""Minutes: what was last seen longer ago than this is not known at the end."""


@dataclass(frozen=True, slots=True)
class Scene:
    """All that is known of the storm."""

    farm: Farm
    tracks: Mapping[str, Track]
    falls: Mapping[str, Sequence[Fall]]
    weather: Weather
    offs: tuple[Span, ...]
    """When the pump was off though sap could run."""
    frost_offs: tuple[Span, ...]
    """When it rested in the frost."""
    from_ms: int
    end_ms: int
    run: SapRun


def drops_between(
    scene: Scene, onset: Instant, told_ms: int, count: int, since: Mapping[str, int]
) -> dict[str, VacuumDrop | Unknown]:
    """What every sensor lost from before a trouble to a later time, by medians of the minutes before both."""
    still = stuck(scene.tracks, told_ms)
    drops: dict[str, VacuumDrop | Unknown] = {}
    for name, track in scene.tracks.items():
        if name in still:
            at = clock_time(still[name], scene.farm.zone, scene.end_ms)
            drops[name] = Unknown(f"stuck: the same to the last digit since {at}")
        else:
            drops[name] = _drop(scene, track, onset, told_ms, count, since.get(name))
    return drops


def ranked(
    scene: Scene, drops: Mapping[str, VacuumDrop | Unknown], told_ms: int, flows_ms: int
) -> tuple[Suspect, ...] | Unknown:
    """Every cause of those drops; what each costs a day as the sap ran at `flows_ms`."""
    tap = scene.run.tap_m3_day(flows_ms)
    air_c = scene.weather.air_c(told_ms)
    found = locate(scene.farm, drops, air_c, told_ms, tap_yield_m3_day=1.0)
    if isinstance(found, Unknown):
        return found
    return tuple(
        suspect
        if (lost := suspect.sap_lost_m3_day) is None
        else replace(
            suspect,
            sap_lost_m3_day=Contested(lost.low * tap.low, lost.usual * tap.usual, lost.high * tap.high),
        )
        for suspect in found
    )


def is_seen(track: Track, end_ms: int) -> bool:
    """Whether the last minutes tell of the line: heard, the pump running, and no ice."""
    for i in reversed(range(len(track.minutes_ms))):
        if track.minutes_ms[i] < end_ms - max(LATE_COUNT * MINUTE_MS, track.gap_ms):
            return False
        if track.standings[i] is Minute.OPEN:
            return True
    return False


def missing_before_pa(track: Track, at: Instant) -> float | None:
    """What was missing just before."""
    usable = [
        track.drops_pa[i]
        for i in track.within((0, at.at_ms))
        if i < len(track.drops_pa) and track.standings[i] is not Minute.REST
    ]
    return median(usable[-BEFORE_COUNT:]) if usable else None


def _drop(
    scene: Scene, track: Track, onset: Instant, told_ms: int, count: int, since_ms: int | None
) -> VacuumDrop | Unknown:
    if track.heard_ms is None:
        return Unknown("nothing heard")
    if not track.drops_pa:
        return Unknown("too little heard before the storm to know its usual")
    lately = track.within((told_ms - count * MINUTE_MS, told_ms + 1))
    now = [track.drops_pa[i] for i in lately]
    if not now:
        heard = bisect_left(track.minutes_ms, told_ms)
        last_ms = track.minutes_ms[heard - 1] if heard else told_ms
        return Unknown(silent_words(told_ms - last_ms))
    before_pa = missing_before_pa(track, Instant(onset.heard_before_ms + 1, onset.heard_before_ms))
    if before_pa is None:
        return Unknown("too little heard before the storm to know its usual")
    station_pa = scene.weather.station_pa(told_ms)
    attainable_pa = attainable_vacuum_pa(station_pa)
    drop_pa = median(now) - before_pa
    usual_pa = track.usual_ratio * attainable_pa - before_pa
    began_ms = None
    if drop_pa > slack_pa(track.noise_pa):
        began_ms = onset.at_ms if since_ms is None else since_ms
    end = lately.stop
    standings = {track.standings[i] for i in lately}
    fell = [missing_pa - before_pa for missing_pa in track.drops_pa[:end]]
    return VacuumDrop(
        usual_pa=usual_pa,
        now_pa=usual_pa - drop_pa,
        drop_pa=drop_pa,
        attainable_pa=attainable_pa,
        station_pa=station_pa,
        share_ratio=(usual_pa - drop_pa) / attainable_pa,
        since_ms=began_ms,
        fell_s=fall_s(track.minutes_ms[:end], fell, began_ms, drop_pa),
        pump_running=Minute.REST not in standings,
        frozen=None if scene.weather.air_c(told_ms) is None else Minute.COLD in standings,
        noise_pa=track.noise_pa,
        above_attainable=track.vacuums_pa[lately[-1]] > station_pa + ABOVE_ATTAINABLE_PA,
    )
