"""A fire burns with nothing left to boil, or while nobody is logged as boiling.

The first is a danger to the pans: the tank that feeds them ran empty during this fire, and the fire has not been let
burn down. The second is told only to those who keep a log of boils: whoever never logs one is not asked for it.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.fire import Fire, FireState
from shared.estimates.logbook import boil_is_logged, keeps_log_of_boils
from shared.estimates.machines import feed_ran_out_ms, ro_may_feed
from shared.estimates.picture import Picture, fire_view
from shared.farm import Farm
from shared.readings import Quantity
from shared.requests import LogKind
from shared.tuning.fire import FireUnattended
from shared.words import clock_time, degrees

ID = "fire_unattended"
HOT = (FireState.STEADY, FireState.LEARNING)
UNDECIDED = (FireState.DOOR_OPEN, FireState.LOW)


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The farm's first stack sensor; looked at once a minute."""
    stacks = farm.sensors_of(Quantity.STACK_TEMPERATURE)[:1]
    return tuple(Subject(s.id, ()) for s in stacks if farm.tuning(FireUnattended, s).enabled)


def judge(farm: Farm, picture: Picture, sensor_id: str, now_ms: int) -> Finding:
    """What is found about the fire."""
    tuning = farm.tuning(FireUnattended, farm.sensor_by_id[sensor_id])
    burning = fire_view(picture, farm, now_ms)
    verdict, priority, sentence, advice = Verdict.UNKNOWN, Priority.TELL, "The fire is not known.", ""
    if isinstance(burning, Fire):
        verdict, sentence = Verdict.NORMAL, "The fire is out."
        if burning.is_lit:
            sentence = "The fire is tended, as far as is known."
            stack = f"Stack {degrees(burning.stack_c)}."
            empty_ms = feed_ran_out_ms(picture, farm, burning.since_ms, now_ms)
            is_empty = empty_ms is not None and now_ms - empty_ms >= tuning.empty_for_s * 1000
            if empty_ms is not None and is_empty and not ro_may_feed(picture, farm, empty_ms, now_ms):
                verdict, priority = _by_state(burning), Priority.WAKE
                since = clock_time(empty_ms, farm.zone, now_ms)
                sentence = f"The fire has nothing left to boil since {since}."
                advice = (
                    f"{stack} Let sap or water into the pans, fire no more. Mind the steam; never douse it."
                )
            elif _is_unlogged(picture, burning, tuning, now_ms):
                verdict = Verdict.ACTIVE
                since = clock_time(burning.since_ms, farm.zone, now_ms)
                sentence = f"A fire burns since {since} and nobody is logged as boiling."
                advice = f"{stack} Go and see, or log the boil."
    return found(tuning, sensor_id, now_ms, verdict, sentence, advice, priority=priority)


def _by_state(burning: Fire) -> Verdict:
    if burning.state in HOT:
        return Verdict.ACTIVE
    # An open door may mean more wood; a fire that sinks is how a boil ends.
    return Verdict.BETWEEN if burning.state in UNDECIDED else Verdict.NORMAL


def _is_unlogged(picture: Picture, burning: Fire, tuning: FireUnattended, now_ms: int) -> bool:
    if not keeps_log_of_boils(picture, now_ms) or boil_is_logged(picture, now_ms):
        return False
    stopped_ms = picture.logged_ms.get(LogKind.BOIL_STOPPED, 0)
    long_lit = now_ms - burning.since_ms >= tuning.unlogged_for_s * 1000
    return long_lit and now_ms - stopped_ms >= tuning.burn_down_s * 1000


RULE = Rule(ID, subjects, judge)
