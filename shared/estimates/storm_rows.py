"""What one sensor saw of a storm: before, during, after; when it fell, whether it is back, and what that cost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from statistics import median

from shared.estimates.falls import WORST_COUNT, Fall, Instant
from shared.estimates.lines import Place, distance_from_pump_m, place_of
from shared.estimates.onset import MINUTE_MS
from shared.estimates.storm_cost import cost_m3, day_m3
from shared.estimates.storm_scene import LATE_COUNT, Scene, is_seen
from shared.estimates.suspects import Cause
from shared.estimates.tracks import Minute, Span, Track, stuck
from shared.estimates.troubles import TOGETHER_MS, Trouble
from shared.estimates.vacuum import silent_words
from shared.farm_parts import Sensor
from shared.physics.contested import Contested
from shared.words import clock_time


class Stand(Enum):
    """How a sensor's line stood at the end."""

    HELD = "held"
    DOWN = "down"
    BACK = "back"
    """It fell, and is back at its usual."""
    FROZEN = "frozen"
    PUMP_OFF = "pump off"
    UNKNOWN = "unknown"
    """Silent, stuck, or never known well enough."""


@dataclass(frozen=True, slots=True)
class SensorReview:
    """What one sensor saw of the storm; pressures are medians, None where it was silent."""

    sensor: str
    place: Place
    distance_m: float
    """From the pump, along the lines."""
    stand: Stand
    before_pa: float | None
    during_pa: float | None
    """While it was down; where it held, all through the storm."""
    worst_pa: float | None
    """Of the storm's lowest minutes."""
    after_pa: float | None
    """Of the last quarter of an hour."""
    change_pa: float | None
    """After less before, without what the barometer took: negative is worse."""
    onset: Instant | None
    """When it began to fall; None if it did not."""
    in_frost: bool
    """It fell while it froze: ice, unless a trouble tells otherwise."""
    recovered: Instant | None
    """When it was back at its usual; None if it did not fall, or is not known to be back."""
    sap_lost_m3_day: Contested | None
    """If it stays as it is, by the taps this sensor speaks for; None unless it is down."""
    sap_lost_m3: Contested | None
    """So far; None when nothing was lost, or nobody can tell."""
    silent_since_ms: int | None
    """When it was last heard, if it was no longer heard at the end."""
    unknown: str
    """Why there is no verdict; empty where there is one."""


@dataclass(frozen=True, slots=True)
class Judge:
    """Says of each sensor what it saw."""

    scene: Scene
    taps_counts: Mapping[str, float]
    troubles: tuple[Trouble, ...]
    tap_m3_day: Contested

    def review(self, sensor: Sensor) -> SensorReview:
        """What that sensor saw."""
        scene, name = self.scene, sensor.id
        track, falls = scene.tracks[name], scene.falls[name]
        place = place_of(scene.farm, sensor)
        lately = (scene.end_ms - LATE_COUNT * MINUTE_MS, scene.end_ms + 1)
        storm = (track.from_ms, scene.end_ms + 1)
        unknown = self._unknown(name)
        fall = _told(falls)
        stand = Stand.UNKNOWN if unknown else self._stand(track, falls)
        change_pa = _change_pa(track, lately) if stand in (Stand.HELD, Stand.BACK, Stand.DOWN) else None
        taps, lost_m3_day, lost_m3 = self.taps_counts.get(name, 0.0), None, None
        if track.drops_pa and (falls or scene.offs):
            believed = _believed(falls, name, self.troubles)
            lost_m3 = cost_m3(track, believed, scene.offs, taps, scene.run, scene.end_ms)
            if stand is Stand.DOWN and change_pa is not None and fall in believed:
                lost_m3_day = day_m3(track.usual_pa, -change_pa, taps, self.tap_m3_day)
        is_heard = track.heard_ms is not None and track.heard_ms >= scene.end_ms - _patience_ms(track)
        return SensorReview(
            sensor=name,
            place=place,
            distance_m=distance_from_pump_m(scene.farm, place),
            stand=stand,
            before_pa=track.usual_pa if track.drops_pa else None,
            during_pa=_during_pa(track, fall, storm),
            worst_pa=track.worst_pa(WORST_COUNT, storm),
            after_pa=track.median_pa(lately),
            change_pa=change_pa,
            onset=fall.since if fall is not None else None,
            in_frost=fall is not None and fall.is_cold,
            recovered=fall.until if fall is not None and not unknown else None,
            sap_lost_m3_day=lost_m3_day,
            sap_lost_m3=lost_m3 if lost_m3 is not None and lost_m3.high > 0.0 else None,
            silent_since_ms=None if is_heard else track.heard_ms,
            unknown=unknown,
        )

    def _unknown(self, name: str) -> str:
        scene, track = self.scene, self.scene.tracks[name]
        if track.heard_ms is None:
            return "nothing heard"
        if track.heard_ms < scene.end_ms - _patience_ms(track):
            return silent_words(scene.end_ms - track.heard_ms)
        if not track.drops_pa:
            return "too little heard before the storm to know its usual"
        since_ms = stuck(scene.tracks, scene.end_ms).get(name)
        if since_ms is not None:
            return f"stuck at one figure since {clock_time(since_ms, scene.farm.zone, scene.end_ms)}"
        return ""

    def _stand(self, track: Track, falls: Sequence[Fall]) -> Stand:
        if not is_seen(track, self.scene.end_ms):
            return Stand.PUMP_OFF if track.standings[-1] is Minute.REST else Stand.FROZEN
        if any(fall.until is None for fall in falls):
            return Stand.DOWN
        return Stand.BACK if falls else Stand.HELD


def _patience_ms(track: Track) -> int:
    return max(LATE_COUNT * MINUTE_MS, track.gap_ms)


def _told(falls: Sequence[Fall]) -> Fall | None:
    """The one that the row tells of: what is still down, else the deepest."""
    still = [fall for fall in falls if fall.until is None]
    return max(still or falls, key=lambda fall: (not fall.is_cold, fall.worst_pa), default=None)


def _during_pa(track: Track, fall: Fall | None, storm: Span) -> float | None:
    if fall is None:
        return track.median_pa(storm, but=Minute.REST)
    last_ms = storm[1] if fall.until is None else fall.until.at_ms
    return track.median_pa((fall.since.at_ms, last_ms), but=Minute.REST)


def _change_pa(track: Track, lately: Span) -> float | None:
    drops_pa = [track.drops_pa[i] for i in track.within(lately) if track.standings[i] is Minute.OPEN]
    return -median(drops_pa) if drops_pa else None


def _believed(falls: Sequence[Fall], name: str, troubles: Sequence[Trouble]) -> list[Fall]:
    """Falls less those that were the sensor's own, or ice: no sap is lost by them."""
    doubted = [
        trouble
        for trouble in troubles
        if name in trouble.sensors
        and isinstance(trouble.suspects, tuple)
        and trouble.suspects[0].cause in (Cause.SENSOR, Cause.FROZEN)
    ]
    return [
        fall
        for fall in falls
        if not any(
            abs(step.at_ms - trouble.onset.at_ms) <= TOGETHER_MS for step in fall.steps for trouble in doubted
        )
    ]
