"""What a rule is, and what rules have in common."""

from collections.abc import Callable
from dataclasses import dataclass

from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Quantity
from shared.tuning import RULE_OF
from shared.tuning.section import RuleTuning


@dataclass(frozen=True, slots=True)
class Subject:
    """What a rule watches: its id and the sensors whose readings make it worth looking again at once."""

    id: str
    sensors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: `judge(farm, picture, subject, now_ms)` at event time, or by arrival where `by_arrival`."""

    id: str
    subjects: Callable[[Farm], tuple[Subject, ...]]
    judge: Callable[[Farm, Picture, str, int], Finding]
    by_arrival: bool = False
    """Judged by the clock on the wall, because it is about what does not arrive."""
    every_ms: int = 60_000
    """Judged at least so often by the sensors' own time, and whenever a sensor of its subject speaks."""


def found(
    tuning: RuleTuning,
    subject: str,
    now_ms: int,
    verdict: Verdict,
    sentence: str,
    advice: str = "",
    *,
    priority: Priority,
    explained_by: str = "",
) -> Finding:
    """What the rule of that tuning finds, with its hold times, no graver than the owner lets it be."""
    return Finding(
        RULE_OF[type(tuning)],
        subject,
        verdict,
        tuning.capped(priority),
        now_ms,
        tuning.hold,
        sentence,
        advice,
        explained_by,
    )


def tanks_watched(
    farm: Farm, section: type[RuleTuning], wanted: Callable[[Tank], bool]
) -> tuple[Subject, ...]:
    """Every wanted tank that has a level sensor, unless the rule is off there."""
    levels = {tank.id: farm.sensors_of(Quantity.LEVEL, tank=tank.id) for tank in farm.tanks}
    return tuple(
        Subject(tank.id, tuple(sensor.id for sensor in levels[tank.id]))
        for tank in farm.tanks
        if levels[tank.id] and wanted(tank) and farm.tuning(section, tank).enabled
    )


def first_thing(farm: Farm, tank: Tank) -> str:
    """What to do first about a tank that is filling."""
    if tank.drains_to is not None:
        return f"Start the transfer to {tank.drains_to}."
    if farm.ro is not None and tank.id in farm.ro.takes_from:
        return "Start the RO."
    if tank.holds is Holds.CONCENTRATE:
        return "Start the boil or stop the RO."
    return "Make room."


def stack_watched(section: type[RuleTuning]) -> Callable[[Farm], tuple[Subject, ...]]:
    """What a rule about the fire watches: the farm's first stack sensor, unless the rule is off there."""

    def subjects(farm: Farm) -> tuple[Subject, ...]:
        stacks = farm.sensors_of(Quantity.STACK_TEMPERATURE)[:1]
        return tuple(Subject(s.id, (s.id,)) for s in stacks if farm.tuning(section, s).enabled)

    return subjects
