"""A sensor shows the very same value while it should move: stuck, or frozen.

Its reading alone cannot tell ice from any other cause, so frozen is no rule of its own: in the frost the advice
is another one. What it watches is not watched; a tank whose level stands still is not known.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture, air_c, stuck_view
from shared.estimates.sensor_health import NEED_NOT_MOVE
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.readings import Quantity
from shared.tuning.sensors import SensorStuck
from shared.units import Dimension
from shared.words import capitalised, clock_time, degrees, inches_of_mercury

ID = "sensor_stuck"
FREEZING_C = 0.0
FREEZES = (Quantity.VACUUM, Quantity.LEVEL)


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every sensor that must move some time."""
    return tuple(
        Subject(sensor.id, ())
        for sensor in farm.sensors
        if sensor.quantity not in NEED_NOT_MOVE and farm.tuning(SensorStuck, sensor).enabled
    )


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor."""
    sensor = farm.sensor_by_id[subject]
    tuning, name = farm.tuning(SensorStuck, sensor), capitalised(subject)
    stuck = stuck_view(picture, farm, sensor, tuning.least_s)
    if stuck is None:
        return found(tuning, subject, now_ms, Verdict.NORMAL, f"{name} moves.", priority=Priority.TELL)
    since = clock_time(stuck.since_ms, farm.zone, now_ms)
    sentence = f"{name} has shown {_shown(sensor, stuck.value)} since {since}, to the last digit."
    if sensor.quantity is Quantity.LEVEL:
        filling = ", and it was filling" if stuck.was_filling else ""
        tank = capitalised(str(sensor.tank))
        sentence = f"{tank} tank is not watched: {subject} stands still since {since}{filling}."
    air = air_c(picture, farm)
    advice = "Look at the sensor, its tube and wire."
    if sensor.quantity in FREEZES and air is not None and air <= FREEZING_C:
        advice = "It may be frozen: warm it gently, without a flame."
    return found(tuning, subject, now_ms, Verdict.ACTIVE, sentence, advice, priority=Priority.TELL)


def _shown(sensor: Sensor, value: float) -> str:
    if sensor.facts.dimension is Dimension.TEMPERATURE:
        return degrees(value)
    return inches_of_mercury(value) if sensor.facts.dimension is Dimension.PRESSURE else "the same"


RULE = Rule(ID, subjects, judge, every_ms=300_000)
