"""How things stand, in words: each line, the fire, and what is not watched; all pages print the same."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from dashboard.sources import Sources
from dashboard.words import (
    Headline,
    Note,
    Tone,
    Top,
    asking,
    end_name,
    number,
    place_name,
)
from shared.alerts import Alert
from shared.estimates.fire import Fire, FireState
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity, Reading, Unknown
from shared.tuning.sensors import SensorSilent
from shared.tuning.vacuum import VacuumLost
from shared.units import from_si
from shared.words import clock_time, duration

WITHOUT_IT = {
    Quantity.VACUUM: "Leaks there would not be seen.",
    Quantity.LEVEL: "Its filling would not be seen.",
    Quantity.STACK_TEMPERATURE: "The fire would not be seen.",
    Quantity.SAP_TEMPERATURE: "Warm sap would not be seen.",
    Quantity.RUNNING: "A pump that stops would be seen late.",
}


@dataclass(frozen=True, slots=True)
class Facts:
    """What every page asks first."""

    farm: Farm
    now_ms: int
    latest: Mapping[str, Reading]
    alerts: tuple[Alert, ...]
    heartbeat: str = ""
    """What the collector said last of its pings to an outside watchdog (collector.heartbeat); empty: it pings none."""

    @property
    def heard_ms(self) -> int | None:
        """When anything was measured last; now, where the farm file says that silence means nothing."""
        last_ms = max((reading.measured_ms for reading in self.latest.values()), default=None)
        means_nothing = last_ms is not None and not self.farm.rules.sensor_silent.enabled
        return self.now_ms if means_nothing else last_ms

    def is_active(self, rule: str, *subjects: str) -> bool:
        """Whether that rule has an alert about one of these that is active and not paused."""
        return any(
            a.is_active and not a.is_shelved(self.now_ms)
            for a in self.alerts
            if a.rule == rule and a.subject in subjects
        )


def facts(sources: Sources) -> Facts:
    """Ask the store."""
    reader = sources.reader
    _, heartbeat = reader.health().get("heartbeat", (0, ""))
    return Facts(sources.farm, sources.clock(), reader.latest(), tuple(reader.alerts()), heartbeat)


def top_of(known: Facts, page: str, headline: Headline) -> Top:
    """What stands above every page."""
    return Top(known.farm, page, clock_words(known), len(asking(known.alerts, known.now_ms)), headline)


def clock_words(known: Facts) -> str:
    """`Tue 24 Mar, 02:41 · 39 °F`: the farm's own time, and its air where a thermometer tells."""
    local = datetime.fromtimestamp(known.now_ms / 1000, UTC).astimezone(known.farm.zone)
    said = f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"
    for sensor in known.farm.sensors_of(Quantity.AIR_TEMPERATURE):
        reading = known.latest.get(sensor.id)
        if reading is not None and silent_s(known, sensor) is None:
            return f"{said} · {number(from_si(reading.value, 'degF'))} °F"
    return said


def silent_s(known: Facts, sensor: Sensor) -> float | None:
    """How long a sensor has been silent; infinity where it was never heard.

    None while it is not, and where the farm file says that silence means nothing.
    """
    reading = known.latest.get(sensor.id)
    if reading is None:
        return float("inf")
    rule = known.farm.tuning(SensorSilent, sensor)
    if not rule.enabled:
        return None
    age_s = (known.now_ms - reading.measured_ms) / 1000
    return age_s if age_s > max(rule.least_s, rule.missed_count * sensor.interval_s) else None


def silent_words(age_s: float) -> str:
    """`silent 3 h 05 min`."""
    return "never heard" if age_s == float("inf") else f"silent {duration(age_s)}"


@dataclass(frozen=True, slots=True)
class Unwatched:
    """What is not watched: a sensor that does not speak, and what is not seen without it; or the watch itself."""

    name: str
    silence: str
    consequence: str
    count: int = 1
    """How many sensors it stands for."""


def unwatched(known: Facts) -> tuple[Unwatched, ...]:
    """What is not watched now; sensors that were never heard stand together at the end."""
    silent: list[Unwatched] = [*_unpinged(known)]
    never: list[str] = []
    for sensor in known.farm.sensors:
        age_s = silent_s(known, sensor)
        if age_s == float("inf"):
            never.append(place_name(known.farm, sensor))
        elif age_s is not None:
            consequence = WITHOUT_IT.get(sensor.quantity, "")
            silent.append(Unwatched(place_name(known.farm, sensor), silent_words(age_s), consequence))
    if never:
        silent.append(Unwatched(f"{len(never)} never heard", "", "; ".join(never), len(never)))
    return tuple(silent)


PINGS_MISSED = 2
"""As many may be late or lost; the outside watchdog itself should be set to wait as long."""


def _unpinged(known: Facts) -> Iterator[Unwatched]:
    """The watch itself, where an outside watchdog should be pinged and was not."""
    if not known.heartbeat:
        return
    told = json.loads(known.heartbeat)
    silence_s = (known.now_ms - (told["pinged_ms"] or told["started_ms"])) / 1000
    if silence_s > PINGS_MISSED * told["every_s"]:
        why = f" ({told['trouble']})" if told["trouble"] else ""
        yield Unwatched(
            "Outside watchdog",
            f"not pinged for {duration(silence_s)}",
            f"Were this machine to stop, nobody might be told{why}.",
            count=0,
        )


