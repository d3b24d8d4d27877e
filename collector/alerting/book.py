"""Who is told what, and when: from the state of the alerts, never from what has happened since.

`notice_of` compares each alert with what was told of it and says what is still due. A trouble that came
and went while nobody could be told is therefore one line, not two; a restart tells nothing twice.
What is due to the same contact at the same time is one text (wording.py).
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from shared.alerts import Alert, AlertState, Priority
from shared.farm import Farm
from shared.farm_contacts import Contact

REPEAT_AFTER_S = (300.0, 900.0, 1800.0, 3600.0)
"""A wake alert that nobody acknowledges is told again after these times, then each hour."""
NEXT_CONTACT_AFTER_S = 900.0
"""After so long without an answer the next contact is told as well, and so on (common practice, no source)."""
ACKNOWLEDGEMENT_LASTS_S = 3600.0
"""If the trouble outlasts its acknowledgement by this much, it asks again."""
GATHER_S = 30.0
"""What wakes nobody waits so long for more of its kind (common practice, no source)."""
CALM_S = 1800.0
"""No reminder while it is being made sure that a trouble is over, but for no longer than this: a sensor that says
neither yes nor no must not keep its owner from hearing of it."""
FLAPS_COUNT, FLAPS_S, SETTLED_S = 3, 6 * 3600.0, 3600.0
"""What only tells and begins for the third time in six hours comes and goes: that is said once, and then nothing
until it has been over for an hour (common practice, no source)."""
AHEAD_FRACTION = 0.25
"""A reminder that has no more than this of its wait left goes with a text that goes out now."""


@dataclass(slots=True)
class Told:
    """What was told of one alert: for which episode and priority, how often, when, to whom."""

    episode: int = 0
    priority: Priority = Priority.NOTE
    asked_ms: int = 0
    """When it began to ask: raised, grew worse, or outlasted its acknowledgement."""
    count: int = 0
    number: int = 0
    contacts: list[str] = field(default_factory=list)
    cleared_told: bool = True
    seen_ms: int | None = None
    """Since when something that may wait is due."""
    calm_ms: int | None = None
    """Since when it may be over, by our own clock: a sensor's may be wrong by days."""
    confirmed_ms: int = 0
    """When the newest text about it that any channel has taken was written."""
    begun_ms: list[int] = field(default_factory=list)
    """When its last beginnings were told."""
    flaps: bool = False
    """It was told that it comes and goes."""


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to be said to these contacts; `event` numbers it within its alert."""

    alert: Alert
    event: str
    contacts: tuple[str, ...]
    opening: str
    """Empty where it is news; Still, Comes and goes, Over, Was."""

    @property
    def asks(self) -> bool:
        """Whether it wants an answer."""
        return self.alert.state is AlertState.ACTIVE


def put_back(told: Mapping[str, Told], by_ms: int) -> None:
    """The clock was put back by so much: no wait may grow longer by it."""
    for one in told.values():
        one.confirmed_ms -= by_ms
        one.begun_ms = [at_ms - by_ms for at_ms in one.begun_ms]
        if one.asked_ms:
            one.asked_ms -= by_ms
        if one.seen_ms is not None:
            one.seen_ms -= by_ms
        if one.calm_ms is not None:
            one.calm_ms -= by_ms


def due_now(
    alerts: Mapping[str, Alert],
    told: dict[str, Told],
    farm: Farm,
    now_ms: int,
    failing: Collection[str] = (),
) -> list[Notice]:
    """All that is due; where something is said anyway, what may wait or is due soon goes with it.

    Whom only channels reach that are `failing` is passed over, as long as there is anybody else.
    """
    found: dict[str, Notice] = {}
    contacts = tuple(contact for contact in farm.contacts if not contact.is_cut_off(failing)) or farm.contacts
    for hurry in (False, True):
        for key, alert in alerts.items():
            if key not in found:
                notice = notice_of(
                    alert, told.setdefault(key, Told()), contacts, farm.zone, now_ms, hurry=hurry
                )
                if notice is not None:
                    found[key] = notice
        if not found:
            break
    return list(found.values())


def notice_of(
    alert: Alert,
    told: Told,
    contacts: Sequence[Contact],
    zone: ZoneInfo,
    now_ms: int,
    *,
    hurry: bool = False,
) -> Notice | None:
    """What is due of this alert now; `told` is brought up to date as if it were said.

    The caller stores the texts and `told` in one transaction, so that nothing is said twice or lost.
    """
    if alert.calm_since_ms is None:
        told.calm_ms = None
    elif told.calm_ms is None:
        told.calm_ms = now_ms
    if alert.priority is Priority.NOTE or not contacts or alert.is_shelved(now_ms):
        return None
    if alert.state is AlertState.ACTIVE:
        return None if alert.explained_by else _asks(alert, told, contacts, zone, now_ms, hurry=hurry)
    if alert.state is AlertState.ACKNOWLEDGED:
        told.asked_ms = 0  # asks afresh when the acknowledgement runs out
        return None
    is_over = told.episode == alert.episode and not told.cleared_told
    was_missed = told.episode < alert.episode and alert.cleared_ms is not None
    if not (is_over or was_missed) or _may_wait(alert, told, contacts, zone, now_ms, hurry=hurry):
        return None
    told.cleared_told = True
    if is_over or told.flaps:
        told.episode, told.flaps = alert.episode, False
        return _notice(alert, told, "Over: ")
    told.episode, told.asked_ms = alert.episode, 0
    told.contacts = [_hearing(contacts, alert.priority, zone, now_ms)[0].id]
    return _notice(alert, told, "Was: ")


def _asks(
    alert: Alert, told: Told, contacts: Sequence[Contact], zone: ZoneInfo, now_ms: int, *, hurry: bool
) -> Notice | None:
    if told.episode != alert.episode or told.priority is not alert.priority or told.asked_ms == 0:
        if _may_wait(alert, told, contacts, zone, now_ms, hurry=hurry):
            return None
        again = told.contacts if told.episode == alert.episode else []
        opening = "Still: " if again and told.priority is alert.priority else ""
        told.begun_ms = [at_ms for at_ms in told.begun_ms if now_ms - at_ms < FLAPS_S * 1000]
        if not opening and alert.priority is Priority.TELL:
            told.begun_ms.append(now_ms)
            told.flaps = len(told.begun_ms) >= FLAPS_COUNT
            opening = "Comes and goes: " if told.flaps else ""
        told.episode, told.priority, told.asked_ms = alert.episode, alert.priority, now_ms
        told.count, told.cleared_told = 0, False
        told.contacts = list(again) or [_hearing(contacts, alert.priority, zone, now_ms)[0].id]
        return _notice(alert, told, opening)
    if _is_calm(told, now_ms) or alert.priority is not Priority.WAKE:
        return None
    if now_ms < told.asked_ms + _reminder_s(told.count, hurry=hurry) * 1000:
        return None
    reach = 1 + int((now_ms - told.asked_ms) / 1000 // NEXT_CONTACT_AFTER_S)
    known = [contact.id for contact in _hearing(contacts, alert.priority, zone, now_ms)[:reach]]
    told.contacts = list(dict.fromkeys([*told.contacts, *known]))
    told.count += 1
    # Times missed while the machine was off are not made up for, one by one.
    while now_ms >= told.asked_ms + _repeat_after_s(told.count) * 1000:
        told.count += 1
    return _notice(alert, told, "Still: ")


def _may_wait(
    alert: Alert, told: Told, contacts: Sequence[Contact], zone: ZoneInfo, now_ms: int, *, hurry: bool
) -> bool:
    """Whether it is better said later: in company, or after its contact's quiet hours. Never what wakes."""
    if alert.priority is Priority.WAKE:
        return False
    if alert.is_active and (told.flaps or _is_calm(told, now_ms)):
        return True  # it is known to come and go, or may be over
    if told.flaps and alert.cleared_ms is not None and now_ms - alert.cleared_ms < SETTLED_S * 1000:
        return True
    if told.seen_ms is None:
        told.seen_ms = now_ms
    if not contacts[0].hears(alert.priority, now_ms, zone):
        return True
    return not hurry and now_ms - told.seen_ms < GATHER_S * 1000


def _is_calm(told: Told, now_ms: int) -> bool:
    return told.calm_ms is not None and now_ms < told.calm_ms + CALM_S * 1000


def _hearing(contacts: Sequence[Contact], priority: Priority, zone: ZoneInfo, now_ms: int) -> list[Contact]:
    """Those who may be told now, in their order; all of them rather than nobody."""
    hearing = [contact for contact in contacts if contact.hears(priority, now_ms, zone)]
    return hearing or list(contacts)


def _repeat_after_s(count: int) -> float:
    if count < len(REPEAT_AFTER_S):
        return REPEAT_AFTER_S[count]
    return REPEAT_AFTER_S[-1] + (count - len(REPEAT_AFTER_S) + 1) * 3600.0


def _reminder_s(count: int, *, hurry: bool) -> float:
    after_s = _repeat_after_s(count)
    waited_s = after_s - (_repeat_after_s(count - 1) if count else 0.0)
    return after_s - hurry * AHEAD_FRACTION * waited_s


def _notice(alert: Alert, told: Told, opening: str) -> Notice:
    told.number += 1
    told.seen_ms = None
    return Notice(alert, f"{alert.episode}.{told.number}", tuple(told.contacts), opening)
