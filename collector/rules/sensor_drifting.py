"""A sensor drifts away, over hours, from others that it cannot truly differ from so.

A gauge at the far end of a line could also have a leak beside it that grows as slowly, so the sentence does not
say that the sensor is at fault. What came within minutes is a loss of vacuum, and no business of this rule.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.estimates.sensor_peers import can_drift, drift
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.readings import Quantity
from shared.tuning.sensors import SensorDrifting
from shared.units import from_si
from shared.words import capitalised, inches_of_mercury

ID = "sensor_drifting"
CLEAR_RATIO = 0.6


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Gauges where there are three or more; the second and further level of a tank, or thermometer of the air."""
    return tuple(
        Subject(sensor.id, ())
        for sensor in farm.sensors
        if can_drift(farm, sensor) and farm.tuning(SensorDrifting, sensor).enabled
    )


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor."""
    sensor = farm.sensor_by_id[subject]
    tuning, name = farm.tuning(SensorDrifting, sensor), capitalised(subject)
    limit = _limit(tuning, sensor)
    drifted = drift(picture.health, farm, sensor, limit)
    if abs(drifted) < limit:
        verdict = Verdict.BETWEEN if abs(drifted) > CLEAR_RATIO * limit else Verdict.NORMAL
        return found(
            tuning, subject, now_ms, verdict, f"{name} goes with the others.", priority=Priority.TELL
        )
    less = "less" if drifted > 0 else "more"
    sentence = (
        f"{name} shows {_amount(sensor, abs(drifted))} {less} than the others allow; it came over hours."
    )
    advice = "Hold a second one to it by day."
    if sensor.quantity is Quantity.VACUUM:
        advice = "The gauge, or a leak beside it that grows: hold a second gauge to it by day."
    return found(tuning, subject, now_ms, Verdict.ACTIVE, sentence, advice, priority=Priority.TELL)


def _limit(tuning: SensorDrifting, sensor: Sensor) -> float:
    match sensor.quantity:
        case Quantity.VACUUM:
            return tuning.trip_vacuum_pa
        case Quantity.LEVEL:
            return tuning.trip_level_m
        case _:
            return tuning.trip_air_k


def _amount(sensor: Sensor, drifted: float) -> str:
    match sensor.quantity:
        case Quantity.VACUUM:
            return inches_of_mercury(drifted)
        case Quantity.LEVEL:
            return f"{from_si(drifted, 'in'):.1f} in"
        case _:
            return f"{1.8 * drifted:.0f}F"


RULE = Rule(ID, subjects, judge, every_ms=1_800_000)
