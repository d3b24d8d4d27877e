"""A line, or the pump, has lost vacuum over a day or more, though never enough at once for `vacuum_lost`.

The usual follows a slow decline, so each day's hours of good running are held against the best day of the last
week, as shares of what the air allows: neither a falling barometer nor frost nor a pump that rests is a decline.
A single gauge that slides away from all others is `sensor_drifting`'s to tell. One decline is one text.
"""

from statistics import median

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.leaks import first_to_walk
from shared.estimates.one_leak import Lost, spoken_for_by
from shared.estimates.picture import Picture, vacuum_view
from shared.estimates.sensor_peers import drift
from shared.estimates.shares import Decline
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.vacuum import VacuumDrop
from shared.estimates.woods_views import as_drop, decline_suspects, decline_view
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity
from shared.tuning.sensors import SensorDrifting
from shared.tuning.vacuum import VacuumLost, VacuumSlowlyFalling
from shared.units import INHG_PA
from shared.words import capitalised, inches_of_mercury, weekday

ID = "vacuum_slowly_falling"
WEATHER_PA = 1.5 * INHG_PA
"""What the weather can take from one week to the next, where no barometer tells (from memory)."""
HOLD_RATIO = 0.5
"""Lines that lost less than this part of what the pump did hold; friction makes it a little less (isothermal flow)."""
EVERY_MS = 600_000
PUMP_ADVICE = "Belt, oil, filter, relief valve, moisture trap; lock out power first."
UNKNOWN_PLACE = "Walk it by day, from the pump up."


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The pump and every line that has a vacuum sensor; hours decide, so no single reading is looked at."""
    return tuple(Subject(line, ()) for line in _watched(farm))


def judge(farm: Farm, picture: Picture, line: str, now_ms: int) -> Finding:
    """What is found about one line, by its sensor that lost most."""
    sensors, name = _watched(farm)[line], capitalised(line)
    known = [(s, d) for s in sensors if isinstance(d := decline_view(picture, s.id, now_ms), Decline)]
    if not known:
        tuning = farm.tuning(VacuumSlowlyFalling, sensors[0])
        sentence = f"{name}: no day to compare with yet."
        return found(tuning, line, now_ms, Verdict.UNKNOWN, sentence, priority=Priority.TELL)
    sensor, decline = max(known, key=lambda each: each[1].drop_pa)
    tuning = farm.tuning(VacuumSlowlyFalling, sensor)
    now, best = inches_of_mercury(decline.now_pa), inches_of_mercury(decline.best_pa)
    sentence = f"{name} holds {now} over the day, on its best day {best}."
    verdict, advice, explained_by = Verdict.BETWEEN, "", ""
    if decline.drop_pa <= tuning.clear_drop_pa:
        verdict = Verdict.NORMAL
    elif decline.drop_pa >= _trip_pa(farm, sensor):
        verdict = Verdict.ACTIVE
        lost, day = inches_of_mercury(decline.drop_pa), weekday(decline.best_ms, farm.zone)
        sentence = f"{name} has slowly lost {lost} since {day}: {now}, was {best}."
        suspected = decline_suspects(picture, farm, now_ms)
        suspects = suspected if isinstance(suspected, tuple) else ()
        explained_by = _explained_by(farm, picture, line, sensor, decline, suspects, now_ms)
        advice = _advice(line, sensor, suspects)
    return found(
        tuning, line, now_ms, verdict, sentence, advice, priority=Priority.TELL, explained_by=explained_by
    )


def _explained_by(
    farm: Farm,
    picture: Picture,
    line: str,
    sensor: Sensor,
    decline: Decline,
    suspects: tuple[Suspect, ...],
    now_ms: int,
) -> str:
    drop, rule = vacuum_view(picture, sensor.id, now_ms), farm.tuning(VacuumLost, sensor)
    # Told at once when it came, and standing until it is nearly mended or has become usual.
    stands = isinstance(drop, VacuumDrop) and drop.drop_pa > rule.clear_drop_pa
    if rule.enabled and stands and decline.worst_pa >= rule.trip_drop_pa:
        return "the vacuum lost"
    drifting = farm.tuning(SensorDrifting, sensor)
    drifted_pa = drift(picture.health, farm, sensor, drifting.trip_vacuum_pa) if drifting.enabled else 0.0
    if drifted_pa >= drifting.trip_vacuum_pa:
        return f"{sensor.id}, which drifts"
    if line == PUMP and _lines_hold(farm, picture, decline, now_ms):
        return f"{sensor.id}, as the lines hold"
    suspect = first_to_walk(suspects)
    if suspect is not None and suspect.cause is Cause.SENSOR and sensor.id in suspect.sensors:
        return f"{suspect.where}, it seems"
    lost = {name: each for name in _watched(farm) if (each := _lost(farm, picture, name, now_ms)) is not None}
    speaker = spoken_for_by(farm, line, lost, suspects)
    return f"what {speaker} has slowly lost" if speaker else ""


def _lines_hold(farm: Farm, picture: Picture, decline: Decline, now_ms: int) -> bool:
    """What the pump truly loses, its lines lose as well."""
    gauges = (s for s in farm.sensors_of(Quantity.VACUUM) if s.line != PUMP)
    known = [d.drop_pa for s in gauges if isinstance(d := decline_view(picture, s.id, now_ms), Decline)]
    return bool(known) and median(known) < HOLD_RATIO * decline.drop_pa


def _lost(farm: Farm, picture: Picture, line: str, now_ms: int) -> Lost | None:
    found = []
    for sensor in _watched(farm)[line]:
        decline = decline_view(picture, sensor.id, now_ms)
        if isinstance(decline, Decline) and decline.drop_pa >= _trip_pa(farm, sensor):
            found.append(Lost(sensor.id, as_drop(decline), _trip_pa(farm, sensor)))
    return max(found, key=lambda each: each.drop.drop_pa, default=None)


def _trip_pa(farm: Farm, sensor: Sensor) -> float:
    weather_pa = 0.0 if farm.sensors_of(Quantity.AIR_PRESSURE) else WEATHER_PA
    return farm.tuning(VacuumSlowlyFalling, sensor).trip_drop_pa + weather_pa


def _advice(line: str, sensor: Sensor, suspects: tuple[Suspect, ...]) -> str:
    suspect = first_to_walk(suspects)
    if suspect is None or (suspect.cause.is_leak and sensor.id not in suspect.sensors):
        return PUMP_ADVICE if line == PUMP else UNKNOWN_PLACE
    if suspect.cause.is_leak:
        return f"Likely {suspect.where} ({min(99, round(100 * suspect.probability))} in 100)."
    return PUMP_ADVICE if suspect.cause is Cause.PUMP else UNKNOWN_PLACE


def _watched(farm: Farm) -> dict[str, list[Sensor]]:
    lines: dict[str, list[Sensor]] = {}
    for sensor in farm.sensors_of(Quantity.VACUUM):
        if sensor.line is not None and farm.tuning(VacuumSlowlyFalling, sensor).enabled:
            lines.setdefault(sensor.line, []).append(sensor)
    return lines


RULE = Rule(ID, subjects, judge, every_ms=EVERY_MS)
