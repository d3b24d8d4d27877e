"""What a rule is."""

from collections.abc import Callable
from dataclasses import dataclass

from shared.alerts import Finding
from shared.estimates.picture import Picture
from shared.farm import Farm
from shared.readings import Quantity


@dataclass(frozen=True, slots=True)
class Subject:
    """What a rule watches: its id and the sensors whose readings make it worth looking again."""

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


def fire_subjects(rule_id: str) -> Callable[[Farm], tuple[Subject, ...]]:
    """What a rule about the fire watches: the farm's first stack sensor, unless the rule is off there."""

    def subjects(farm: Farm) -> tuple[Subject, ...]:
        stacks = farm.sensors_of(Quantity.STACK_TEMPERATURE)[:1]
        return tuple(Subject(s.id, (s.id,)) for s in stacks if farm.tuning(rule_id, s).enabled)

    return subjects
