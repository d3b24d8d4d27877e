"""The one evaluator: folds readings and the clock into alerts and texts; what people ask is in people.py.

It is the same live, in a replay, in a simulated night and after a restart.

    reading -> picture of the farm -> rules of its subjects -> life cycle of their alerts
    each minute of event time       -> all rules, in the order of the list; slow ones each few minutes
    reject  -> picture of the farm, judged with the next minute
    clock   -> what is about silence, expiry and repeating; then the texts that are due

Alerts depend only on the order of what is folded, never on how it was cut into batches: readings are judged
by their own time, a subject at most once a second of it. Texts come from the state of the alerts when the
backlog has been worked off, so an outage brings what is true now.
"""

from collector.evaluator import Changes, Plan, Watch, keep
from collector.people import look_after, say_due
from collector.rules.rule import Rule
from shared.alerts import Alert, advance
from shared.estimates.picture import observe
from shared.estimates.sensor_peers import note_reject
from shared.readings import Reading, Reject

JUDGE_EVERY_MS = 1_000
TICK_MS = 60_000
SILENCE_EVERY_MS = 10_000
"""Silence is told after minutes, so it is not looked for at every second of every sensor."""


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
                if watch.alerting.judged_ms.get(f"{rule.id}/{subject}", 0) <= tick_ms - rule.every_ms:
                    _judge(watch, plan, rule, subject, tick_ms, changes)
        watch.alerting.next_tick_ms = at_ms - at_ms % TICK_MS + TICK_MS
    observe(watch.picture, plan.farm, reading)
    for rule, subject in plan.by_sensor.get(reading.sensor, ()):
        if (
            not rule.by_arrival
            and at_ms >= watch.alerting.judged_ms.get(f"{rule.id}/{subject}", 0) + JUDGE_EVERY_MS
        ):
            _judge(watch, plan, rule, subject, at_ms, changes)


def on_reject(watch: Watch, plan: Plan, reject: Reject) -> None:
    """Fold one stored reject. It has no time of its own that can be trusted: it is taken to be of the newest minute."""
    next_ms = watch.alerting.next_tick_ms
    at_ms = min(reject.received_ms, next_ms or reject.received_ms)
    note_reject(watch.picture.health, plan.farm, reject, at_ms)


def on_clock(watch: Watch, plan: Plan, now_ms: int, changes: Changes) -> None:
    """Judge what is about silence, end what has run out, and say what is due."""
    # A clock that was put back is no reason to wait.
    if abs(now_ms - watch.alerting.silence_judged_ms) >= SILENCE_EVERY_MS:
        watch.alerting.silence_judged_ms = now_ms
        for rule, subject in plan.by_arrival:
            _judge(watch, plan, rule, subject, now_ms, changes)
    look_after(watch, plan, now_ms, changes)
    say_due(watch, plan, now_ms, changes)


def _judge(watch: Watch, plan: Plan, rule: Rule, subject: str, at_ms: int, changes: Changes) -> None:
    key = f"{rule.id}/{subject}"
    watch.alerting.judged_ms[key] = max(at_ms, watch.alerting.judged_ms.get(key, 0))
    finding = rule.judge(plan.farm, watch.picture, subject, at_ms)
    before = watch.alerting.alerts.get(key) or Alert(rule.id, subject)
    alert, transitions = advance(before, finding)
    # Most findings of most rules are that all is well, and of those nothing need be kept.
    if alert is not before:
        keep(watch, alert, transitions, changes)
