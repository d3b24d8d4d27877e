"""What the evaluator is made of: the plan it works by, all that it remembers, and what it has changed."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from zlib import compress, decompress

from pydantic import TypeAdapter

from collector.alerting import drill
from collector.alerting.answers import Answerable, Answering
from collector.alerting.book import Told
from collector.rules import RULES
from collector.rules.rule import Rule
from shared.alerts import Alert, AlertState, Cause, Transition
from shared.estimates.picture import Picture, dump_picture, new_picture, restore_picture
from shared.farm import Farm
from shared.store import Memory, Text


@dataclass(frozen=True, slots=True)
class Plan:
    """A farm and its rules, looked up by what they watch."""

    farm: Farm
    by_sensor: dict[str, tuple[tuple[Rule, str], ...]]
    by_event: tuple[tuple[Rule, str], ...]
    by_arrival: tuple[tuple[Rule, str], ...]
    answering: Answering | None = None
    """How texts may be answered by those who got them; None: only on the pages."""

    @property
    def keys(self) -> set[str]:
        """The keys of all alerts there can be."""
        rules = {f"{rule.id}/{subject}" for rule, subject in (*self.by_event, *self.by_arrival)}
        return rules | {drill.KEY}


def plan_for(farm: Farm, rules: Iterable[Rule] = RULES, answering: Answering | None = None) -> Plan:
    """The plan of these rules on that farm."""
    by_sensor: dict[str, list[tuple[Rule, str]]] = {}
    by_event: list[tuple[Rule, str]] = []
    by_arrival: list[tuple[Rule, str]] = []
    for rule in rules:
        for subject in rule.subjects(farm):
            (by_arrival if rule.by_arrival else by_event).append((rule, subject.id))
            for sensor in subject.sensors:
                by_sensor.setdefault(sensor, []).append((rule, subject.id))
    return Plan(
        farm, {s: tuple(r) for s, r in by_sensor.items()}, tuple(by_event), tuple(by_arrival), answering
    )


@dataclass(slots=True)
class Alerting:
    """What is remembered beside the picture of the farm."""

    alerts: dict[str, Alert] = field(default_factory=dict)
    told: dict[str, Told] = field(default_factory=dict)
    judged_ms: dict[str, int] = field(default_factory=dict)
    silence_judged_ms: int = 0
    next_tick_ms: int = 0
    said_ms: int = 0
    """When it was last looked at what is due to be said."""
    answerable: dict[str, Answerable] = field(default_factory=dict)
    """By code: the texts that may still be answered."""
    drilled_ms: int = 0
    """When the weekly drill was last held."""
    brief_ms: int | None = None
    """The set time of the last night brief that was sent."""


@dataclass(slots=True)
class Watch:
    """All that the evaluator remembers; it is stored whole."""

    picture: Picture
    alerting: Alerting = field(default_factory=Alerting)


@dataclass(slots=True)
class Changes:
    """What folding changed and the store does not know yet."""

    alerts: dict[str, Alert] = field(default_factory=dict)
    transitions: list[Transition] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    is_put_back: bool = False
    """The clock was put back, and all that waits for a time has followed it."""

    @property
    def is_urgent(self) -> bool:
        """Whether the store must know now; new wording of an alert that stands can wait for the next record."""
        return bool(self.transitions or self.texts or self.is_put_back)


_ALERTING = TypeAdapter(Alerting)


def memory_of(watch: Watch, cursor: int, request_cursor: int, at_ms: int) -> Memory:
    """The evaluator as the store keeps it, with the cursors it has come to."""
    alerting = compress(_ALERTING.dump_json(watch.alerting), 1)
    return Memory(cursor, request_cursor, at_ms, dump_picture(watch.picture), alerting)


def new_watch(plan: Plan) -> Watch:
    """An evaluator that has seen nothing."""
    return Watch(new_picture(plan.farm))


def restore_watch(memory: Memory, plan: Plan, changes: Changes) -> Watch:
    """The evaluator as it was stored; alerts whose rule or subject the farm file no longer has are closed."""
    alerting = _ALERTING.validate_json(decompress(memory.alerting))
    watch = Watch(restore_picture(memory.picture, plan.farm), alerting)
    keys = plan.keys
    for key, alert in list(alerting.alerts.items()):
        if key not in keys and alert.state is not AlertState.NORMAL:
            closed = replace(alert, state=AlertState.NORMAL, cleared_ms=memory.at_ms)
            keep(
                watch,
                closed,
                (
                    Transition(
                        key,
                        alert.episode,
                        memory.at_ms,
                        Cause.RULE_REMOVED,
                        closed.state,
                        alert.priority,
                        alert.sentence,
                    ),
                ),
                changes,
            )
    return watch


def keep(watch: Watch, alert: Alert, transitions: tuple[Transition, ...], changes: Changes) -> None:
    """Take what an alert has become, and note it for the store where it matters there."""
    before = watch.alerting.alerts.get(alert.key)
    if before == alert:
        return
    watch.alerting.alerts[alert.key] = alert
    # Hold times that run are kept in the memory; pages need only what they show.
    if transitions or alert.is_active:
        changes.alerts[alert.key] = alert
    changes.transitions.extend(transitions)
