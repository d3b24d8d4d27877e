"""A line, or the pump itself, has lost vacuum against its own usual.

The usual is each sensor's own, as a share of what the air allows, so neither a long line nor a falling
barometer is a leak. Frost, ice and a pump that does not run explain what is lost, and then nobody is told. One
leak is one text: the line it is on speaks, and explains what the others lost by it; a second leak speaks for
itself. A drop that looks like its sensor's own wakes nobody.
"""

from dataclasses import dataclass

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.leaks import first_to_walk
from shared.estimates.one_leak import Lost, spoken_for_by
from shared.estimates.picture import Picture, air_c, vacuum_view
from shared.estimates.pump_run import Pump
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.thermometer import between_c
from shared.estimates.vacuum import HOUR_MS, VacuumDrop
from shared.estimates.woods_views import air_history, pump_view, suspects
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity, Unknown
from shared.tuning.vacuum import VacuumLost
from shared.units import from_si
from shared.words import capitalised, clock_time, inches_of_mercury

ID = "vacuum_lost"
COLD_C = 0.5
"""About here ice shuts lines: under a clear sky they are colder than the air."""
ICE_MOST_C = 1.5
"""In warmer air no line freezes (see estimates.leaks), by a thermometer that stands elsewhere."""
COLD_WAIT_MS = 15 * 60_000
"""Near freezing a loss is given so long to show what it is: a leak levels off within minutes, ice takes a line
on to nothing as its air is replaced through the taps (isothermal emptying)."""
FRESH_MS = 3 * 60_000
"""While lines still fall, who speaks for whom may change from minute to minute."""
FALLING_WAIT_MS = 10 * 60_000
"""So long after its start a loss at the pump that still falls is a pump that has stopped (see pump_run)."""
COLD_WAIT_COUNT = 6
"""The same for a sensor that speaks every few minutes: its medians are as many intervals behind."""
SHUT_RATIO = 0.4
"""A line that holds less of its usual than this while the pump holds its own is shut off from it, not torn: a
torn one would take some inHg off the pump (isothermal pipe flow)."""
WALKED = (Cause.CONDUCTOR, Cause.MAINLINE, Cause.LATERAL, Cause.PUMP)
LEAST_CHANCE = 0.1
"""With a second trouble beside it a place's chance, weighed as if there were but one, means nothing."""
UNKNOWN_PLACE = "Walk it from the last sensor that holds."
AT_THE_PUMP = "Look at pump, releaser and moisture trap first; lock out power before you touch them."
FROST, ICE, NO_PUMP, WEAK_PUMP = (
    "frost",
    "ice, it seems",
    "the pump does not run",
    "the pump has lost vacuum",
)


