"""Which of the texts that wait for one channel must still be sent, and in what words; pure.

    waiting -> a channel before it took it, a newer text says it:  spared
            -> few, or only just late:                             each as it is
            -> many and late, for the link was away:               one digest, in place of all of them

A digest says what is true when it is sent: what is active, the gravest first, then what is over. What has no room
in it is counted, and stands in the long form.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from shared.alerts import RANK, Alert, AlertState
from shared.farm import Farm
from shared.farm_contacts import Contact
from shared.gsm7 import LIMIT, fit, length
from shared.store import Outgoing, Text
from shared.words import clock_time

FEW_COUNT = 3
"""So many texts are read one by one (common practice, no source)."""
LATE_MS = 600_000
"""Texts that waited less long are news, however many they are."""
_UNCUT = 10_000


@dataclass(frozen=True, slots=True)
class Parcel:
    """One text to hand over, and the others that need not be sent once it was taken."""

    lead: Outgoing
    along: tuple[Outgoing, ...] = ()

    @property
    def rows(self) -> tuple[Outgoing, ...]:
        """All texts of the outbox that are done with it."""
        return (self.lead, *self.along)

    def is_due(self, now_ms: int) -> bool:
        """Whether any of it is to be tried now."""
        return any(row.is_due(now_ms) for row in self.rows)


def still_needed(
    rows: Sequence[Outgoing], contact: Contact, channel: str, begun_ms: Mapping[int, int], now_ms: int
) -> tuple[list[tuple[int, str]], list[Outgoing]]:
    """Of the texts for one channel: what is spared and why, and what is left to send, the gravest and newest first.

    Args:
        rows: All texts of that contact from the oldest that waits on, by any channel.
        contact: Its channels in their order.
        channel: Which of them.
        begun_ms: By id, since when a text is being handed over by another channel.
        now_ms: A text that was due once is looked at, also while it waits for its next try.
    """
    place = next(index for index, one in enumerate(contact.channels) if one.id == channel)
    before = {one.id for one in contact.channels[:place]}
    patience_ms = round(contact.channels[place].waits_s(place) * 1000)
    own = [row for row in rows if row.text.channel == channel]
    come = [row for row in own if row.is_due(now_ms) or (row.state == "waiting" and row.attempts)]
    said = [row for row in own if row.state == "sent"] + come
    taken = [row for row in rows if row.state == "sent" and row.text.channel in before]
    spared: list[tuple[int, str]] = []
    left: list[Outgoing] = []
    for row in come:
        reason = _newer(row, said)
        if not reason and row.text.fallback:
            reason = _taken(row, taken) or _newer(row, taken)
        if reason:
            spared.append((row.id, reason))
        elif not (row.text.fallback and _is_in_hand(row, rows, before, begun_ms, now_ms - patience_ms)):
            left.append(row)
    left.sort(key=lambda row: (RANK[row.text.priority], row.id), reverse=True)
    return spared, left


def _keys(text: Text) -> tuple[str, ...]:
    return (text.key, *text.also)


def _is_same(one: Outgoing, other: Outgoing) -> bool:
    return (one.text.key, one.text.event) == (other.text.key, other.text.event)


def _taken(row: Outgoing, taken: Iterable[Outgoing]) -> str:
    return next((f"{other.text.channel} has taken it" for other in taken if _is_same(row, other)), "")


def _newer(row: Outgoing, said: Iterable[Outgoing]) -> str:
    for other in said:
        if other.id > row.id and not _is_same(row, other) and _says_all(other.text, row.text):
            by = "" if other.text.channel == row.text.channel else f" by {other.text.channel}"
            return f"newer text {other.id}{by} says it"
    return ""


def _says_all(newer: Text, older: Text) -> bool:
    """Whether the newer one's short form speaks of all that the older one does: its end may have been cut off."""
    return all(key == newer.key or (key in newer.also and _names(newer.body, key)) for key in _keys(older))


def _names(body: str, key: str) -> bool:
    subject = re.escape(key.partition("/")[2])
    return re.search(rf"(?<![\w-]){subject}(?![\w-])", body, re.IGNORECASE) is not None


def _is_in_hand(
    row: Outgoing, rows: Iterable[Outgoing], before: set[str], begun_ms: Mapping[int, int], since_ms: int
) -> bool:
    """Whether a channel before it is just trying it for the first time, and not for too long."""
    return any(
        other.id in begun_ms and begun_ms[other.id] > since_ms and not other.attempts
        for other in rows
        if _is_same(row, other) and other.text.channel in before
    )


