"""Who is told what, and when: from the state of the alerts, never from what has happened since.

`notices` compares each alert with what was told of it and says what is still due. A trouble that came
and went while nobody could be told is therefore one line, not two; a restart tells nothing twice.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from shared.alerts import Alert, AlertState, Priority
from shared.farm import Farm
from shared.gsm7 import LIMIT, fit, length
from shared.words import clock_time

REPEAT_AFTER_S = (300.0, 900.0, 1800.0, 3600.0)
"""A wake alert that nobody acknowledges is told again after these times, then each hour."""
NEXT_CONTACT_AFTER_S = 900.0
"""After so long without an answer the next contact is told as well, and so on (common practice, no source)."""
ACKNOWLEDGEMENT_LASTS_S = 3600.0
"""If the trouble outlasts its acknowledgement by this much, it asks again."""


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


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to be said to these contacts; `event` numbers it within its alert."""

    key: str
    event: str
    contacts: tuple[str, ...]
    body: str
    long_body: str


def notices(alert: Alert, told: Told, farm: Farm, now_ms: int) -> Iterator[Notice]:
    """What is due of this alert now; `told` is brought up to date as if it were said.

    The caller stores the notices and `told` in one transaction, so that nothing is said twice or lost.
    """
    if alert.priority is Priority.NOTE or not farm.contacts or alert.is_shelved(now_ms):
        return
    if alert.state is AlertState.ACTIVE:
        if told.episode != alert.episode or told.priority is not alert.priority or told.asked_ms == 0:
            again = told.contacts if told.episode == alert.episode else []
            opening = "Still: " if again and told.priority is alert.priority else ""
            told.episode, told.priority, told.asked_ms = alert.episode, alert.priority, now_ms
            told.count, told.cleared_told = 0, False
            told.contacts = list(again) or [farm.contacts[0].id]
            yield _notice(alert, told, farm, opening)
        elif alert.calm_since_ms is not None:
            return  # it may be over: no reminder while that is being made sure
        elif alert.priority is Priority.WAKE and now_ms >= told.asked_ms + _repeat_after_s(told.count) * 1000:
            asked_for_s = (now_ms - told.asked_ms) / 1000
            reach = min(len(farm.contacts), 1 + int(asked_for_s // NEXT_CONTACT_AFTER_S))
            told.contacts = [c.id for c in farm.contacts[: max(reach, len(told.contacts))]]
            # Times missed while the machine was off are not made up for, one by one.
            while now_ms >= told.asked_ms + _repeat_after_s(told.count) * 1000:
                told.count += 1
            yield _notice(alert, told, farm, "Still: ")
    elif alert.state is AlertState.ACKNOWLEDGED:
        told.asked_ms = 0  # asks afresh when the acknowledgement runs out
    elif not told.cleared_told and told.episode == alert.episode:
        told.cleared_told = True
        yield _notice(alert, told, farm, "Over: ")
    elif alert.episode > told.episode and alert.cleared_ms is not None:
        told.episode, told.asked_ms, told.cleared_told = alert.episode, 0, True
        told.contacts = [farm.contacts[0].id]
        yield _notice(alert, told, farm, "Was: ")


def _repeat_after_s(count: int) -> float:
    if count < len(REPEAT_AFTER_S):
        return REPEAT_AFTER_S[count]
    return REPEAT_AFTER_S[-1] + (count - len(REPEAT_AFTER_S) + 1) * 3600.0


def _notice(alert: Alert, told: Told, farm: Farm, opening: str) -> Notice:
    told.number += 1
    event = f"{alert.episode}.{told.number}"
    since = ""
    if opening and alert.raised_ms is not None:
        began = clock_time(alert.raised_ms, farm.zone)
        if alert.cleared_ms is not None:
            since = f" {began}-{clock_time(alert.cleared_ms, farm.zone)}."
        elif "since" not in alert.sentence:
            since = f" Since {began}."
    # The number lets a person see that a text came twice: delivery is at least once.
    tail = f" #{event}"
    advice = f" {alert.advice}" if alert.advice and opening in ("", "Still: ") else ""
    said = f"{opening}{alert.sentence}{since}{advice}"
    body = fit(said, LIMIT - length(tail)) + tail
    return Notice(alert.key, event, tuple(told.contacts), body, f"{farm.name}: {said}{tail}")
