"""The one evaluator: folds readings, requests and the clock into alerts and texts.

It is the same live, in a replay, in a simulated night and after a restart.

    reading -> picture of the farm -> rules of its subjects -> life cycle of their alerts
    each minute of event time       -> all rules, in the order of the list
    request -> acknowledge, shelve, log
    clock   -> what is about silence, expiry and repeating; then the texts that are due

Alerts depend only on the order of what is folded, never on how it was cut into batches: readings are judged
by their own time, a subject at most once a second of it. Texts come from the state of the alerts when the
backlog has been worked off, so an outage brings what is true now.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from zlib import compress, decompress

from pydantic import TypeAdapter

from collector.alerting.answers import Answering
from collector.alerting.book import ACKNOWLEDGEMENT_LASTS_S, Told, due_now
from collector.alerting.wording import texts_of
from collector.rules import RULES
from collector.rules.rule import Rule
from shared.alerts import (
    Alert,
    AlertState,
    Cause,
    Transition,
    acknowledge,
    advance,
    expire_acknowledgement,
    shelve,
    unshelve,
)
from shared.estimates.picture import Picture, dump_picture, new_picture, note_entry, observe, restore_picture
from shared.farm import Farm
from shared.readings import Reading
from shared.requests import Acknowledge, Request, Shelve, Unshelve, WriteLog
from shared.store import Memory, Text

JUDGE_EVERY_MS = 1_000
TICK_MS = 60_000


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
        return {f"{rule.id}/{subject}" for rule, subject in (*self.by_event, *self.by_arrival)}


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
    next_tick_ms: int = 0


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

    @property
    def is_urgent(self) -> bool:
        """Whether the store must know now; new wording of an alert that stands can wait for the next record."""
        return bool(self.transitions or self.texts)


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
            _keep(
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


def on_start(watch: Watch, now_ms: int) -> None:
    """Listening begins: nobody is called silent for the time before."""
    watch.picture.listening_ms = now_ms


def on_reading(watch: Watch, plan: Plan, reading: Reading, changes: Changes) -> None:
    """Fold one stored reading."""
    at_ms = reading.measured_ms
    # Minutes that have ended are judged before the reading that ends them is seen.
    if at_ms >= watch.alerting.next_tick_ms:
        if watch.alerting.next_tick_ms:
            tick_ms = watch.alerting.next_tick_ms
            for rule, subject in plan.by_event:
                # Those whose sensors speak have been judged as they spoke.
                if watch.alerting.judged_ms.get(f"{rule.id}/{subject}", 0) <= tick_ms - TICK_MS:
                    _judge(watch, plan, rule, subject, tick_ms, changes)
        watch.alerting.next_tick_ms = at_ms - at_ms % TICK_MS + TICK_MS
    observe(watch.picture, plan.farm, reading)
    for rule, subject in plan.by_sensor.get(reading.sensor, ()):
        if (
            not rule.by_arrival
            and at_ms >= watch.alerting.judged_ms.get(f"{rule.id}/{subject}", 0) + JUDGE_EVERY_MS
        ):
            _judge(watch, plan, rule, subject, at_ms, changes)


def on_request(watch: Watch, plan: Plan, request: Request, changes: Changes) -> None:
    """Fold one request of a person. One that names no alert we know changes nothing."""
    if isinstance(request, WriteLog):
        note_entry(watch.picture, plan.farm, request)
        return
    alert = watch.alerting.alerts.get(request.alert)
    if alert is None:
        return
    match request:
        case Acknowledge():
            changed = acknowledge(alert, request.by, request.asked_ms)
        case Shelve():
            changed = shelve(alert, request.until_ms, request.reason, request.by, request.asked_ms)
        case Unshelve():
            changed = unshelve(alert, request.asked_ms, request.by)
    _keep(watch, *changed, changes)


def on_clock(watch: Watch, plan: Plan, now_ms: int, changes: Changes) -> None:
    """Judge what is about silence, end what has run out, and say what is due."""
    for rule, subject in plan.by_arrival:
        _judge(watch, plan, rule, subject, now_ms, changes)
    for key, before in list(watch.alerting.alerts.items()):
        alert = before
        if alert.shelved_until_ms is not None and not alert.is_shelved(now_ms):
            _keep(watch, *unshelve(alert, now_ms), changes)
        alert = watch.alerting.alerts[key]
        if (
            alert.acknowledged_ms is not None
            and now_ms >= alert.acknowledged_ms + ACKNOWLEDGEMENT_LASTS_S * 1000
        ):
            _keep(watch, *expire_acknowledgement(alert, now_ms), changes)
    due = due_now(watch.alerting.alerts, watch.alerting.told, plan.farm, now_ms)
    changes.alerts.update({notice.alert.key: notice.alert for notice in due})
    changes.texts += texts_of(due, plan.farm, now_ms, plan.answering)


def _judge(watch: Watch, plan: Plan, rule: Rule, subject: str, at_ms: int, changes: Changes) -> None:
    key = f"{rule.id}/{subject}"
    watch.alerting.judged_ms[key] = max(at_ms, watch.alerting.judged_ms.get(key, 0))
    finding = rule.judge(plan.farm, watch.picture, subject, at_ms)
    alert = watch.alerting.alerts.get(key, Alert(rule.id, subject))
    _keep(watch, *advance(alert, finding), changes)


def _keep(watch: Watch, alert: Alert, transitions: tuple[Transition, ...], changes: Changes) -> None:
    before = watch.alerting.alerts.get(alert.key)
    if before == alert:
        return
    watch.alerting.alerts[alert.key] = alert
    # Hold times that run are kept in the memory; pages need only what they show.
    if transitions or alert.is_active:
        changes.alerts[alert.key] = alert
    changes.transitions.extend(transitions)
