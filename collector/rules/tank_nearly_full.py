"""A tank will be full soon at the present rate, or is nearly full whatever the rate.

Time to full is taken at its middle; the band is told with it. The hard level needs no rate, so a tank whose
flow cannot be told (a gap, a sensor just back) still wakes its owner when it is high.
"""

from collector.rules.rule import Rule, Subject, found, tanks_watched
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture, TankView, tank_view
from shared.estimates.tank_flow import FillTime, TankFlow
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Unknown
from shared.tuning.tanks import TankNearlyFull
from shared.units import DAY_S
from shared.words import capitalised, clock_time, duration, gallons, gallons_an_hour

ID = "tank_nearly_full"
FORESEEN_S = 2 * DAY_S
"""No run goes on unchanged for longer, so no clock time is named beyond it."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank that has a level sensor."""
    return tanks_watched(farm, TankNearlyFull, lambda _tank: True)


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tank = farm.tank_by_id[tank_id]
    tuning = farm.tuning(TankNearlyFull, tank)
    view = tank_view(picture, farm, tank_id, now_ms)
    verdict, sentence, advice = (
        _verdict(view, tuning),
        f"{capitalised(tank_id)} tank: its level is not known.",
        "",
    )
    if view.volume_m3 is not None:
        held = f"{gallons(view.volume_m3).removesuffix(' gal')} of {gallons(view.capacity_m3)}"
        sentence = f"{capitalised(tank_id)} tank holds {held}."
        if verdict is not Verdict.NORMAL:
            sentence = _sentence(farm, view, view.volume_m3 / view.capacity_m3, now_ms)
            advice = _advice(farm, tank, view, held, now_ms)
    return found(tuning, tank_id, now_ms, verdict, sentence, advice, priority=Priority.WAKE)


def _verdict(view: TankView, tuning: TankNearlyFull) -> Verdict:
    if view.volume_m3 is None:
        return Verdict.UNKNOWN
    share, left = view.volume_m3 / view.capacity_m3, view.time_to_full
    left_s = left.middle_s if isinstance(left, FillTime) else None
    if share >= tuning.trip_full_fraction or (left_s is not None and left_s <= tuning.trip_time_to_full_s):
        return Verdict.ACTIVE
    far = not isinstance(left, Unknown) and (left_s is None or left_s >= tuning.clear_time_to_full_s)
    return Verdict.NORMAL if far and share < tuning.clear_full_fraction else Verdict.BETWEEN


def _sentence(farm: Farm, view: TankView, share: float, now_ms: int) -> str:
    left = view.time_to_full
    if isinstance(left, FillTime) and left.middle_s < FORESEEN_S:
        full_ms = now_ms + round(left.middle_s * 1000)
        return f"{capitalised(view.tank_id)} tank is full about {clock_time(full_ms, farm.zone, now_ms)}."
    return f"{capitalised(view.tank_id)} tank is {round(100 * share)}% full."


def _advice(farm: Farm, tank: Tank, view: TankView, held: str, now_ms: int) -> str:
    """How much, how fast, how long, and what to do first."""
    parts = [held]
    if isinstance(view.flow, TankFlow):
        rising = "+" if view.flow.net_m3_s.middle >= 0 else ""
        parts.append(f"{rising}{gallons_an_hour(view.flow.net_m3_s.middle)}")
    left = view.time_to_full
    if isinstance(left, FillTime) and left.middle_s < FORESEEN_S:
        early, late = (_at(farm, now_ms, seconds) for seconds in (left.low_s, left.high_s))
        parts.append(f"{duration(left.middle_s)} left ({early}-{late})")
    return f"{', '.join(parts)}. {_first_thing(farm, tank)}"


def _at(farm: Farm, now_ms: int, ahead_s: float | None) -> str:
    if ahead_s is None or ahead_s >= FORESEEN_S:
        return "later"
    return clock_time(now_ms + round(ahead_s * 1000), farm.zone, now_ms)


def _first_thing(farm: Farm, tank: Tank) -> str:
    if tank.drains_to is not None:
        return f"Start the transfer to {tank.drains_to}."
    if farm.ro is not None and tank.id in farm.ro.takes_from:
        return "Start the RO."
    if tank.holds is Holds.CONCENTRATE:
        return "Start the boil or stop the RO."
    if tank.holds is Holds.PERMEATE:
        return "Drain it or stop the RO."
    return "Make room."


RULE = Rule(ID, subjects, judge)
