"""Concentrate waits too long to be boiled: it keeps for hours, not for a day as sap does.

Counted from when it left the RO, for more than the tank's heel. Relative only: nothing here says that it is safe or
spoilt.
"""

from collector.rules.rule import Rule, Subject, found, tanks_watched
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.logbook import boil_is_logged
from shared.estimates.picture import Picture, fire_view, sap_age_view, tank_view
from shared.estimates.sap_age import waiting_s
from shared.estimates.tank_flow import TankFlow
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.readings import Quantity, Unknown
from shared.tuning.tanks import ConcentrateWaiting
from shared.units import to_si
from shared.words import capitalised, degrees, duration, gallons

ID = "concentrate_waiting"
HEELS = 1.5
"""What is left when a tank has been emptied, with a level sensor's error (common practice, no source)."""
DRAWN_M3_S = to_si(20, "gal/h")
"""A small evaporator draws more, a drifting sensor less (our choice)."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of concentrate that has a level sensor."""
    return tanks_watched(farm, ConcentrateWaiting, lambda tank: tank.holds is Holds.CONCENTRATE)


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tank = farm.tank_by_id[tank_id]
    tuning = farm.tuning(ConcentrateWaiting, tank)
    name, priority, advice = f"{capitalised(tank_id)} tank", Priority.TELL, ""
    age = sap_age_view(picture, tank_id, now_ms)
    waits_s = waiting_s(picture.tanks.ledger, tank_id, HEELS * tank.heel_m3, now_ms)
    much_waits_s = waiting_s(picture.tanks.ledger, tank_id, tuning.wake_volume_m3, now_ms)
    if isinstance(waits_s, Unknown):
        verdict, sentence = Verdict.NORMAL, f"{name}: no concentrate waits."
    elif isinstance(age, Unknown):
        verdict, sentence = Verdict.UNKNOWN, f"{name}: its concentrate's age is not known ({age.reason})."
    else:
        verdict, sentence = Verdict.NORMAL, f"{name}: what is in it has waited {duration(waits_s)}."
        if waits_s >= tuning.tell_age_s and not _is_boiled(farm, picture, tank_id, now_ms):
            verdict = Verdict.ACTIVE
            if not isinstance(much_waits_s, Unknown) and much_waits_s >= tuning.wake_age_s:
                priority = Priority.WAKE
            at = _temperature(farm, picture, tank_id)
            advice = f"{gallons(age.volume_m3)} of concentrate{at}. Start the boil, or cool it."
    return found(tuning, tank_id, now_ms, verdict, sentence, advice, priority=priority)


def _is_boiled(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> bool:
    """Whether it does not wait any more: the fire is lit, a boil is logged, or the tank is being drawn from."""
    if farm.evaporator is not None and farm.evaporator.takes_from in (None, tank_id):
        burning = fire_view(picture, farm, now_ms)
        if (not isinstance(burning, Unknown) and burning.is_lit) or boil_is_logged(picture, now_ms):
            return True
    flow = tank_view(picture, farm, tank_id, now_ms).flow
    return isinstance(flow, TankFlow) and flow.net_m3_s.high < -DRAWN_M3_S


def _temperature(farm: Farm, picture: Picture, tank_id: str) -> str:
    for sensor in farm.sensors_of(Quantity.SAP_TEMPERATURE, tank=tank_id):
        if sensor.id in picture.latest:
            return f" at {degrees(picture.latest[sensor.id][1])}"
    return ""


RULE = Rule(ID, subjects, judge)
