"""The morning after: line by line before, during and after a storm, where to walk first, and what it cost.

Stored rows are judged with the same drops, onsets and suspects as the night's alerts, but with hindsight: usual
is the last good hour before the storm, each trouble is told from what changed as it began, and frost and rests of
the pump are told apart from what a limb did (see tracks, falls and troubles). Sap is reckoned by what ran into
the tanks (see sap_run).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from shared.errors import InvalidArgument
from shared.estimates.falls import Instant, falls_of
from shared.estimates.lines import cut
from shared.estimates.onset import MINUTE_MS
from shared.estimates.sap_run import day_of, sap_run
from shared.estimates.storm_rows import Judge, SensorReview, Stand
from shared.estimates.storm_scene import LATE_COUNT, Scene, drops_between, ranked
from shared.estimates.suspects import Suspect, added
from shared.estimates.tracks import (
    BEFORE_COUNT,
    Minute,
    Rows,
    Span,
    Track,
    Weather,
    in_minutes,
    pump_off,
    rests_of,
    sealed_of,
    track_of,
    weather_of,
)
from shared.estimates.troubles import Trouble, troubles_of
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.physics.contested import Contested
from shared.readings import Quantity, Unknown

LATELY_MS = 60 * MINUTE_MS
"""What is lost a day is reckoned by how the sap ran in the last hour."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What the farm's sensors said, from a day before the storm on; rows in SI and in order of time."""

    vacuum: Mapping[str, Rows]
    """By sensor; one without rows counts as silent."""
    air_pressure: Rows = ()
    """Without a barometer a front that comes with the storm shows as a small drop on all lines."""
    air_temperature: Rows = ()
    pump_running: Rows = ()
    levels: Mapping[str, Rows] = field(default_factory=dict)
    """Of tanks, by sensor."""


@dataclass(frozen=True, slots=True)
class StormReview:
    """The whole farm's storm."""

    from_ms: int
    to_ms: int
    """Up to when it was looked at: what is told as now is of then."""
    sensors: tuple[SensorReview, ...]
    """Line by line, outwards from the pump."""
    troubles: tuple[Trouble, ...]
    """One after the other: what is still down first, and the larger before the smaller."""
    suspects: tuple[Suspect, ...] | Unknown
    """Where to walk first: the causes of the first trouble; where there is none, of what little changed."""
    pump_off: tuple[Span, ...]
    recovered: bool | None
    """Whether all that fell has come back; None where nothing fell, or nobody can tell."""
    sap_lost_m3_day: Contested | None
    sap_lost_m3: Contested | None
    tap_m3_day: Contested
    """What a tap gives a day at its usual vacuum, as the sap ran at last."""
    is_sap_measured: bool
    """Whether tanks told it; else it is a good day's gallon."""


