"""A tank will be full soon at the present rate, or is nearly full whatever the rate.

Time to full is taken at its middle; the band is told with it. The hard level needs no rate, so a tank whose
flow cannot be told (a gap, a sensor just back) still wakes its owner when it is high.
"""

from collector.rules.rule import Rule, Subject
from shared.alerts import Finding, Hold, Priority, Verdict
from shared.estimates.picture import Picture, TankView, tank_view
from shared.estimates.tank_flow import FillTime, TankFlow
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Quantity, Unknown
from shared.tuning import TankNearlyFull
from shared.units import DAY_S
from shared.words import capitalised, clock_time, duration, gallons, gallons_an_hour

ID = "tank_nearly_full"
FORESEEN_S = 2 * DAY_S
"""No run goes on unchanged for longer, so no clock time is named beyond it."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank that has a level sensor."""
    found = []
    for tank in farm.tanks:
        sensors = tuple(sensor.id for sensor in farm.sensors_of(Quantity.LEVEL, tank=tank.id))
        if sensors and _tuning(farm, tank).enabled:
            found.append(Subject(tank.id, sensors))
    return tuple(found)


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tank = farm.tank_by_id[tank_id]
    tuning = _tuning(farm, tank)
    view = tank_view(picture, farm, tank_id, now_ms)
    name = f"{capitalised(tank_id)} tank"
    if view.volume_m3 is None:
        return _finding(tank, Verdict.UNKNOWN, tuning, now_ms, f"{name}: its level is not known.", "")
    share = view.volume_m3 / view.capacity_m3
    held = f"{gallons(view.volume_m3).removesuffix(' gal')} of {gallons(view.capacity_m3)}"
    left = view.time_to_full
    if isinstance(left, FillTime) and left.middle_s < FORESEEN_S:
        full_ms = now_ms + round(left.middle_s * 1000)
        sentence = f"{name} is full about {clock_time(full_ms, farm.zone, now_ms)}."
    else:
        sentence = f"{name} is {round(100 * share)}% full."
    if share >= tuning.trip_full_fraction or (
        isinstance(left, FillTime) and left.middle_s <= tuning.trip_time_to_full_s
    ):
        return _finding(
            tank, Verdict.ACTIVE, tuning, now_ms, sentence, _advice(farm, tank, view, held, now_ms)
        )
    low = share < tuning.clear_full_fraction
    far = not isinstance(left, FillTime | Unknown) or (
        isinstance(left, FillTime) and left.middle_s >= tuning.clear_time_to_full_s
    )
    if low and far:
        return _finding(tank, Verdict.NORMAL, tuning, now_ms, f"{name} holds {held}.", "")
    return _finding(tank, Verdict.BETWEEN, tuning, now_ms, sentence, _advice(farm, tank, view, held, now_ms))


def _finding(
    tank: Tank, verdict: Verdict, tuning: TankNearlyFull, now_ms: int, sentence: str, advice: str
) -> Finding:
    hold = Hold(tuning.raise_hold_s, tuning.clear_hold_s)
    return Finding(ID, tank.id, verdict, Priority.WAKE, now_ms, hold, sentence, advice)


def _tuning(farm: Farm, tank: Tank) -> TankNearlyFull:
    tuning = farm.tuning(ID, tank)
    assert isinstance(tuning, TankNearlyFull)
    return tuning


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
