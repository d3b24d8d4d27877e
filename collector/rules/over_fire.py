"""The stack is hotter than the farm allows, or rises as a chimney fire does.

The limit is the farm's own (`[evaporator] over_fire_f`): what the stack is listed for decides, and many stacks are
listed for nothing. Holding and ending are the estimate's, so that one wild reading is no fire.
"""

from collector.rules.rule import Rule, found, stack_watched
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.fire import Fire
from shared.estimates.fire_boil import OverFireKind
from shared.estimates.picture import Picture, fire_view
from shared.farm import Farm
from shared.tuning.fire import OverFire
from shared.words import clock_time, degrees

ID = "over_fire"
ADVICE = (
    "Close the draft and the doors, keep sap in the pan, look at stack and roof. "
    "If it burns outside the arch, leave and call the fire department."
)


def judge(farm: Farm, picture: Picture, sensor_id: str, now_ms: int) -> Finding:
    """What is found about the stack."""
    tuning = farm.tuning(OverFire, farm.sensor_by_id[sensor_id])
    burning = fire_view(picture, farm, now_ms)
    verdict, sentence, advice = Verdict.UNKNOWN, "The stack is not known.", ""
    if isinstance(burning, Fire):
        verdict, sentence = Verdict.NORMAL, f"The stack is {degrees(burning.stack_c)}."
        if burning.over_fire is not None:
            since = clock_time(burning.over_fire.since_ms, farm.zone, now_ms)
            rising = ", rising fast" if burning.over_fire.kind is OverFireKind.RISE else ""
            verdict, advice = Verdict.ACTIVE, ADVICE
            sentence = f"Over-fire: stack {degrees(burning.stack_c)}{rising}, since {since}."
    return found(tuning, sensor_id, now_ms, verdict, sentence, advice, priority=Priority.WAKE)


RULE = Rule(ID, stack_watched(OverFire), judge)
