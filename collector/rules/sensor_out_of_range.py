"""What a sensor says is beyond what can be, a fault signal, or not readable, and so it is refused.

Also what is taken but cannot be true on this farm: a barometer set to sea level, more vacuum than there is air.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.errors import InvalidArgument
from shared.estimates.picture import Picture, vacuum_view
from shared.estimates.sensor_health import WRONG_CLOCK
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.physics.air import station_pressure_from_barometer_pa
from shared.readings import Quantity
from shared.tuning.sensors import SensorOutOfRange
from shared.units import from_si
from shared.words import capitalised, clock_time, inches_of_mercury

ID = "sensor_out_of_range"


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every sensor."""
    return tuple(Subject(s.id, ()) for s in farm.sensors if farm.tuning(SensorOutOfRange, s).enabled)


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor."""
    sensor = farm.sensor_by_id[subject]
    tuning, name = farm.tuning(SensorOutOfRange, sensor), capitalised(subject)
    health = picture.health.get(subject)
    verdict, sentence, advice = Verdict.NORMAL, f"{name} shows what can be.", ""
    if health is not None and health.refused_count and health.refused_kind not in WRONG_CLOCK:
        since = clock_time(health.refused_from_ms, farm.zone, now_ms)
        verdict = Verdict.ACTIVE if health.refused_count >= tuning.least_count else Verdict.BETWEEN
        sentence = f"{name} is refused since {since}: {health.refused_kind}."
        advice = "What it watches is not watched. Look at its wire, unit and calibration."
    elif (wrong := _untrue(farm, picture, sensor, now_ms)) is not None:
        verdict, (sentence, advice) = Verdict.ACTIVE, wrong
    return found(tuning, subject, now_ms, verdict, sentence, advice, priority=Priority.TELL)


def _untrue(farm: Farm, picture: Picture, sensor: Sensor, now_ms: int) -> tuple[str, str] | None:
    """What it shows though it cannot be, and what to do; None: it can be."""
    name = capitalised(sensor.id)
    if sensor.quantity is Quantity.AIR_PRESSURE and sensor.id in picture.latest:
        shown_pa = picture.latest[sensor.id][1]
        try:
            station_pressure_from_barometer_pa(shown_pa, farm.elevation_m, farm.elevation_m)
        except InvalidArgument:
            height = f"{from_si(farm.elevation_m, 'ft'):,.0f} ft"
            sentence = f"{name} shows {inches_of_mercury(shown_pa)}, which the air at {height} cannot have."
            return sentence, "Set it to station pressure, not to sea level."
    if sensor.quantity is Quantity.VACUUM:
        drop = vacuum_view(picture, sensor.id, now_ms)
        if isinstance(drop, VacuumDrop) and drop.above_attainable:
            sentence = f"{name} shows {inches_of_mercury(drop.now_pa)}, more vacuum than there is air."
            return sentence, "Check its zero and calibration."
    return None


RULE = Rule(ID, subjects, judge)
