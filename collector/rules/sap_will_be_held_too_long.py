"""Sap will grow too old if RO and boil start no sooner than the next morning: told in the evening.

The deadline plan says by when they must start for the sake of age alone. While something runs, the next start is now:
then only sap that grows too old all the same is told. Once a tank's sap is old, sap_held_too_long says so.
"""

from datetime import UTC, datetime

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.deadlines import LatestStart, Starts
from shared.estimates.machines import ro_runs_since
from shared.estimates.outlook import Outlook, latest_for_age, outlook
from shared.estimates.picture import Picture, fire_view, sap_age_view
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.readings import Unknown
from shared.tuning.tanks import OverflowCertain, SapHeldTooLong, SapWillBeHeldTooLong
from shared.words import clock_time, duration

ID = "sap_will_be_held_too_long"
ALL_SAP = "sap"
EVERY_MS = 600_000
"""The plan is dear, and it is about hours."""
RUNS_S = 900.0
"""An RO that has run for a quarter of an hour is running."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """All the farm's sap together, where there is an evaporator to boil it."""
    has_sap = any(tank.holds is Holds.SAP for tank in farm.tanks)
    watched = farm.evaporator is not None and has_sap and farm.tuning(SapWillBeHeldTooLong).enabled
    return (Subject(ALL_SAP, ()),) if watched else ()


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about the sap."""
    tuning = farm.tuning(SapWillBeHeldTooLong)
    ahead = outlook(picture, farm, farm.tuning(OverflowCertain).horizon_s, now_ms)
    verdict, sentence, advice, explained = Verdict.UNKNOWN, "How long sap will be held is not known.", "", ""
    if isinstance(ahead, Outlook):
        verdict, sentence = Verdict.NORMAL, "No sap will be held too long."
        next_s = 0.0 if _is_at_work(farm, picture, now_ms) else tuning.next_start_s
        held = latest_for_age(ahead.house)
        if isinstance(held, Starts):
            first = min((s for s in (held.ro, held.boil) if s is not None), key=_start_s, default=None)
            if first is not None and first.start_s < next_s:
                machine = "RO" if first is held.ro else "boil"
                by = clock_time(now_ms + round(first.start_s * 1000), farm.zone, now_ms)
                old = clock_time(now_ms + round(first.trouble_s * 1000), farm.zone, now_ms)
                verdict = Verdict.ACTIVE
                sentence = f"The {machine} must start by {by}, or sap is held too long."
                advice = f"Sap in {first.tank} is past its limit at {old}. Start tonight."
        elif held is not None and held.oldest_s is not None:
            verdict = Verdict.ACTIVE
            sentence = f"Sap will be {duration(held.oldest_s)} old before it is boiled, whatever is started."
            advice = (
                "Start RO and boil now, the oldest sap first."
                if farm.ro
                else "Boil now, the oldest sap first."
            )
        if verdict is Verdict.ACTIVE:
            explained = _explained_by(farm, picture, now_ms)
            if not tuning.speaks_from_hour <= _hour(farm, now_ms) < tuning.speaks_until_hour:
                verdict = Verdict.BETWEEN
    return found(
        tuning, subject, now_ms, verdict, sentence, advice, priority=Priority.TELL, explained_by=explained
    )


def _start_s(start: LatestStart) -> float:
    return start.start_s


def _is_at_work(farm: Farm, picture: Picture, now_ms: int) -> bool:
    burning = fire_view(picture, farm, now_ms)
    is_lit = not isinstance(burning, Unknown) and burning.is_lit
    return is_lit or ro_runs_since(picture, farm, now_ms, RUNS_S) is True


def _explained_by(farm: Farm, picture: Picture, now_ms: int) -> str:
    """Whether sap_held_too_long says already that sap is old."""
    for tank in farm.tanks:
        tuning, age = farm.tuning(SapHeldTooLong, tank), sap_age_view(picture, tank.id, now_ms)
        is_watched = tank.holds is Holds.SAP and tuning.enabled
        if is_watched and not isinstance(age, Unknown) and age.oldest_s >= tuning.tell_age_s:
            return f"sap in {tank.id} is old already"
    return ""


def _hour(farm: Farm, now_ms: int) -> float:
    local = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(farm.zone)
    return local.hour + local.minute / 60


RULE = Rule(ID, subjects, judge, every_ms=EVERY_MS)
