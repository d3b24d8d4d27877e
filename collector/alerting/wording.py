"""Notices become texts: one for each contact and time, at most 160 GSM-7 characters, with a long form for mail.

    Lower tank is full about 04:30. 1,290 of 1,600 gal, +142 gal/h, 2 h left. Start the RO. #K7QX3M2TAB

Whatever else is due to the same contact at the same time is named behind it. The last word lets a person
see that a text came twice (delivery is at least once), and is the code or link to answer with.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from collector.alerting.answers import Answering, code_for
from collector.alerting.book import Notice
from shared.alerts import RANK
from shared.farm import Farm
from shared.farm_contacts import Contact, way_id
from shared.gsm7 import LIMIT, fit, length
from shared.store import Text
from shared.words import clock_time

LATE_MS = 600_000
"""A trouble first told so long after it was raised says since when (a contact's quiet hours, an outage)."""
CHANNEL_FAILING = "channel_failing"
_GROUPS = {
    "": "Also",
    "Comes and goes: ": "Come and go",
    "Still: ": "Still",
    "Over: ": "Over",
    "Was: ": "Was",
}


def texts_of(
    notices: Iterable[Notice],
    farm: Farm,
    now_ms: int,
    answering: Answering | None,
    *,
    every_channel: bool = False,
    failing: Collection[str] = (),
) -> Iterator[Text]:
    """The texts for every contact and channel; later channels of a contact are due later, as the farm file says.

    With `every_channel` all are due now, whatever the others do. A channel that is known to be `failing` is not
    waited for, and what tells of nothing but such channels does not go by one.
    """
    said = sorted(notices, key=lambda notice: (not notice.asks, -RANK[notice.alert.priority]))
    for contact in farm.contacts:
        mine = [notice for notice in said if contact.id in notice.contacts]
        if mine:
            text = _for_contact(mine, contact, farm, now_ms, answering)
            of_channels = all(notice.alert.rule == CHANNEL_FAILING for notice in mine)
            sound = 0
            for index, channel in enumerate(contact.channels):
                is_failing = way_id(contact.id, channel.id) in failing
                waits_s = 0.0 if every_channel else channel.waits_s(sound)
                fallback = index > 0 and not every_channel and channel.after_s != 0
                if not (is_failing and of_channels):
                    due_ms = now_ms + round(waits_s * 1000)
                    yield replace(text, channel=channel.id, due_ms=due_ms, fallback=fallback)
                sound += not is_failing


def _for_contact(
    notices: list[Notice], contact: Contact, farm: Farm, now_ms: int, answering: Answering | None
) -> Text:
    first, others = notices[0], notices[1:]
    code = ""
    tail = f" #{first.event}"
    if first.asks and answering is not None:
        code = code_for(answering.secret, first.alert.key, first.event, contact.id)
        tail = f" {answering.link}{code}" if answering.link else f" #{code}"
    short = _said(first, farm, now_ms, with_advice=not any(other.asks for other in others))
    body = fit(f"{short}{_also(others)}", LIMIT - length(tail)) + tail
    lines = [_said(notice, farm, now_ms, with_advice=True) for notice in notices]
    long_body = "\n".join([f"{farm.name}: {lines[0]}", *lines[1:]]) + tail
    return Text(
        first.alert.key,
        first.event,
        contact.id,
        "",
        body,
        long_body,
        now_ms,
        first.alert.priority,
        also=tuple(notice.alert.key for notice in others),
        code=code,
    )


def _said(notice: Notice, farm: Farm, now_ms: int, *, with_advice: bool) -> str:
    alert, since = notice.alert, ""
    if alert.raised_ms is not None:
        began = clock_time(alert.raised_ms, farm.zone, now_ms)
        if notice.opening and alert.cleared_ms is not None:
            since = f" {began}-{clock_time(alert.cleared_ms, farm.zone, now_ms)}."
        elif (notice.opening or now_ms - alert.raised_ms > LATE_MS) and "since" not in alert.sentence:
            since = f" Since {began}."
    advice = f" {alert.advice}" if alert.advice and notice.asks and with_advice else ""
    return f"{notice.opening}{alert.sentence}{since}{advice}"


def _also(others: list[Notice]) -> str:
    """What else is told, by rule: Also vacuum lost: brook, saddle. Over tank nearly full: lower."""
    groups: dict[str, dict[str, list[str]]] = {}
    for notice in others:
        rules = groups.setdefault(_GROUPS[notice.opening], {})
        rules.setdefault(notice.alert.rule.replace("_", " "), []).append(notice.alert.subject)
    return "".join(
        f" {group} {'; '.join(f'{rule}: ' + ', '.join(names) for rule, names in rules.items())}."
        for group, rules in groups.items()
    )