@dataclass(frozen=True, slots=True)
class _Standing:
    """A line by its sensor that lost most, as if it stood alone."""

    sensor: Sensor
    drop: VacuumDrop
    verdict: Verdict
    priority: Priority = Priority.WAKE
    explained_by: str = ""

    @property
    def wakes(self) -> bool:
        return self.verdict is Verdict.ACTIVE and self.priority is Priority.WAKE and not self.explained_by


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The pump and every line that has a vacuum sensor."""
    return tuple(
        Subject(line, tuple(sensor.id for sensor in sensors)) for line, sensors in _watched(farm).items()
    )


def judge(farm: Farm, picture: Picture, line: str, now_ms: int) -> Finding:
    """What is found about one line, by its sensor that lost most."""
    standing = _standing(farm, picture, line, now_ms)
    name = capitalised(line)
    if standing is None:
        sensor = _watched(farm)[line][0]
        sentence = f"{name}: vacuum is not known ({_reason(vacuum_view(picture, sensor.id, now_ms))})."
        tuning = farm.tuning(VacuumLost, sensor)
        return found(tuning, line, now_ms, Verdict.UNKNOWN, sentence, priority=Priority.WAKE)
    sensor, drop = standing.sensor, standing.drop
    tuning = farm.tuning(VacuumLost, sensor)
    advice, explained_by, verdict = "", standing.explained_by, standing.verdict
    if drop.frozen:
        sentence = "The lines are frozen." if line == PUMP else f"{name} is frozen; nothing flows."
    elif standing.verdict is Verdict.NORMAL:
        now, usual = inches_of_mercury(drop.now_pa), inches_of_mercury(drop.usual_pa)
        sentence = f"{name} holds {now}, its usual is {usual}."
    else:
        since = "" if drop.since_ms is None else f" since {clock_time(drop.since_ms, farm.zone, now_ms)}"
        sentence = f"{name} is {inches_of_mercury(drop.drop_pa)} below its usual{since}."
    if standing.verdict is Verdict.ACTIVE and not explained_by:
        suspected = _suspected(farm, picture, now_ms)
        explained_by = _one_trouble(farm, picture, line, standing, suspected, now_ms)
        advice = _advice(line, standing, suspected)
        if explained_by and now_ms - (drop.since_ms or now_ms) < FRESH_MS:
            verdict = Verdict.BETWEEN
    return found(
        tuning,
        line,
        now_ms,
        verdict,
        sentence,
        advice,
        priority=standing.priority,
        explained_by=explained_by,
    )


def _standing(farm: Farm, picture: Picture, line: str, now_ms: int) -> _Standing | None:
    drops = [(sensor, vacuum_view(picture, sensor.id, now_ms)) for sensor in _watched(farm)[line]]
    known = [(sensor, drop) for sensor, drop in drops if isinstance(drop, VacuumDrop)]
    if not known:
        return None
    sensor, drop = max(known, key=lambda each: each[1].drop_pa)
    tuning = farm.tuning(VacuumLost, sensor)
    if drop.drop_pa <= tuning.clear_drop_pa:
        return _Standing(sensor, drop, Verdict.NORMAL)
    if drop.drop_pa < tuning.trip_drop_pa or drop.settling:
        return _Standing(sensor, drop, Verdict.BETWEEN)
    verdict, priority, explained_by = _taken_as(farm, picture, sensor, drop, now_ms)
    return _Standing(sensor, drop, verdict, tuning.capped(priority), explained_by)


def _taken_as(
    farm: Farm, picture: Picture, sensor: Sensor, drop: VacuumDrop, now_ms: int
) -> tuple[Verdict, Priority, str]:
    """What a drop that is large enough is taken for, and what explains it beside a leak."""
    pump = pump_view(picture, farm, now_ms)
    # Without its own rule nobody else would say that the pump does not run.
    stands = isinstance(pump, Pump) and not pump.runs and farm.rules.pump_not_running.enabled
    if drop.frozen or stands:
        return Verdict.ACTIVE, Priority.WAKE, FROST if drop.frozen else NO_PUMP
    lasts_ms = now_ms - (drop.since_ms or now_ms)
    is_falling = isinstance(pump, Pump) and pump.is_falling and lasts_ms < FALLING_WAIT_MS
    if is_falling and _beyond_pump_pa(farm, picture, sensor, drop, now_ms) < _trip_pa(farm, sensor):
        return Verdict.BETWEEN, Priority.WAKE, ""
    suspected = _suspected(farm, picture, now_ms)
    suspect = first_to_walk(suspected)
    if suspect is not None and suspect.cause is Cause.SENSOR and sensor.id in suspect.sensors:
        return Verdict.ACTIVE, Priority.TELL, ""
    if sensor.line == PUMP:
        return Verdict.ACTIVE, Priority.WAKE, ""
    may_be_ice = _may_be_ice(farm, picture, sensor, drop, now_ms)
    is_cold = (air := air_c(picture, farm)) is not None and air <= COLD_C
    is_shut = is_cold and drop.now_pa < SHUT_RATIO * drop.usual_pa
    wait_ms = max(COLD_WAIT_MS, COLD_WAIT_COUNT * sensor.interval_s * 1000)
    if may_be_ice and is_cold and not is_shut and lasts_ms < wait_ms:
        return Verdict.BETWEEN, Priority.WAKE, ""
    is_ice = may_be_ice and (is_shut or _looks_like_ice(suspected))
    return Verdict.ACTIVE, Priority.WAKE, ICE if is_ice else ""


def _may_be_ice(farm: Farm, picture: Picture, sensor: Sensor, drop: VacuumDrop, now_ms: int) -> bool:
    """Ice takes nothing off the pump, and what was torn in the warm stays torn when it grows cold."""
    pump_pa = drop.drop_pa - _beyond_pump_pa(farm, picture, sensor, drop, now_ms)
    if pump_pa > farm.tuning(VacuumLost, sensor).clear_drop_pa:
        return False
    if drop.since_ms is None:
        return True
    then = between_c(air_history(picture, farm), drop.since_ms - HOUR_MS, drop.since_ms + HOUR_MS)
    return not then or min(then) <= ICE_MOST_C


def _one_trouble(
    farm: Farm,
    picture: Picture,
    line: str,
    standing: _Standing,
    suspected: tuple[Suspect, ...],
    now_ms: int,
) -> str:
    """What else, told of itself, explains what this line lost."""
    if not standing.wakes:
        return ""
    lost = {}
    for name in _watched(farm):
        each = standing if name == line else _standing(farm, picture, name, now_ms)
        if each is not None and each.wakes:
            lost[name] = Lost(each.sensor.id, each.drop, _trip_pa(farm, each.sensor))
    speaker = spoken_for_by(farm, line, lost, suspected)
    if not speaker:
        return ""
    return WEAK_PUMP if speaker == PUMP else f"the loss on {speaker}"


def _advice(line: str, standing: _Standing, suspected: tuple[Suspect, ...]) -> str:
    first, sensor = first_to_walk(suspected), standing.sensor
    if first is not None and first.cause is Cause.SENSOR and sensor.id in first.sensors:
        return f"It looks like {first.where}, not the line: look by day."
    if line == PUMP and (first is None or not first.cause.is_leak):
        return AT_THE_PUMP
    # With two troubles the likeliest cause may be about the other one.
    mine = next((s for s in suspected if s.cause in WALKED and sensor.id in s.sensors), None)
    return UNKNOWN_PLACE if mine is None else f"{_cost(mine)} {_said(mine)}".strip()


def _suspected(farm: Farm, picture: Picture, now_ms: int) -> tuple[Suspect, ...]:
    known = suspects(picture, farm, now_ms)
    return known if isinstance(known, tuple) else ()


def _looks_like_ice(suspected: tuple[Suspect, ...]) -> bool:
    """Whether ice, wherever it is, is likelier than a leak, wherever that is."""
    ice = sum(suspect.probability for suspect in suspected if suspect.cause is Cause.FROZEN)
    return ice > sum(suspect.probability for suspect in suspected if suspect.cause.is_leak)


def _beyond_pump_pa(farm: Farm, picture: Picture, sensor: Sensor, drop: VacuumDrop, now_ms: int) -> float:
    """What it lost beyond what the pump did: no trouble at the pump takes that."""
    if sensor.line == PUMP:
        return 0.0
    pump = [vacuum_view(picture, s.id, now_ms) for s in _watched(farm).get(PUMP, ())]
    known = [each.drop_pa for each in pump if isinstance(each, VacuumDrop)]
    # Without a gauge at the pump the line that lost least shows the most that the pump can have lost.
    if not known:
        lines = [vacuum_view(picture, s.id, now_ms) for s in farm.sensors_of(Quantity.VACUUM)]
        known = [each.drop_pa for each in lines if isinstance(each, VacuumDrop)]
    return drop.drop_pa - max(0.0, min(known, default=0.0))


def _trip_pa(farm: Farm, sensor: Sensor) -> float:
    return farm.tuning(VacuumLost, sensor).trip_drop_pa


def _reason(drop: VacuumDrop | Unknown) -> str:
    return drop.reason if isinstance(drop, Unknown) else ""


def _watched(farm: Farm) -> dict[str, list[Sensor]]:
    lines: dict[str, list[Sensor]] = {}
    for sensor in farm.sensors_of(Quantity.VACUUM):
        if sensor.line is not None and farm.tuning(VacuumLost, sensor).enabled:
            lines.setdefault(sensor.line, []).append(sensor)
    return lines


def _said(suspect: Suspect) -> str:
    if suspect.probability < LEAST_CHANCE:
        return f"Likely {suspect.where}."
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
