"""What people ask of the evaluator, and what they are told by it.

request -> acknowledge, shelve, answer, drill, log
clock   -> what has run out, and the texts that are due
"""

from collector.alerting import drill
from collector.alerting.answers import remember, take
from collector.alerting.book import ACKNOWLEDGEMENT_LASTS_S, Notice, Told, due_now
from collector.alerting.wording import texts_of
from collector.evaluator import Changes, Plan, Watch, keep
from shared.alerts import Alert, acknowledge, expire_acknowledgement, shelve, unshelve
from shared.estimates.picture import note_entry
from shared.requests import Acknowledge, Answer, Drill, Request, Shelve, Unshelve, WriteLog


def on_request(watch: Watch, plan: Plan, request: Request, changes: Changes) -> None:
    """Fold one request of a person. One that names no alert we know changes nothing."""
    at_ms = request.asked_ms
    match request:
        case WriteLog():
            note_entry(watch.picture, plan.farm, request)
        case Acknowledge():
            _answer(watch, request.alert, request.by, at_ms, changes)
        case Shelve() if (alert := watch.alerting.alerts.get(request.alert)) is not None:
            keep(watch, *shelve(alert, request.until_ms, request.reason, request.by, at_ms), changes)
        case Unshelve() if (alert := watch.alerting.alerts.get(request.alert)) is not None:
            keep(watch, *unshelve(alert, at_ms, request.by), changes)
        case Answer():
            answered = take(watch.alerting.answerable, request)
            if answered is None:
                return
            by = next((c.name for c in plan.farm.contacts if c.id == answered.contact), answered.contact)
            for key in answered.keys:
                _answer(watch, key, by, at_ms, changes)
                if request.quiet_ms and (alert := watch.alerting.alerts.get(key)) is not None:
                    keep(
                        watch, *shelve(alert, at_ms + request.quiet_ms, "asked for quiet", by, at_ms), changes
                    )
        case Drill():
            _drill(watch, plan, request.by, at_ms, changes)


def _answer(watch: Watch, key: str, by: str, at_ms: int, changes: Changes) -> None:
    alert = watch.alerting.alerts.get(key)
    if alert is None:
        return
    keep(watch, *acknowledge(alert, by, at_ms), changes)
    if key == drill.KEY:
        keep(watch, *drill.end(watch.alerting.alerts[key], at_ms), changes)


def _drill(watch: Watch, plan: Plan, by: str, at_ms: int, changes: Changes) -> None:
    before = watch.alerting.alerts.get(drill.KEY, Alert(drill.RULE, drill.SUBJECT))
    alert, transitions = drill.start(before, by, plan.farm, at_ms)
    keep(watch, alert, transitions, changes)
    everybody = tuple(contact.id for contact in plan.farm.contacts)
    told = watch.alerting.told.setdefault(drill.KEY, Told())
    told.number += 1
    notice = Notice(alert, f"{alert.episode}.{told.number}", everybody, "")
    _say(watch, plan, [notice], at_ms, changes, every_channel=True)


def _say(
    watch: Watch, plan: Plan, due: list[Notice], now_ms: int, changes: Changes, *, every_channel: bool = False
) -> None:
    changes.alerts.update({notice.alert.key: notice.alert for notice in due})
    texts = tuple(texts_of(due, plan.farm, now_ms, plan.answering, every_channel=every_channel))
    remember(watch.alerting.answerable, texts, now_ms)
    changes.texts.extend(texts)


def look_after(watch: Watch, plan: Plan, now_ms: int, changes: Changes) -> None:
    """End what has run out: pauses, acknowledgements, a drill's patience; begin a drill that is due."""
    for key, before in list(watch.alerting.alerts.items()):
        alert = before
        if alert.shelved_until_ms is not None and not alert.is_shelved(now_ms):
            keep(watch, *unshelve(alert, now_ms), changes)
        alert = watch.alerting.alerts[key]
        if (
            alert.acknowledged_ms is not None
            and now_ms >= alert.acknowledged_ms + ACKNOWLEDGEMENT_LASTS_S * 1000
        ):
            keep(watch, *expire_acknowledgement(alert, now_ms), changes)
    if drill.is_due(plan.farm, watch.alerting.drilled_ms, now_ms):
        watch.alerting.drilled_ms = now_ms
        _drill(watch, plan, "the farm file", now_ms, changes)
    if (held := watch.alerting.alerts.get(drill.KEY)) is not None:
        keep(watch, *drill.look_at(held, plan.farm, now_ms), changes)


def say_due(watch: Watch, plan: Plan, now_ms: int, changes: Changes) -> None:
    """Say what is due, to whom, by the state of the alerts."""
    due = due_now(watch.alerting.alerts, watch.alerting.told, plan.farm, now_ms)
    _say(watch, plan, due, now_ms, changes)
