"""What people ask of the evaluator, and what they are told by it.

request  -> acknowledge, shelve, answer, drill, log
clock    -> what has run out, and the texts that are due
delivery -> how each channel does, and what has reached somebody
"""

from dataclasses import replace

from collector.alerting import drill
from collector.alerting.answers import remember, take
from collector.alerting.book import ACKNOWLEDGEMENT_LASTS_S, Notice, Told, due_now, put_back
from collector.alerting.brief import brief_due
from collector.alerting.brief_forms import brief_texts
from collector.alerting.wording import CHANNEL_FAILING, texts_of
from collector.evaluator import Changes, Plan, Watch, keep
from shared.alerts import Alert, acknowledge, expire_acknowledgement, shelve, unshelve
from shared.estimates.brief import night_brief
from shared.estimates.channels import ChannelRecord, note_failed, note_taken
from shared.estimates.logbook import note_entry
from shared.farm_contacts import way_id
from shared.requests import Acknowledge, Answer, Drill, Request, Shelve, Unshelve, WriteLog
from shared.store import Delivery


def on_request(watch: Watch, plan: Plan, request: Request, changes: Changes) -> None:
    """Fold one request of a person. One that names no alert we know changes nothing."""
    at_ms = request.asked_ms
    match request:
        case WriteLog():
            note_entry(watch.picture, plan.farm, request)
        case Acknowledge():
            _answer(watch, request.alert, request.by, at_ms, changes)
        case Shelve() if (alert := _alert(watch, plan, request.alert)) is not None:
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


def _alert(watch: Watch, plan: Plan, key: str) -> Alert | None:
    """An alert that stands, or one that may come; None: there is no such alert on this farm."""
    alert = watch.alerting.alerts.get(key)
    if alert is None and key in plan.keys:
        rule, _, subject = key.partition("/")
        alert = Alert(rule, subject)
    return alert


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
    failing = _failing(watch)
    texts = tuple(
        texts_of(due, plan.farm, now_ms, plan.answering, every_channel=every_channel, failing=failing)
    )
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
    alerting = watch.alerting
    if now_ms < alerting.said_ms:
        put_back(alerting.told, alerting.said_ms - now_ms)
        changes.is_put_back = True
    alerting.said_ms = now_ms
    due = due_now(alerting.alerts, alerting.told, plan.farm, now_ms, _failing(watch))
    _say(watch, plan, due, now_ms, changes)
    set_ms = brief_due(plan.farm, alerting.brief_ms, now_ms, watch.picture.listening_ms)
    if set_ms is not None:
        alerting.brief_ms = set_ms
        brief = night_brief(plan.farm, watch.picture, alerting.alerts.values(), now_ms, _proven_ms(watch))
        changes.texts.extend(brief_texts(plan.farm, brief, set_ms))


def _proven_ms(watch: Watch) -> int | None:
    """When the way to a phone last held: a text was taken, or a drill answered."""
    held = watch.alerting.alerts.get(drill.KEY)
    times = [record.taken_ms for record in watch.picture.channels.values()]
    times.append(None if held is None else held.acknowledged_ms)
    return max((at_ms for at_ms in times if at_ms is not None), default=None)


def _failing(watch: Watch) -> frozenset[str]:
    """The channels that an alert says take no texts."""
    alerts = watch.alerting.alerts.values()
    return frozenset(alert.subject for alert in alerts if alert.rule == CHANNEL_FAILING and alert.is_active)


def on_delivery(watch: Watch, plan: Plan, delivery: Delivery) -> None:
    """Fold what came of handing a text over: how its channel does, and what has reached somebody."""
    contact = next((one for one in plan.farm.contacts if one.id == delivery.contact), None)
    if contact is None or delivery.channel not in {channel.id for channel in contact.channels}:
        return
    way = way_id(delivery.contact, delivery.channel)
    record = watch.picture.channels.setdefault(way, ChannelRecord())
    if delivery.error is not None:
        note_failed(record, delivery.at_ms, delivery.error)
        return
    note_taken(record, delivery.at_ms)
    for key in delivery.keys:
        if (told := watch.alerting.told.get(key)) is not None:
            told.confirmed_ms = max(told.confirmed_ms, delivery.created_ms)
    # A digest says more than the text whose code it carries, and is answered for all that it says.
    if (asked := watch.alerting.answerable.get(delivery.code)) is not None:
        watch.alerting.answerable[delivery.code] = replace(
            asked, keys=tuple(dict.fromkeys((*asked.keys, *delivery.keys)))
        )
