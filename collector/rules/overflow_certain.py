"""A tank runs over, or will whatever is started now.

It runs over where it has filled to its brim: what still comes in is lost. It will where the deadline plan finds no way
through, with transfers made at once, RO and boil started now and as little running in as well may be. The tank named is
the one that the sap runs into. It says more than tank_nearly_full, which is silent about the same tank then.
"""

from collector.rules.rule import Rule, Subject, first_thing, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.deadlines import TooLate
from shared.estimates.outlook import Brim, Outlook, brim, outlook
from shared.estimates.picture import Picture, TankView, tank_view
from shared.estimates.tank_flow import FillTime
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Quantity
from shared.tuning.tanks import OverflowCertain
from shared.words import capitalised, clock_time, duration, gallons, gallons_an_hour

ID = "overflow_certain"


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of sap or concentrate that has a level sensor; looked at once a minute, as the plan is."""
    return tuple(
        Subject(tank.id, ())
        for tank in farm.tanks
        if tank.holds is not Holds.PERMEATE
        and farm.sensors_of(Quantity.LEVEL, tank=tank.id)
        and farm.tuning(OverflowCertain, tank).enabled
    )


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tank = farm.tank_by_id[tank_id]
    tuning = farm.tuning(OverflowCertain, tank)
    name, view = f"{capitalised(tank_id)} tank", tank_view(picture, farm, tank_id, now_ms)
    verdict, sentence, advice = Verdict.UNKNOWN, f"{name}: its level is not known.", ""
    if view.volume_m3 is not None:
        full = brim(picture, farm, tank_id, now_ms)
        ahead = outlook(picture, farm, farm.tuning(OverflowCertain).horizon_s, now_ms)
        verdict, sentence = Verdict.NORMAL, f"{name} has room for what comes in."
        if full is not None:
            verdict, sentence = Verdict.ACTIVE, f"{name} is at its brim: what still comes in is lost."
            advice = _of_brim(farm, tank, full, now_ms)
        elif isinstance(ahead, Outlook) and ahead.spill is not None and ahead.spills_at == tank_id:
            is_much = ahead.spill.spill_m3 >= tuning.least_spill_m3
            verdict = Verdict.ACTIVE if is_much else Verdict.BETWEEN
            full_ms = now_ms + round(_full_s(view, ahead.spill) * 1000)
            sentence = (
                f"{name} will run over whatever is started: full about {clock_time(full_ms, farm.zone)}."
            )
            advice = _of_plan(farm, tank, ahead.spill)
        elif view.volume_m3 >= tuning.clear_full_fraction * view.capacity_m3 or not isinstance(
            ahead, Outlook | None
        ):
            verdict, sentence = Verdict.BETWEEN, f"{name} holds {gallons(view.volume_m3)}."
    return found(tuning, tank_id, now_ms, verdict, sentence, advice, priority=Priority.WAKE)


def _full_s(view: TankView, spill: TooLate) -> float:
    """When it is full if nothing is started, or else at the latest."""
    left, latest_s = view.time_to_full, spill.spill_s or 0.0
    return min(left.middle_s, latest_s) if isinstance(left, FillTime) else latest_s


def _of_brim(farm: Farm, tank: Tank, full: Brim, now_ms: int) -> str:
    since = "" if full.since_ms is None else f"Full since {clock_time(full.since_ms, farm.zone, now_ms)}. "
    came = "" if full.came_m3_s is None else f"It filled by {gallons_an_hour(full.came_m3_s)}. "
    return f"{since}{came}{first_thing(farm, tank)}"


def _of_plan(farm: Farm, tank: Tank, spill: TooLate) -> str:
    horizon = duration(farm.tuning(OverflowCertain).horizon_s)
    first = "Start" if tank.drains_to is None else "Transfer, start"
    machines = "the boil" if farm.ro is None else "RO and boil"
    return f"{gallons(spill.spill_m3)} too much in {horizon}. {first} {machines}, find room or stop the pump."


RULE = Rule(ID, subjects, judge)