PUMP_OFF = "pump off"
SCATTER_INHG = 0.5
"""A difference that is a gauge's own scatter (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class VacuumRow:
    """One vacuum sensor; `vacuum_inhg` is None where it is silent."""

    sensor: Sensor
    name: str
    end: str
    vacuum_inhg: float | None
    usual_inhg: float | None
    tone: Tone
    notes: tuple[Note, ...]


def vacuum_row(known: Facts, sensor: Sensor, drop: VacuumDrop | Unknown) -> VacuumRow:
    """How that sensor stands against its usual."""
    reading = known.latest.get(sensor.id)
    age_s = silent_s(known, sensor)
    is_heard = age_s is None and reading is not None
    vacuum_inhg = from_si(reading.value, "inHg") if reading is not None and is_heard else None
    usual_inhg = from_si(drop.usual_pa, "inHg") if isinstance(drop, VacuumDrop) else None
    notes: tuple[Note, ...]
    if age_s is not None:
        tone, notes = Tone.SOFT, (Note(silent_words(age_s)),)
    elif isinstance(drop, Unknown):
        tone, notes = Tone.SOFT, (Note(drop.reason),)
    else:
        tone, notes = _against_usual(known, sensor, drop)
    return VacuumRow(
        sensor,
        place_name(known.farm, sensor),
        end_name(known.farm, sensor),
        vacuum_inhg,
        usual_inhg,
        tone,
        notes,
    )


def _against_usual(known: Facts, sensor: Sensor, drop: VacuumDrop) -> tuple[Tone, tuple[Note, ...]]:
    if drop.above_attainable:
        return Tone.MIND, (Note("shows more vacuum than there is air: check the gauge", Tone.MIND),)
    if not drop.pump_running:
        return Tone.SOFT, (Note(PUMP_OFF),)
    rule = known.farm.tuning(VacuumLost, sensor)
    below_inhg = from_si(drop.drop_pa, "inHg")
    also: tuple[Note, ...] = (Note("lines frozen"),) if drop.frozen else ()
    if sensor.line == PUMP:
        also += (Note(f"today's air allows {number(from_si(drop.attainable_pa, 'inHg'), 1)}"),)
    if abs(below_inhg) < SCATTER_INHG:
        return Tone.INK, (Note(f"within {number(max(0.1, abs(below_inhg)), 1)} of its usual"), *also)
    if below_inhg < 0:
        return Tone.INK, (Note(f"{number(-below_inhg, 1)} above its usual"), *also)
    since = f" since {clock_time(drop.since_ms, known.farm.zone, known.now_ms)}" if drop.since_ms else ""
    said = f"{number(below_inhg, 1)} below its usual{since}"
    if drop.drop_pa < rule.trip_drop_pa or drop.frozen:
        return Tone.INK, (Note(said), *also)
    tone = Tone.ACT if known.is_active("vacuum_lost", sensor.line or "", sensor.id) else Tone.MIND
    return tone, (Note(f"▼ {said}", tone), *also)


@dataclass(frozen=True, slots=True)
class FireRow:
    """The fire; `stack_f` is None where the stack is silent or not watched."""

    stack_f: float | None
    sentence: str
    tone: Tone
    notes: tuple[Note, ...]


FIRE_SENTENCES = {
    FireState.OUT: "The fire is out.",
    FireState.LEARNING: "The fire is lit.",
    FireState.STEADY: "The fire burns steadily.",
    FireState.DOOR_OPEN: "The fire burns; its door is open, or was just now.",
    FireState.LOW: "The fire is lower than its usual.",
    FireState.DYING: "The fire is dying.",
    FireState.BURNING_DOWN: "The fire burns down, as you want it.",
}


def fire_row(known: Facts, burning: Fire | Unknown) -> FireRow:
    """What the fire does, in a sentence, and what is known of this boil."""
    if isinstance(burning, Unknown):
        return FireRow(None, "The fire is not watched.", Tone.SOFT, (Note(burning.reason),))
    farm, now_ms = known.farm, known.now_ms
    sentence, tone = FIRE_SENTENCES[burning.state], Tone.INK
    since = clock_time(burning.since_ms, farm.zone, now_ms)
    notes = [Note(f"{'lit' if burning.is_lit else 'out'} since {since}")]
    if burning.state is FireState.DYING:
        sentence, tone = "The fire is dying: put wood on, or let it go out.", Tone.ACT
    elif burning.state is FireState.LOW:
        tone = Tone.MIND
    if burning.over_fire is not None:
        peak = number(from_si(burning.over_fire.peak_c, "degF"))
        sentence = f"Over-fire: {peak} °F in the stack."
        tone = Tone.ACT
        notes.insert(0, Note(f"since {clock_time(burning.over_fire.since_ms, farm.zone)}", Tone.ACT))
    if burning.is_lit and burning.firings_ms:
        last_s = (now_ms - burning.firings_ms[-1]) / 1000
        at_least = "" if burning.firings_complete else "at least "
        count = len(burning.firings_ms)
        notes.append(Note(f"fired {at_least}{count} times, last {duration(max(0.0, last_s))} ago"))
    if burning.is_lit and burning.firings_complete and burning.median_interval_s is not None:
        notes.append(Note(f"every {duration(burning.median_interval_s)}"))
    return FireRow(from_si(burning.stack_c, "degF"), sentence, tone, tuple(notes))


def by_line(rows: Sequence[VacuumRow]) -> dict[str, list[VacuumRow]]:
    """The rows of each line together, in the farm file's order."""
    lines: dict[str, list[VacuumRow]] = {}
    for row in rows:
        lines.setdefault(row.sensor.line or "", []).append(row)
    return lines
