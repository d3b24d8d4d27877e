"""The oldest sap or concentrate in a tank has waited past its limit.

Old sap darkens and drops a grade; how fast depends on its temperature, which the advice tells. An unwashed
heel keeps its age. Relative only: nothing here says that sap is safe or spoilt.
"""

from collector.rules.rule import Rule, Subject
from shared.alerts import Finding, Hold, Priority, Verdict
from shared.estimates.picture import Picture, sap_age_view
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Quantity, Unknown
from shared.tuning import SapHeldTooLong
from shared.words import capitalised, duration, gallons

ID = "sap_held_too_long"


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of sap or concentrate that has a level sensor."""
    found = []
    for tank in farm.tanks:
        sensors = tuple(sensor.id for sensor in farm.sensors_of(Quantity.LEVEL, tank=tank.id))
        if sensors and tank.holds is not Holds.PERMEATE and _tuning(farm, tank).enabled:
            found.append(Subject(tank.id, sensors))
    return tuple(found)


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tank = farm.tank_by_id[tank_id]
    tuning = _tuning(farm, tank)
    age = sap_age_view(picture, tank_id, now_ms)
    name = f"{capitalised(tank_id)} tank"
    priority = Priority.TELL
    if isinstance(age, Unknown):
        return _finding(
            tank, Verdict.UNKNOWN, priority, tuning, now_ms, f"{name}: sap age is not known ({age.reason})."
        )
    # What is left when a tank counts as empty cannot be boiled; its age matters when the next sap comes in.
    if age.volume_m3 <= tank.heel_m3:
        return _finding(tank, Verdict.NORMAL, priority, tuning, now_ms, f"{name} is empty.")
    oldest_s = age.oldest_s
    sentence = f"{name} holds sap {duration(oldest_s)} old."
    if oldest_s < tuning.tell_age_s:
        return _finding(tank, Verdict.NORMAL, priority, tuning, now_ms, sentence)
    if oldest_s >= tuning.wake_age_s:
        priority = Priority.WAKE
    first = (
        "Start the boil."
        if tank.holds is Holds.CONCENTRATE
        else "Start the RO or the boil; the oldest first."
    )
    advice = f"{gallons(age.volume_m3)}, on average {duration(age.mean_s)} old. {first}"
    return _finding(tank, Verdict.ACTIVE, priority, tuning, now_ms, sentence, advice)


def _finding(
    tank: Tank,
    verdict: Verdict,
    priority: Priority,
    tuning: SapHeldTooLong,
    now_ms: int,
    sentence: str,
    advice: str = "",
) -> Finding:
    hold = Hold(tuning.raise_hold_s, tuning.clear_hold_s)
    return Finding(ID, tank.id, verdict, priority, now_ms, hold, sentence, advice)


def _tuning(farm: Farm, tank: Tank) -> SapHeldTooLong:
    tuning = farm.tuning(ID, tank)
    assert isinstance(tuning, SapHeldTooLong)
    return tuning


RULE = Rule(ID, subjects, judge)
