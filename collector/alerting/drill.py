"""The drill: a marked test to everybody by every channel, answered like an alert, so that the path is proven; pure.

It goes out at once and wakes nobody twice: no repeats, no next contact. What nobody answered is told once, for
a path that was not proven is a path that may fail tonight.
"""

from dataclasses import replace
from datetime import datetime, timedelta

from shared.alerts import Alert, AlertState, Cause, Priority, Transition
from shared.farm import Farm
from shared.words import clock_time

RULE = "drill"
SUBJECT = "everyone"
KEY = f"{RULE}/{SUBJECT}"
UNANSWERED_S = 1800.0
"""Long enough to find the phone (common practice, no source)."""
LATE_S = 3 * 3600.0
"""A drill whose time passed while the machine was off is held if it is back within this."""


def start(alert: Alert, by: str, farm: Farm, at_ms: int) -> tuple[Alert, tuple[Transition, ...]]:
    """Begin a drill; one that still waits for its answer is replaced by it."""
    at = clock_time(at_ms, farm.zone, at_ms)
    alert = replace(
        alert,
        state=AlertState.ACTIVE,
        priority=Priority.NOTE,
        episode=alert.episode + 1,
        sentence=f"Drill of {at}, asked by {by}: nothing is wrong.",
        advice="Answer it as you would an alert.",
        raised_ms=at_ms,
        cleared_ms=None,
        acknowledged_ms=None,
        acknowledged_by=None,
    )
    return alert, (_changed(alert, Cause.RAISED, at_ms),)


def end(alert: Alert, at_ms: int) -> tuple[Alert, tuple[Transition, ...]]:
    """An answered drill is over; any other stands."""
    if alert.state is not AlertState.ACKNOWLEDGED:
        return alert, ()
    alert = replace(
        alert,
        state=AlertState.NORMAL,
        cleared_ms=at_ms,
        sentence=f"The drill was answered by {alert.acknowledged_by}.",
    )
    return alert, (_changed(alert, Cause.CLEARED, at_ms),)


def look_at(alert: Alert, farm: Farm, now_ms: int) -> tuple[Alert, tuple[Transition, ...]]:
    """What nobody answered in time is told, once, like any trouble."""
    began_ms = alert.raised_ms
    waits = alert.state is AlertState.ACTIVE and alert.priority is Priority.NOTE and began_ms is not None
    if not waits or began_ms is None or now_ms - began_ms < UNANSWERED_S * 1000:
        return alert, ()
    began = clock_time(began_ms, farm.zone, now_ms)
    alert = replace(
        alert,
        priority=Priority.TELL,
        sentence=f"Nobody answered the drill of {began}.",
        advice="Wake-ups may not arrive. Look at the channels on the page Alerts, then drill again.",
    )
    return alert, (_changed(alert, Cause.WORSE, now_ms),)


def is_due(farm: Farm, last_ms: int, now_ms: int) -> bool:
    """Whether the farm file's weekly drill is due: its time has come, and none was held since."""
    if farm.drill is None:
        return False
    now = datetime.fromtimestamp(now_ms / 1000, farm.zone)
    days_ago = (now.weekday() - farm.drill.weekday) % 7
    due = datetime.combine(now.date() - timedelta(days=days_ago), farm.drill.at, farm.zone)
    late_s = now_ms / 1000 - due.timestamp()
    return 0 <= late_s < LATE_S and last_ms < due.timestamp() * 1000


def _changed(alert: Alert, cause: Cause, at_ms: int) -> Transition:
    return Transition(
        alert.key,
        alert.episode,
        at_ms,
        cause,
        alert.state,
        alert.priority,
        alert.sentence,
        alert.acknowledged_by,
    )
