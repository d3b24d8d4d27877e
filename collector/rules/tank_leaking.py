"""A tank's level falls and nothing takes the sap: no transfer, RO or boil.

Only where the farm file says where a tank's sap goes, and levels can tell that it does not come there. While anything
may be taking it unseen, nothing is said.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.estimates.tank_loss import TankLoss, is_checkable, tank_loss
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.readings import Unknown
from shared.tuning.tanks import TankLeaking
from shared.words import capitalised, clock_time, gallons, gallons_an_hour

ID = "tank_leaking"


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of sap or concentrate whose ways out are watched; looked at once a minute."""
    return tuple(
        Subject(tank.id, ())
        for tank in farm.tanks
        if tank.holds is not Holds.PERMEATE
        and is_checkable(farm, tank)
        and farm.tuning(TankLeaking, tank).enabled
    )


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tuning = farm.tuning(TankLeaking, farm.tank_by_id[tank_id])
    name, loss = f"{capitalised(tank_id)} tank", tank_loss(picture, farm, tank_id, now_ms)
    priority, advice = Priority.TELL, ""
    if isinstance(loss, Unknown):
        verdict, sentence = Verdict.UNKNOWN, f"{name}: whether it leaks is not known ({loss.reason})."
    elif not isinstance(loss, TankLoss):
        verdict, sentence = Verdict.NORMAL, f"{name} loses nothing that is not taken from it."
    else:
        verdict = Verdict.ACTIVE if loss.rate_m3_s >= tuning.tell_loss_m3_s else Verdict.BETWEEN
        priority = Priority.WAKE if loss.rate_m3_s >= tuning.wake_loss_m3_s else Priority.TELL
        sentence = f"{name} loses {gallons_an_hour(loss.rate_m3_s)} and nothing takes it."
        empty_ms = now_ms + round(loss.left_m3 / loss.rate_m3_s * 1000)
        since, gone = clock_time(loss.from_ms, farm.zone, now_ms), gallons(loss.lost_m3)
        advice = f"{gone} since {since}, empty about {clock_time(empty_ms, farm.zone, now_ms)}. "
        advice += "Look for an open valve, broken pipe or siphon."
    return found(tuning, tank_id, now_ms, verdict, sentence, advice, priority=priority)


RULE = Rule(ID, subjects, judge)
