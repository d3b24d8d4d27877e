"""A line, or the pump itself, has lost vacuum against its own usual.

The usual is each sensor's own, as a share of what the air allows, so neither a long line nor a falling
barometer is a leak. A frozen line is no leak either, and near freezing a line that looks like ice is left as it
was. What the pump lost explains what its lines lost: they are left as they were, and the pump speaks. A drop
that looks like its sensor's own, and a pump that rests in the frost, wake nobody.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.leaks import first_to_walk
from shared.estimates.picture import Picture, air_c, suspects, vacuum_view
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity, Unknown
from shared.tuning.vacuum import VacuumLost
from shared.units import from_si
from shared.words import capitalised, clock_time, inches_of_mercury

ID = "vacuum_lost"
COLD_C = 0.5
"""About here a thermostat stops the pump, and ice shuts lines: under a clear sky they are colder than the air."""
COLD_WAIT_MS = 15 * 60_000
"""Near freezing a loss is given so long to show what it is: a leak levels off within minutes, ice takes a line
on to nothing as its air is replaced through the taps (isothermal emptying)."""
SHUT_RATIO = 0.4
"""A line that holds less of its usual than this while the pump holds its own is shut off from it, not torn: a
torn one would take some inHg off the pump (isothermal pipe flow)."""
UNKNOWN_PLACE = "Walk it from the last sensor that holds."
AT_THE_PUMP = "Look at pump, releaser and moisture trap first; lock out power before you touch them."


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The pump and every line that has a vacuum sensor."""
    lines = dict.fromkeys(sensor.line for sensor in farm.sensors_of(Quantity.VACUUM))
    watched = ((line, _on(farm, line)) for line in lines if line is not None)
    return tuple(
        Subject(line, tuple(sensor.id for sensor in sensors)) for line, sensors in watched if sensors
    )


def judge(farm: Farm, picture: Picture, line: str, now_ms: int) -> Finding:
    """What is found about one line, by its sensor that lost most."""
    drops = [(sensor, vacuum_view(picture, sensor.id, now_ms)) for sensor in _on(farm, line)]
    known = [(sensor, drop) for sensor, drop in drops if isinstance(drop, VacuumDrop)]
    name = capitalised(line)
    if not known:
        sensor, unknown = drops[0]
        sentence = f"{name}: vacuum is not known ({_reason(unknown)})."
        tuning = farm.tuning(VacuumLost, sensor)
        return found(tuning, line, now_ms, Verdict.UNKNOWN, sentence, priority=Priority.WAKE)
    sensor, drop = max(known, key=lambda each: each[1].drop_pa)
    tuning = farm.tuning(VacuumLost, sensor)
    verdict, priority, advice, explained_by = Verdict.NORMAL, Priority.WAKE, "", ""
    now, usual = inches_of_mercury(drop.now_pa), inches_of_mercury(drop.usual_pa)
    if drop.frozen:
        sentence = f"{name} is frozen; nothing flows."
    elif drop.drop_pa <= tuning.clear_drop_pa:
        sentence = f"{name} holds {now}, its usual is {usual}."
    else:
        since = "" if drop.since_ms is None else f" since {clock_time(drop.since_ms, farm.zone, now_ms)}"
        sentence = f"{name} is {inches_of_mercury(drop.drop_pa)} below its usual{since}."
        if line == PUMP and not drop.pump_running:
            sentence = f"The pump has stopped{since}: {now}."
        verdict = Verdict.BETWEEN
        if drop.drop_pa >= tuning.trip_drop_pa and not drop.settling:
            verdict, priority, advice = _taken_as(farm, picture, sensor, drop, now_ms)
            explained_by = "" if line == PUMP else _explained_by(farm, picture, drop, now_ms)
    return found(
        tuning, line, now_ms, verdict, sentence, advice, priority=priority, explained_by=explained_by
    )


def _explained_by(farm: Farm, picture: Picture, drop: VacuumDrop, now_ms: int) -> str:
    if not drop.pump_running:
        return "the pump does not run"
    return "the pump has lost vacuum" if _pump_lost(farm, picture, now_ms) else ""


def _taken_as(
    farm: Farm, picture: Picture, sensor: Sensor, drop: VacuumDrop, now_ms: int
) -> tuple[Verdict, Priority, str]:
    """What a drop that is large enough is taken for, and what to do first."""
    suspected = suspects(picture, farm, now_ms)
    suspect = first_to_walk(suspected) if isinstance(suspected, tuple) else None
    cause = None if suspect is None else suspect.cause
    if suspect is not None and cause is Cause.SENSOR and sensor.id in suspect.sensors:
        return Verdict.ACTIVE, Priority.TELL, f"It looks like {suspect.where}, not the line: look by day."
    if sensor.line == PUMP:
        rests = not drop.pump_running and _is_cold(farm, picture)
        return Verdict.ACTIVE, Priority.TELL if rests else Priority.WAKE, AT_THE_PUMP
    shut = drop.now_pa < SHUT_RATIO * drop.usual_pa and _is_cold(farm, picture)
    undecided = _is_cold(farm, picture) and now_ms - (drop.since_ms or now_ms) < COLD_WAIT_MS
    if shut or undecided or _looks_like_ice(suspected):
        return Verdict.BETWEEN, Priority.TELL, "It may be ice."
    advice = UNKNOWN_PLACE if suspect is None else f"{_cost(suspect)} {_said(suspect)}".strip()
    return Verdict.ACTIVE, Priority.WAKE, advice


def _looks_like_ice(found: tuple[Suspect, ...] | Unknown) -> bool:
    """Whether ice, wherever it is, is likelier than a leak, wherever that is."""
    suspected = found if isinstance(found, tuple) else ()
    ice = sum(suspect.probability for suspect in suspected if suspect.cause is Cause.FROZEN)
    return ice > sum(suspect.probability for suspect in suspected if suspect.cause.is_leak)


def _reason(drop: VacuumDrop | Unknown) -> str:
    return drop.reason if isinstance(drop, Unknown) else ""


def _on(farm: Farm, line: str | None) -> tuple[Sensor, ...]:
    on_line = (sensor for sensor in farm.sensors_of(Quantity.VACUUM) if sensor.line == line)
    return tuple(sensor for sensor in on_line if farm.tuning(VacuumLost, sensor).enabled)


def _is_cold(farm: Farm, picture: Picture) -> bool:
    air = air_c(picture, farm)
    return air is not None and air <= COLD_C


def _pump_lost(farm: Farm, picture: Picture, now_ms: int) -> bool:
    for sensor in _on(farm, PUMP):
        drop = vacuum_view(picture, sensor.id, now_ms)
        if isinstance(drop, VacuumDrop) and drop.drop_pa >= farm.tuning(VacuumLost, sensor).trip_drop_pa:
            return True
    return False


def _said(suspect: Suspect) -> str:
    # However clear the pattern, a walk in the woods may show otherwise.
    chance = min(99, round(100 * suspect.probability))
    return f"Likely {suspect.where} ({chance} in 100)."


def _cost(suspect: Suspect) -> str:
    lost = suspect.sap_lost_m3_day
    if lost is None:
        return ""
    low, high = (f"{round(from_si(v, 'gal')):,}" for v in (lost.low, lost.high))
    return f"Sap lost: {low}-{high} gal a day."


RULE = Rule(ID, subjects, judge)
