"""A battery is low, or will soon be at the rate at which it falls; what hangs on it goes silent with it.

What is low depends on the kind, and of that the file says nothing: the highest hour of its last days tells, roughly.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.estimates.sensor_health import SensorHealth, falls_per_s
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.readings import Quantity
from shared.tuning.sensors import BatteryLow
from shared.units import DAY_S
from shared.words import capitalised, duration

ID = "battery_low"
KINDS: tuple[tuple[float, float, str], ...] = (
    (1.75, 1.1, "one cell"),
    (3.4, 2.4, "two cells, or a lithium coin"),
    (3.8, 3.3, "lithium thionyl chloride: flat, then gone within days"),
    (4.5, 3.5, "lithium ion"),
    (7.0, 5.0, "four cells"),
    (9.0, 7.0, "two lithium ion"),
    (10.5, 7.2, "six cells, or a 9 V block"),
    (16.0, 11.8, "12 V lead-acid: a quarter is left, and it can freeze"),
    (32.0, 23.6, "24 V lead-acid"),
)
"""Up to this many volts when good; low below this; what it is then taken for (makers' curves, from memory)."""
BACK_RATIO = 1.03
LEAST_FALL_S = 1.5 * DAY_S
"""Over a day and a half, so that a night's cold or a day's sun is no fall."""
SCATTER_RATIO = 0.2


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every battery."""
    batteries = farm.sensors_of(Quantity.BATTERY)
    return tuple(Subject(s.id, (s.id,)) for s in batteries if farm.tuning(BatteryLow, s).enabled)


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one battery."""
    sensor = farm.sensor_by_id[subject]
    tuning, name = farm.tuning(BatteryLow, sensor), capitalised(subject)
    if subject not in picture.latest:
        return found(
            tuning, subject, now_ms, Verdict.UNKNOWN, f"{name} is not heard.", priority=Priority.TELL
        )
    now_v = picture.latest[subject][1]
    health = picture.health.get(subject, SensorHealth())
    low_v = tuning.low_v or _low_v(max([now_v, *(mean for _, mean, _ in health.hours)]))
    falls = falls_per_s(health.hours, LEAST_FALL_S, SCATTER_RATIO)
    left_s = max(0.0, now_v - low_v) / falls if falls is not None else None
    soon = left_s is not None and left_s <= tuning.trip_left_s
    verdict, sentence = Verdict.NORMAL, f"{name} has {now_v:.2f} V."
    if now_v < low_v or soon:
        verdict, sentence = Verdict.ACTIVE, f"{name} is low: {now_v:.2f} V."
        if now_v >= low_v and left_s is not None:
            sentence = f"{name} has {now_v:.2f} V and will be low in {duration(left_s)}."
    elif now_v < BACK_RATIO * low_v:
        verdict = Verdict.BETWEEN
    advice = f"Change or charge it.{_goes_silent(farm, sensor)}"
    return found(tuning, subject, now_ms, verdict, sentence, advice, priority=Priority.TELL)


def _low_v(good_v: float) -> float:
    return next((low_v for most_v, low_v, _ in KINDS if good_v <= most_v), KINDS[-1][1])


def _goes_silent(farm: Farm, sensor: Sensor) -> str:
    """Who speaks with the same message has the same battery."""
    others = [s.id for s in farm.sensors if s.id != sensor.id and farm.topic_of(s) == farm.topic_of(sensor)]
    return f" {capitalised(', '.join(others))} goes silent with it." if others else ""


RULE = Rule(ID, subjects, judge)
