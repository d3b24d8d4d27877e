"""The oldest sap in a tank has waited past its limit; concentrate has a rule of its own.

Old sap darkens and drops a grade; how fast depends on its temperature, which the advice tells. An unwashed
heel keeps its age. Relative only: nothing here says that sap is safe or spoilt.
"""

from collector.rules.rule import Rule, Subject, found, tanks_watched
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture, sap_age_view
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.readings import Unknown
from shared.tuning.tanks import SapHeldTooLong
from shared.units import HOUR_S
from shared.words import capitalised, duration, gallons

ID = "sap_held_too_long"
CALM_S = HOUR_S
"""So much younger the oldest must be before the alert is over: while old sap is worked off it stays near the limit."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of sap that has a level sensor."""
    return tanks_watched(farm, SapHeldTooLong, lambda tank: tank.holds is Holds.SAP)


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tank = farm.tank_by_id[tank_id]
    tuning = farm.tuning(SapHeldTooLong, tank)
    age = sap_age_view(picture, tank_id, now_ms)
    name = f"{capitalised(tank_id)} tank"
    verdict, priority, advice = Verdict.NORMAL, Priority.TELL, ""
    if isinstance(age, Unknown):
        verdict, sentence = Verdict.UNKNOWN, f"{name}: sap age is not known ({age.reason})."
    elif age.volume_m3 <= tank.heel_m3:
        # What is left when a tank counts as empty cannot be boiled; its age matters when the next sap comes in.
        sentence = f"{name} is empty."
    else:
        sentence = f"{name} holds sap {duration(age.oldest_s)} old."
        if age.oldest_s >= tuning.tell_age_s:
            verdict = Verdict.ACTIVE
            priority = Priority.WAKE if age.oldest_s >= tuning.wake_age_s else Priority.TELL
            advice = f"{gallons(age.volume_m3)}, on average {duration(age.mean_s)} old. "
            advice += "Start the RO or the boil; the oldest first."
        elif age.oldest_s >= tuning.tell_age_s - CALM_S:
            verdict = Verdict.BETWEEN
    return found(tuning, tank_id, now_ms, verdict, sentence, advice, priority=priority)


RULE = Rule(ID, subjects, judge)
