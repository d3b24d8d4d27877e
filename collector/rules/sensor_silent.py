"""A sensor has not been heard for several of its intervals: what it watches is not watched.

Judged by arrival, because a late reading is not silence; and never from before listening began, because a
collector that has just been started has not listened yet. When nothing at all is heard, one alert says so
and wakes: broker, gateway or power, not twenty-five sensors.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.farm import Farm
from shared.tuning.sensors import SensorSilent
from shared.words import capitalised, clock_time, duration

ID = "sensor_silent"
ALL = "all-sensors"
ALL_SILENT_S = 600.0
"""Nothing from anywhere for so long is the broker, the gateway or the power (common practice, no source)."""

AT_ONCE = SensorSilent(raise_hold_s=0.0, clear_hold_s=0.0)


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every sensor, and all of them together."""
    watched = [s.id for s in farm.sensors if farm.tuning(SensorSilent, s).enabled]
    if not watched:
        return ()
    return (Subject(ALL, tuple(watched)), *(Subject(sensor, (sensor,)) for sensor in watched))


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor, or about all."""
    newest_ms = max([picture.listening_ms, *picture.heard_ms.values()])
    all_silent = newest_ms > 0 and now_ms - newest_ms > ALL_SILENT_S * 1000
    if subject == ALL:
        sentence = "Sensors are heard."
        if all_silent:
            sentence = f"No sensor has been heard since {clock_time(newest_ms, farm.zone, now_ms)}."
        verdict = Verdict.ACTIVE if all_silent else Verdict.NORMAL
        advice = "The farm is not watched. Look at power, broker and gateway."
        return found(AT_ONCE, ALL, now_ms, verdict, sentence, advice, priority=Priority.WAKE)
    tuning = farm.tuning(SensorSilent, farm.sensor_by_id[subject])
    heard_ms = max(picture.listening_ms, picture.heard_ms.get(subject, 0))
    silent_s = (now_ms - heard_ms) / 1000
    if silent_s <= max(tuning.least_s, tuning.missed_count * farm.sensor_by_id[subject].interval_s):
        verdict, sentence = Verdict.NORMAL, f"{capitalised(subject)} is heard."
    else:
        verdict = Verdict.BETWEEN if all_silent else Verdict.ACTIVE
        sentence = f"{capitalised(subject)} has been silent for {duration(silent_s)}."
    advice = "What it watches is not watched. Look at its battery, radio and wire."
    return found(tuning, subject, now_ms, verdict, sentence, advice, priority=Priority.TELL)


RULE = Rule(ID, subjects, judge, by_arrival=True)