def storm_review(farm: Farm, heard: Heard, from_ms: int, to_ms: int) -> StormReview:
    """What a storm between two times did.

    Raises:
        InvalidArgument: the storm ends before it begins, or rows are not of a vacuum sensor of the farm.
    """
    if not from_ms < to_ms:
        raise InvalidArgument("to_ms", to_ms, f"after from_ms, {from_ms}")
    sensors = {sensor.id: sensor for sensor in farm.sensors_of(Quantity.VACUUM)}
    strange = sorted(set(heard.vacuum) - set(sensors))
    if strange:
        raise InvalidArgument("vacuum", strange, "of vacuum sensors of this farm")
    weather = weather_of(farm, heard.air_pressure, heard.air_temperature)
    offs, tracks = _followed(farm, heard, weather, from_ms, to_ms)
    known = {name: track for name, track in tracks.items() if track.drops_pa}
    taps = cut(farm, (sensors[name] for name in known)).taps_counts() if known else {}
    run = sap_run(
        farm,
        heard.levels,
        {name: track.usual_pa for name, track in known.items()},
        {name: list(zip(known[name].minutes_ms, known[name].vacuums_pa, strict=True)) for name in known},
        taps,
        weather,
    )
    tap_m3_day = day_of(run, (to_ms - LATELY_MS, to_ms - LATELY_MS // 2, to_ms))
    storm_offs = tuple((a, min(b, to_ms)) for a, b in offs if b > from_ms and a < to_ms)
    frost = tuple(off for off in storm_offs if weather.is_cold(off[0], is_back=True))
    warm = tuple(off for off in storm_offs if off not in frost)
    falls = {name: falls_of(track) for name, track in tracks.items()}
    scene = Scene(farm, tracks, falls, weather, warm, frost, from_ms, to_ms, run)
    troubles = troubles_of(scene)
    judge = Judge(scene, taps, troubles, tap_m3_day)
    rows = [judge.review(sensors[name]) for name in sensors]
    order = {line.id: number for number, line in enumerate(farm.lines)}
    rows.sort(key=lambda row: (order.get(row.place.line, -1), row.distance_m))
    return StormReview(
        from_ms=from_ms,
        to_ms=to_ms,
        sensors=tuple(rows),
        troubles=troubles,
        suspects=troubles[0].suspects if troubles else _of_what_changed(scene),
        pump_off=storm_offs,
        recovered=_has_recovered(rows),
        sap_lost_m3_day=added(row.sap_lost_m3_day for row in rows if row.sap_lost_m3_day is not None),
        sap_lost_m3=added(row.sap_lost_m3 for row in rows if row.sap_lost_m3 is not None),
        tap_m3_day=tap_m3_day,
        is_sap_measured=run.is_measured(to_ms),
    )


def _followed(
    farm: Farm, heard: Heard, weather: Weather, from_ms: int, end_ms: int
) -> tuple[tuple[Span, ...], dict[str, Track]]:
    """When the pump was off, and every sensor's minutes."""
    minutes = {s.id: in_minutes(heard.vacuum.get(s.id, ())) for s in farm.sensors_of(Quantity.VACUUM)}
    at_pump = {name for name in minutes if farm.sensor_by_id[name].line == PUMP}
    pumps = [minutes[name] for name in minutes if name in at_pump and minutes[name]]
    lines = [minutes[name] for name in minutes if name not in at_pump]
    offs = pump_off(heard.pump_running, pumps, lines, end_ms)
    rests, sealed = rests_of(offs), sealed_of(pumps, lines)
    return offs, {
        name: track_of(rows, weather, rests | sealed if name in at_pump else rests, from_ms, end_ms)
        for name, rows in minutes.items()
    }


def known_from_ms(farm: Farm, heard: Heard, from_ms: int, end_ms: int) -> int:
    """From when on a review can tell something: `from_ms`, or later when half the sensors have a usual."""
    weather = weather_of(farm, heard.air_pressure, heard.air_temperature)
    _, tracks = _followed(farm, heard, weather, end_ms, end_ms)
    ready_ms = sorted(
        open_ms[min(BEFORE_COUNT, len(open_ms)) - 1]
        for track in tracks.values()
        if (
            open_ms := [
                t for t, kind in zip(track.minutes_ms, track.standings, strict=True) if kind is Minute.OPEN
            ]
        )
    )
    return max(from_ms, ready_ms[len(ready_ms) // 2] + MINUTE_MS) if ready_ms else from_ms


def _has_recovered(rows: Sequence[SensorReview]) -> bool | None:
    fell = [row for row in rows if row.onset is not None]
    if any(row.stand is Stand.DOWN for row in fell):
        return False
    return True if fell and all(row.stand in (Stand.BACK, Stand.HELD) for row in fell) else None


def _of_what_changed(scene: Scene) -> tuple[Suspect, ...] | Unknown:
    before = Instant(scene.from_ms, scene.from_ms)
    drops = drops_between(scene, before, scene.end_ms, LATE_COUNT, {})
    return ranked(scene, drops, scene.end_ms, scene.end_ms)
