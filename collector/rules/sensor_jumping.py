"""A sensor jumps and comes back: spikes that were taken, and values that were refused between good ones."""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.estimates.sensor_health import SensorHealth, jumps_count
from shared.farm import Farm
from shared.tuning.sensors import SensorJumping
from shared.words import capitalised, duration

ID = "sensor_jumping"


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every sensor."""
    return tuple(Subject(s.id, ()) for s in farm.sensors if farm.tuning(SensorJumping, s).enabled)


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor; once raised it stands until there was none for the whole time."""
    tuning, name = farm.tuning(SensorJumping, farm.sensor_by_id[subject]), capitalised(subject)
    health = picture.health.get(subject, SensorHealth())
    from_ms = now_ms - round(tuning.within_s * 1000)
    count = jumps_count(health, from_ms)
    verdict, sentence = Verdict.NORMAL, f"{name} does not jump."
    if count:
        verdict = Verdict.ACTIVE if count >= tuning.least_count else Verdict.BETWEEN
        often = "once" if count == 1 else f"{count} times"
        sentence = f"{name} has jumped and come back {often} in {duration(tuning.within_s)}."
    elif health.measured_ms < from_ms:
        verdict = Verdict.UNKNOWN
    advice = "Single readings are not to be believed. Look at its wire, plug and place." if count else ""
    return found(tuning, subject, now_ms, verdict, sentence, advice, priority=Priority.TELL)


RULE = Rule(ID, subjects, judge, every_ms=300_000)
