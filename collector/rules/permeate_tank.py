"""The permeate tank is nearly full while the RO runs, or has too little to wash it with after an hour of running.

Permeate is no sap: a full tank stops the RO or spills water, and an empty one is noticed when the RO must be washed.
After a wash it is empty as it should be, so little of it means something only while the RO is making more.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.machines import ro_runs_since
from shared.estimates.picture import Picture, TankView, tank_view
from shared.estimates.tank_flow import FillTime
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.readings import Quantity
from shared.tuning.tanks import PermeateTank
from shared.units import HOUR_S
from shared.words import capitalised, clock_time, gallons

ID = "permeate_tank"
RUNS_S = 900.0
LONG_S = HOUR_S
"""An RO worth its name makes more than a wash takes within the hour."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every tank of permeate that has a level sensor, where the farm file has an RO; looked at once a minute."""
    return tuple(
        Subject(tank.id, ())
        for tank in farm.tanks
        if farm.ro is not None
        and tank.holds is Holds.PERMEATE
        and farm.sensors_of(Quantity.LEVEL, tank=tank.id)
        and farm.tuning(PermeateTank, tank).enabled
    )


def judge(farm: Farm, picture: Picture, tank_id: str, now_ms: int) -> Finding:
    """What is found about one tank."""
    tuning = farm.tuning(PermeateTank, farm.tank_by_id[tank_id])
    name, view = f"{capitalised(tank_id)} tank", tank_view(picture, farm, tank_id, now_ms)
    verdict, sentence, advice = Verdict.UNKNOWN, f"{name}: its level is not known.", ""
    if view.volume_m3 is not None:
        verdict, sentence = Verdict.NORMAL, f"{name} holds {gallons(view.volume_m3)}."
        runs = ro_runs_since(picture, farm, now_ms, RUNS_S)
        share = view.volume_m3 / view.capacity_m3
        if _is_filling(view, tuning) and not tuning.may_run_over:
            # At the brim nothing rises any more, and the RO may have stopped for it: it stays as it was.
            verdict = Verdict.ACTIVE if runs else Verdict.BETWEEN
            sentence = f"{name} is {round(100 * share)}% full and the RO runs."
            advice = f"{_full_at(farm, view, now_ms)}Open its drain or use it, or the RO stops or spills."
        elif view.volume_m3 < tuning.wash_m3 and ro_runs_since(picture, farm, now_ms, LONG_S):
            verdict = Verdict.ACTIVE
            sentence = f"{name} holds only {gallons(view.volume_m3)} though the RO runs."
            advice = "Too little to wash the RO with. Look where its permeate goes: a valve, a hose."
        elif share >= tuning.clear_full_fraction and not tuning.may_run_over:
            verdict = Verdict.BETWEEN if runs else Verdict.NORMAL
    return found(tuning, tank_id, now_ms, verdict, sentence, advice, priority=Priority.TELL)


def _is_filling(view: TankView, tuning: PermeateTank) -> bool:
    if view.volume_m3 is None:
        return False
    left = view.time_to_full
    soon = isinstance(left, FillTime) and left.middle_s <= tuning.trip_time_to_full_s
    return soon or view.volume_m3 >= tuning.trip_full_fraction * view.capacity_m3


def _full_at(farm: Farm, view: TankView, now_ms: int) -> str:
    left = view.time_to_full
    if not isinstance(left, FillTime) or not 0 < left.middle_s <= LONG_S:
        return ""
    return f"Full about {clock_time(now_ms + round(left.middle_s * 1000), farm.zone, now_ms)}. "


RULE = Rule(ID, subjects, judge)
