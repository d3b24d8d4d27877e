"""The fire under the pan is dying, told apart from an open door and from a boil that has only begun.

The estimate knows the boil's own usual; a fire below it that no firing brings back within ten minutes is dying.
A fire that is out is not dying any more: the owner has been told, or has let it go out. And when nothing is left
to boil, a fire that burns down is how a boil ends.
"""

from collector.rules.rule import Rule, found, stack_watched
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.fire import Fire, FireState
from shared.estimates.picture import Picture, fire_view, tank_view
from shared.farm import Farm
from shared.tuning.fire import FireDying
from shared.words import clock_time, degrees

ID = "fire_dying"
HEELS = 1.5
"""A level sensor's error and what still runs back from the pans lie above the heel (common practice, no source)."""


def judge(farm: Farm, picture: Picture, sensor_id: str, now_ms: int) -> Finding:
    """What is found about the fire."""
    tuning = farm.tuning(FireDying, farm.sensor_by_id[sensor_id])
    burning = fire_view(picture, farm, now_ms)
    verdict, sentence, advice = Verdict.UNKNOWN, "The fire is not known.", ""
    if isinstance(burning, Fire):
        verdict = _verdict(burning.state)
        sentence = f"The fire is {burning.state.replace('_', ' ')}, stack {degrees(burning.stack_c)}."
        if burning.state is FireState.DYING and burning.low_since_ms is not None:
            sentence = f"The fire is dying since {clock_time(burning.low_since_ms, farm.zone, now_ms)}."
            usual = "" if burning.usual is None else f", its usual is {degrees(burning.usual.low_c)} and more"
            advice = f"Stack {degrees(burning.stack_c)}{usual}. Feed it, or see that sap stays in the pan."
            if _has_run_out(farm, picture, now_ms):
                verdict, sentence = Verdict.NORMAL, "The fire burns down, nothing is left to boil."
    return found(tuning, sensor_id, now_ms, verdict, sentence, advice, priority=Priority.TELL)


def _has_run_out(farm: Farm, picture: Picture, now_ms: int) -> bool:
    """Whether the tank that feeds the pans is down to its heel; unknown is not."""
    feeds = None if farm.evaporator is None else farm.evaporator.takes_from
    if feeds is None:
        return False
    volume_m3 = tank_view(picture, farm, feeds, now_ms).volume_m3
    return volume_m3 is not None and volume_m3 <= HEELS * farm.tank_by_id[feeds].heel_m3


def _verdict(state: FireState) -> Verdict:
    if state is FireState.DYING:
        return Verdict.ACTIVE
    # Low, or the door is open: it may come back by itself, or be dying still.
    return Verdict.BETWEEN if state in (FireState.LOW, FireState.DOOR_OPEN) else Verdict.NORMAL


RULE = Rule(ID, stack_watched(FireDying), judge)