def parcels_of(
    left: Sequence[Outgoing], alerts: Mapping[str, Alert], farm: Farm, now_ms: int
) -> list[Parcel]:
    """What is left, each as it is; many that are late in one digest. What tells of no alert is never in one."""
    rows = [row for row in left if all(key in alerts for key in _keys(row.text))]
    is_late = bool(rows) and now_ms - min(row.created_ms for row in rows) > LATE_MS
    if len(rows) <= FEW_COUNT or not is_late:
        return [Parcel(row) for row in left]
    others = [Parcel(row) for row in left if row not in rows]
    return [_digest(rows, alerts, farm, now_ms), *others]


def _digest(rows: Sequence[Outgoing], alerts: Mapping[str, Alert], farm: Farm, now_ms: int) -> Parcel:
    keys = dict.fromkeys(key for row in rows for key in _keys(row.text))
    told = sorted((alerts[key] for key in keys), key=lambda alert: _order(alert, now_ms))
    lead = max(rows, key=lambda row: row.id)
    tail = f" #{lead.text.event}"
    # What a text is answered with answers for what it is about, so that has to stand in front.
    own = {row.text.key: row for row in sorted(rows, key=lambda row: row.id)}
    first = next(
        (a for a in told if a.key in own and _order(a, now_ms)[:2] == _order(told[0], now_ms)[:2]), None
    )
    if first is not None:
        told = [first, *(alert for alert in told if alert is not first)]
        lead = own[first.key]
        tail = f" {lead.text.body.rpartition(' ')[2]}"
    since = clock_time(min(row.created_ms for row in rows), farm.zone, now_ms)
    late = f" {len(rows)} texts late since {since}."
    body, named = _short(told, late, LIMIT - length(tail), farm, now_ms)
    lines = [f"{_line(alert, farm, now_ms)}{_more(alert, now_ms)}" for alert in told]
    # What its own words told stays with it: they may have gone by another channel, with the same code.
    answered = dict.fromkeys([*(alert.key for alert in named), *lead.text.also])
    text = replace(
        lead.text,
        body=body + tail,
        long_body="\n".join([f"{farm.name}: {lines[0]}", *lines[1:], late.strip()]) + tail,
        also=tuple(key for key in answered if key != lead.text.key),
    )
    return Parcel(replace(lead, text=text), tuple(row for row in rows if row.id != lead.id))


def _short(
    told: Sequence[Alert], late: str, room: int, farm: Farm, now_ms: int
) -> tuple[str, Sequence[Alert]]:
    """The short form, and what it names: as many as there is room for, the rest counted."""
    for count in range(len(told), 0, -1):
        more = f" +{len(told) - count} more on the page." if count < len(told) else ""
        body = fit(f"{_line(told[0], farm, now_ms)}{_named(told[1:count], now_ms)}{late}{more}", _UNCUT)
        if length(body) <= room:
            return body, told[:count]
    return fit(_line(told[0], farm, now_ms), room - length(late + more)) + late + more, told[:1]


def _order(alert: Alert, now_ms: int) -> tuple[int, int, int]:
    """What asks comes first, then what somebody knows of, then what is over; the gravest, then the newest first."""
    if alert.state is AlertState.ACTIVE and not alert.explained_by and not alert.is_shelved(now_ms):
        place, at_ms = 0, alert.raised_ms
    elif alert.is_active:
        place, at_ms = 1, alert.raised_ms
    else:
        place, at_ms = 2, alert.cleared_ms
    return place, -RANK[alert.priority], -(at_ms or 0)


_GROUPS = ("Also", "Known", "Was")


def _named(alerts: Iterable[Alert], now_ms: int) -> str:
    """By rule, as in any text: Also vacuum lost: brook, saddle. Was tank nearly full: lower."""
    groups: dict[str, dict[str, list[str]]] = {}
    for alert in alerts:
        rules = groups.setdefault(_GROUPS[_order(alert, now_ms)[0]], {})
        rules.setdefault(alert.rule.replace("_", " "), []).append(alert.subject)
    return "".join(
        f" {group} {'; '.join(f'{rule}: ' + ', '.join(names) for rule, names in rules.items())}."
        for group, rules in groups.items()
    )


def _line(alert: Alert, farm: Farm, now_ms: int) -> str:
    began = "" if alert.raised_ms is None else clock_time(alert.raised_ms, farm.zone, now_ms)
    if not alert.is_active:
        over = "" if alert.cleared_ms is None else clock_time(alert.cleared_ms, farm.zone, now_ms)
        return f"Was: {alert.sentence} {began}-{over}."
    return alert.sentence if "since" in alert.sentence or not began else f"{alert.sentence} Since {began}."


def _more(alert: Alert, now_ms: int) -> str:
    """What the long form says besides."""
    if not alert.is_active:
        return ""
    if alert.explained_by:
        return f" Explained: {alert.explained_by}."
    if alert.is_shelved(now_ms):
        return f" Paused: {alert.shelved_reason}."
    if alert.state is AlertState.ACKNOWLEDGED:
        return f" {alert.acknowledged_by} has it."
    return f" {alert.advice}" if alert.advice else ""
