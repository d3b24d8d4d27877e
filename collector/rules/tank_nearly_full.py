"""A tank will be full soon at the present rate, or is nearly full whatever the rate.

Time to full is taken at its middle; the band is told with it. The hard level needs no rate, so a tank whose
flow cannot be told (a gap, a sensor just back) still wakes its owner when it is high. What cannot be helped any
more, or has happened, is told by overflow_certain, and is not told here then.
"""

from collector.rules.rule import Rule, Subject, first_thing, found, tanks_watched
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.outlook import Outlook, brim, outlook
from shared.estimates.picture import Picture, TankView, tank_view
from shared.estimates.tank_flow import FillTime, TankFlow
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Unknown
from shared.tuning.tanks import OverflowCertain, TankNearlyFull
from shared.units import DAY_S
from shared.words import capitalised, clock_time, duration, gallons, gallons_an_hour

ID = "tank_nearly_full"
FORESEEN_S = 2 * DAY_S
"""No run goes on unchanged for longer, so no clock time is named beyond it."""
CLEARLY = 1.5
"""So many times the least spill, before this alert gives way to the other (our choice)."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of sap or concentrate that has a level sensor."""
    return tanks_watched(farm, TankNearlyFull, lambda tank: tank.holds is not Holds.PERMEATE)


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
    explained = _explained_by(farm, picture, tank, now_ms) if verdict is Verdict.ACTIVE else ""
    return found(
        tuning, tank_id, now_ms, verdict, sentence, advice, priority=Priority.WAKE, explained_by=explained
    )


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
    return f"{', '.join(parts)}. {first_thing(farm, tank)}"


def _at(farm: Farm, now_ms: int, ahead_s: float | None) -> str:
    if ahead_s is None or ahead_s >= FORESEEN_S:
        return "later"
    return clock_time(now_ms + round(ahead_s * 1000), farm.zone, now_ms)


def _explained_by(farm: Farm, picture: Picture, tank: Tank, now_ms: int) -> str:
    """Whether overflow_certain says more of the same trouble, and may wake for it."""
    certain = farm.tuning(OverflowCertain, tank)
    if not certain.enabled or certain.capped(Priority.WAKE) is not Priority.WAKE:
        return ""
    full = brim(picture, farm, tank.id, now_ms)
    if full is not None and (full.since_ms or 0) + certain.raise_hold_s * 1000 <= now_ms:
        return "it is at its brim already"
    ahead = outlook(picture, farm, farm.tuning(OverflowCertain).horizon_s, now_ms)
    if not isinstance(ahead, Outlook) or ahead.spill is None or ahead.spills_at != tank.id:
        return ""
    # By a margin: where the plan wavers between yes and no, this alert must stand by itself.
    is_clear = ahead.spill.spill_m3 >= CLEARLY * certain.least_spill_m3
    return "it will run over whatever is started" if is_clear else ""


RULE = Rule(ID, subjects, judge)
