"""The morning after: line by line before, during and after a storm, and where to walk first.

Stored rows are judged with the same drops, onsets and suspects as the night's alerts, but with hindsight:
usual is the hour before the storm. While something is still down the suspects are those of what the storm
left; when all has come back, those of its worst minutes.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from shared.errors import InvalidArgument
from shared.estimates.leaks import locate
from shared.estimates.lines import Place, cut, distance_from_pump_m, place_of
from shared.estimates.onset import MINUTE_MS
from shared.estimates.suspects import TAP_YIELD_M3_DAY, Suspect, added, sap_lost_m3_day
from shared.estimates.tracks import Fall, Rows, Track, Weather, drops_at, fall_of, track_of
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.physics.contested import Contested
from shared.readings import Quantity, Unknown

AFTER_MS = 60 * MINUTE_MS
"""The hour after the storm is what it left."""
SETTLED_COUNT = 15
WORST_COUNT = 5
"""Minutes that a drop is told from: settled, or at its worst."""
DAY_COUNT = 1440


@dataclass(frozen=True, slots=True)
class SensorReview:
    """What one sensor saw of the storm; pressures are medians, None where it was silent."""

    sensor: str
    place: Place
    distance_m: float
    """From the pump, along the lines."""
    before_pa: float | None
    during_pa: float | None
    worst_pa: float | None
    """Of the storm's lowest minutes."""
    after_pa: float | None
    change_pa: float | None
    """After less before, without what the barometer took: negative is worse."""
    onset_ms: int | None
    """When it began to fall; None if it did not."""
    recovered_ms: int | None
    """When it was back at its usual; None if it did not fall, or is still down."""
    sap_lost_m3_day: Contested | None
    """If it stays as it is, by the taps this sensor speaks for; None when it holds or has recovered."""
    sap_lost_m3: Contested | None
    """So far, a day's sap taken as evenly spread; None when it did not fall."""
    silent_since_ms: int | None
    """When it was last heard, if it was no longer heard at the end."""
    unknown: str
    """Why there is no verdict; empty where there is one."""


@dataclass(frozen=True, slots=True)
class StormReview:
    """The whole farm's storm: the sensors line by line outwards from the pump, the suspects, and the sap."""

    from_ms: int
    to_ms: int
    sensors: tuple[SensorReview, ...]
    suspects: tuple[Suspect, ...] | Unknown
    recovered: bool | None
    """Whether all that fell has come back; None where nothing fell."""
    sap_lost_m3_day: Contested | None
    sap_lost_m3: Contested | None


def storm_review(
    farm: Farm,
    series: Mapping[str, Rows],
    from_ms: int,
    to_ms: int,
    *,
    now_ms: int,
    air_pressure: Rows = (),
    air_temperature: Rows = (),
    tap_yield_m3_day: float = TAP_YIELD_M3_DAY,
) -> StormReview:
    """What a storm between two times did, as far as rows up to `now_ms` tell.

    `series` holds rows of vacuum sensors in Pa, in order of time, from an hour before the storm on; a sensor
    without rows counts as silent. Without a barometer the standard pressure at the farm's elevation is taken:
    a front that comes with the storm then shows as a small drop on all lines.

    Raises:
        InvalidArgument: the storm ends before it begins, or a series is not of a vacuum sensor of the farm.
    """
    if not from_ms < to_ms:
        raise InvalidArgument("to_ms", to_ms, f"after from_ms, {from_ms}")
    vacuum = {sensor.id: sensor for sensor in farm.sensors_of(Quantity.VACUUM)}
    strange = sorted(set(series) - set(vacuum))
    if strange:
        raise InvalidArgument("series", strange, "of vacuum sensors of this farm")
    weather = Weather(farm, air_pressure, air_temperature)
    tracks = {name: track_of(series.get(name, ()), weather, from_ms, now_ms) for name in vacuum}
    falls = {name: fall_of(track) for name, track in tracks.items()}
    happened = [fall for fall in falls.values() if fall is not None]
    recovered = all(fall.until_ms is not None for fall in happened) if happened else None

    end_ms = min(now_ms, to_ms + AFTER_MS)
    left = drops_at(farm, tracks, weather, end_ms, SETTLED_COUNT)
    told, told_ms = left, end_ms
    if recovered:
        told_ms = max(happened, key=lambda fall: fall.worst_pa).worst_ms + WORST_COUNT // 2 * MINUTE_MS
        told = drops_at(farm, tracks, weather, told_ms, WORST_COUNT)
    counts = cut(farm, vacuum.values()).taps_counts()
    reviews = [
        _review(
            farm,
            sensor,
            tracks[name],
            falls[name],
            left[name],
            counts[name] * tap_yield_m3_day,
            to_ms,
            end_ms,
        )
        for name, sensor in vacuum.items()
    ]
    order = {line.id: number for number, line in enumerate(farm.lines)}
    reviews.sort(key=lambda review: (order.get(review.place.line, -1), review.distance_m))
    return StormReview(
        from_ms=from_ms,
        to_ms=to_ms,
        sensors=tuple(reviews),
        suspects=locate(farm, told, weather.air_c(told_ms), told_ms, tap_yield_m3_day=tap_yield_m3_day),
        recovered=recovered,
        sap_lost_m3_day=added(r.sap_lost_m3_day for r in reviews if r.sap_lost_m3_day is not None),
        sap_lost_m3=added(r.sap_lost_m3 for r in reviews if r.sap_lost_m3 is not None),
    )


def _review(
    farm: Farm,
    sensor: Sensor,
    track: Track,
    fall: Fall | None,
    left: VacuumDrop | Unknown,
    whole_m3_day: float,
    to_ms: int,
    end_ms: int,
) -> SensorReview:
    place = place_of(farm, sensor)
    known = isinstance(left, VacuumDrop)
    lost_m3_day = lost_m3 = None
    if fall is not None:
        so_far = sap_lost_m3_day(track.usual_pa, fall.mean_pa, whole_m3_day)
        part = fall.minutes_count / DAY_COUNT
        lost_m3 = Contested(so_far.low * part, so_far.usual * part, so_far.high * part)
        if isinstance(left, VacuumDrop) and fall.until_ms is None:
            lost_m3_day = sap_lost_m3_day(left.usual_pa, left.drop_pa, whole_m3_day)
    return SensorReview(
        sensor=sensor.id,
        place=place,
        distance_m=distance_from_pump_m(farm, place),
        before_pa=track.median_pa(0, track.from_ms),
        during_pa=track.median_pa(track.from_ms, to_ms),
        worst_pa=track.worst_pa(WORST_COUNT, track.from_ms, to_ms),
        after_pa=track.median_pa(to_ms, end_ms),
        change_pa=-left.drop_pa if isinstance(left, VacuumDrop) else None,
        onset_ms=fall.since_ms if fall is not None else None,
        recovered_ms=fall.until_ms if fall is not None else None,
        sap_lost_m3_day=lost_m3_day,
        sap_lost_m3=lost_m3,
        silent_since_ms=None if known else track.heard_ms,
        unknown=left.reason if isinstance(left, Unknown) else "",
    )
