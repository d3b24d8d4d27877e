"""A line, or the pump itself, has lost vacuum against its own usual.

The usual is each sensor's own, as a share of what the air allows, so neither a long line nor a falling
barometer is a leak. A frozen line is no leak either, and near freezing a line that looks like ice is left as it
was. What the pump lost explains what its lines lost: they are left as they were, and the pump speaks. A drop
that looks like its sensor's own, and a pump that rests in the frost, wake nobody.
"""

from collector.rules.rule import Rule, Subject
from shared.alerts import Finding, Hold, Priority, Verdict
from shared.estimates.leaks import first_to_walk
from shared.estimates.picture import Picture, air_c, suspects, vacuum_view
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity, Unknown
from shared.tuning import VacuumLost
from shared.units import from_si
from shared.words import capitalised, clock_time, inches_of_mercury

ID = "vacuum_lost"
RESTS_BELOW_C = 0.5
"""A thermostat stops a pump about here: nothing flows, and what flows would freeze in the releaser."""
UNKNOWN_PLACE = "Walk it from the last sensor that holds."
AT_THE_PUMP = "Look at pump, releaser and moisture trap first; lock out power before you touch them."


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The pump and every line that has a vacuum sensor."""
    lines = dict.fromkeys(sensor.line for sensor in farm.sensors_of(Quantity.VACUUM))
    found = ((line, _on(farm, line)) for line in lines if line is not None)
    return tuple(Subject(line, tuple(sensor.id for sensor in sensors)) for line, sensors in found if sensors)


def judge(farm: Farm, picture: Picture, line: str, now_ms: int) -> Finding:
    """What is found about one line, by its sensor that lost most."""
    sensors = _on(farm, line)
    drops = [(vacuum_view(picture, sensor.id, now_ms), _tuning(farm, sensor), sensor) for sensor in sensors]
    known = [(drop, tuning, sensor) for drop, tuning, sensor in drops if isinstance(drop, VacuumDrop)]
    name = capitalised(line)
    if not known:
        sentence = f"{name}: vacuum is not known ({_reason(drops[0][0])})."
        return _finding(line, Verdict.UNKNOWN, drops[0][1], now_ms, sentence)
    drop, tuning, sensor = max(known, key=lambda each: each[0].drop_pa)
    if drop.frozen:
        return _finding(line, Verdict.NORMAL, tuning, now_ms, f"{name} is frozen; nothing flows.")
    now = inches_of_mercury(drop.now_pa)
    if drop.drop_pa <= tuning.clear_drop_pa:
        sentence = f"{name} holds {now}, its usual is {inches_of_mercury(drop.usual_pa)}."
        return _finding(line, Verdict.NORMAL, tuning, now_ms, sentence)
    since = "" if drop.since_ms is None else f" since {clock_time(drop.since_ms, farm.zone, now_ms)}"
    sentence = f"{name} is {inches_of_mercury(drop.drop_pa)} below its usual{since}."
    if line == PUMP and not drop.pump_running:
        sentence = f"The pump has stopped{since}: {now}."
    explained = line != PUMP and (_pump_lost(farm, picture, now_ms) or not drop.pump_running)
    if drop.drop_pa < tuning.trip_drop_pa or explained:
        return _finding(line, Verdict.BETWEEN, tuning, now_ms, sentence)
    found = suspects(picture, farm, now_ms)
    suspect = first_to_walk(found) if isinstance(found, tuple) else None
    if suspect is not None and suspect.cause is Cause.SENSOR and sensor.id in suspect.sensors:
        advice = f"It looks like {suspect.where}, not the line: look at the sensor by day."
        return _finding(line, Verdict.ACTIVE, tuning, now_ms, sentence, advice, Priority.TELL)
    if line == PUMP:
        rests = not drop.pump_running and (air_c(picture, farm) or RESTS_BELOW_C) < RESTS_BELOW_C
        priority = Priority.TELL if rests else Priority.WAKE
        return _finding(line, Verdict.ACTIVE, tuning, now_ms, sentence, AT_THE_PUMP, priority)
    if suspect is not None and suspect.cause is Cause.FROZEN:
        return _finding(line, Verdict.BETWEEN, tuning, now_ms, f"{sentence} It looks like ice.")
    advice = f"{_cost(suspect)} {_said(suspect)}".strip() if suspect is not None else UNKNOWN_PLACE
    return _finding(line, Verdict.ACTIVE, tuning, now_ms, sentence, advice)


def _reason(drop: VacuumDrop | Unknown) -> str:
    return drop.reason if isinstance(drop, Unknown) else ""


def _finding(
    line: str,
    verdict: Verdict,
    tuning: VacuumLost,
    now_ms: int,
    sentence: str,
    advice: str = "",
    priority: Priority = Priority.WAKE,
) -> Finding:
    hold = Hold(tuning.raise_hold_s, tuning.clear_hold_s)
    return Finding(ID, line, verdict, priority, now_ms, hold, sentence, advice)


def _on(farm: Farm, line: str | None) -> tuple[Sensor, ...]:
    on_line = (sensor for sensor in farm.sensors_of(Quantity.VACUUM) if sensor.line == line)
    return tuple(sensor for sensor in on_line if _tuning(farm, sensor).enabled)


def _tuning(farm: Farm, sensor: Sensor) -> VacuumLost:
    tuning = farm.tuning(ID, sensor)
    assert isinstance(tuning, VacuumLost)
    return tuning


def _pump_lost(farm: Farm, picture: Picture, now_ms: int) -> bool:
    for sensor in _on(farm, PUMP):
        drop = vacuum_view(picture, sensor.id, now_ms)
        if isinstance(drop, VacuumDrop) and drop.drop_pa >= _tuning(farm, sensor).trip_drop_pa:
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
