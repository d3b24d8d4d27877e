"""A sensor's clock is wrong: its readings are refused, or stand at the wrong time.

Told from what was refused, and from readings that all arrive late by the same, or before they were measured.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.estimates.sensor_health import WRONG_CLOCK, SensorHealth
from shared.farm import Farm
from shared.readings import RejectKind
from shared.tuning.sensors import SensorClockWrong
from shared.words import duration

ID = "sensor_clock_wrong"
ADVICE = "Set its clock, or let it send no time."
REFUSED = {
    RejectKind.CLOCK_AHEAD: "ahead of ours",
    RejectKind.CLOCK_NOT_SET: "not set",
    RejectKind.LONG_PAST: "weeks behind ours",
}


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every sensor."""
    return tuple(Subject(s.id, ()) for s in farm.sensors if farm.tuning(SensorClockWrong, s).enabled)


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor."""
    tuning = farm.tuning(SensorClockWrong, farm.sensor_by_id[subject])
    health = picture.health.get(subject, SensorHealth())
    verdict, sentence = Verdict.NORMAL, f"The clock of {subject} is right."
    kind = health.refused_kind
    if health.refused_count and kind is not None and kind in WRONG_CLOCK:
        verdict = Verdict.ACTIVE if health.refused_count >= tuning.least_count else Verdict.BETWEEN
        sentence = f"The clock of {subject} is {REFUSED[kind]}; its readings are refused."
    elif health.clock_behind_ms:
        off, way = (
            duration(abs(health.clock_behind_ms) / 1000),
            "behind" if health.clock_behind_ms > 0 else "ahead",
        )
        verdict, sentence = Verdict.ACTIVE, f"The clock of {subject} is {off} {way}."
    return found(tuning, subject, now_ms, verdict, sentence, ADVICE, priority=Priority.TELL)


RULE = Rule(ID, subjects, judge)
