"""The life cycle of an alert, pure: findings in, a new alert and its transitions out.

States follow IEC 62682 / ANSI-ISA-18.2 (our *alert* is their *alarm*):

    normal -> active -> acknowledged -> normal
                 └---> cleared --------> normal      (gone before anybody acknowledged it)

Three things stand beside the state and never change it: `stale` (the sensor is silent, so the last word
may be old), shelved (an owner's pause, always with an end), and suppressed (another alert explains it).
Silence never clears: only a NORMAL verdict held for the clear time does.
"""

from dataclasses import dataclass, replace
from enum import StrEnum


class Priority(StrEnum):
    """What an alert may do to its owner."""

    WAKE = "wake"
    TELL = "tell"
    NOTE = "note"


RANK = {Priority.NOTE: 0, Priority.TELL: 1, Priority.WAKE: 2}


class Verdict(StrEnum):
    """What a rule finds at one instant."""

    ACTIVE = "active"
    BETWEEN = "between"
    """Neither past the trip threshold nor back past the clear threshold: as it was."""
    NORMAL = "normal"
    UNKNOWN = "unknown"


class AlertState(StrEnum):
    """IEC 62682: active and cleared are unacknowledged."""

    NORMAL = "normal"
    ACTIVE = "active"
    ACKNOWLEDGED = "acknowledged"
    CLEARED = "cleared"


class Cause(StrEnum):
    """Why an alert changed."""

    RAISED = "raised"
    WORSE = "worse"
    ACKNOWLEDGED = "acknowledged"
    ACKNOWLEDGEMENT_EXPIRED = "acknowledgement expired"
    CLEARED = "cleared"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    UNSUPPRESSED = "no longer suppressed"
    STALE = "sensor silent"
    FRESH = "sensor heard again"
    RULE_REMOVED = "rule removed"


@dataclass(frozen=True, slots=True)
class Hold:
    """How long a verdict must last, in event time, before the state follows it."""

    raise_s: float
    clear_s: float


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule finds about one subject at one event time."""

    rule: str
    subject: str
    verdict: Verdict
    priority: Priority
    at_ms: int
    hold: Hold
    sentence: str
    """The headline: page, tab and text all begin with it."""
    advice: str = ""
    """How much, how fast, how long, and what to do first."""
    explained_by: str = ""
    """What else explains it, in words ("the pump has stopped"): then it stands, suppressed, and tells nobody."""

    @property
    def key(self) -> str:
        """What makes two findings the same alert."""
        return f"{self.rule}/{self.subject}"


@dataclass(frozen=True, slots=True)
class Alert:
    """One rule's standing with one subject. `episode` counts how often it has been raised."""

    rule: str
    subject: str
    state: AlertState = AlertState.NORMAL
    priority: Priority = Priority.NOTE
    episode: int = 0
    sentence: str = ""
    advice: str = ""
    trouble_since_ms: int | None = None
    calm_since_ms: int | None = None
    raised_ms: int | None = None
    cleared_ms: int | None = None
    acknowledged_ms: int | None = None
    acknowledged_by: str | None = None
    stale: bool = False
    shelved_until_ms: int | None = None
    shelved_reason: str | None = None
    explained_by: str = ""
    """Suppressed: what else explains the trouble, in words."""

    @property
    def key(self) -> str:
        """The same key as its findings have."""
        return f"{self.rule}/{self.subject}"

    @property
    def is_active(self) -> bool:
        """Whether the trouble lasts, acknowledged or not."""
        return self.state in (AlertState.ACTIVE, AlertState.ACKNOWLEDGED)

    def is_shelved(self, now_ms: int) -> bool:
        """Whether its owner has paused it."""
        return self.shelved_until_ms is not None and now_ms < self.shelved_until_ms


@dataclass(frozen=True, slots=True)
class Transition:
    """One change of one alert, as the history keeps it."""

    key: str
    episode: int
    at_ms: int
    cause: Cause
    state: AlertState
    priority: Priority
    sentence: str
    by: str | None = None


def _changed(alert: Alert, cause: Cause, at_ms: int, by: str | None = None) -> Transition:
    return Transition(alert.key, alert.episode, at_ms, cause, alert.state, alert.priority, alert.sentence, by)


def advance(alert: Alert, finding: Finding) -> tuple[Alert, tuple[Transition, ...]]:
    """Let one finding act on its alert.

    The raise hold runs from the first ACTIVE verdict of this trouble, the clear hold from the first
    NORMAL one; UNKNOWN and BETWEEN neither start, stop nor reset them. A trouble that something else explains is
    not raised; once that is over it has its whole raise hold to recover in.
    """
    at_ms = finding.at_ms
    transitions: list[Transition] = []
    if finding.verdict is Verdict.UNKNOWN:
        if alert.is_active and not alert.stale:
            alert = replace(alert, stale=True)
            transitions.append(_changed(alert, Cause.STALE, at_ms))
        return alert, tuple(transitions)
    if alert.stale:
        alert = replace(alert, stale=False)
        transitions.append(_changed(alert, Cause.FRESH, at_ms))
    if finding.verdict is Verdict.ACTIVE and finding.explained_by:
        alert, more = _explained(alert, finding)
    elif finding.verdict is Verdict.ACTIVE:
        alert, more = _trouble(*_unexplained(alert, finding), finding)
    elif finding.verdict is Verdict.NORMAL:
        alert, more = _calm(*_unexplained(alert, finding), finding)
    else:
        more = ()
        if alert.is_active:
            alert = replace(alert, sentence=finding.sentence, advice=finding.advice)
    return alert, (*transitions, *more)


def _explained(alert: Alert, finding: Finding) -> tuple[Alert, tuple[Transition, ...]]:
    at_ms = finding.at_ms
    since_ms = at_ms if alert.trouble_since_ms is None else alert.trouble_since_ms
    alert = replace(alert, trouble_since_ms=since_ms, calm_since_ms=None)
    if not alert.is_active and at_ms - since_ms < finding.hold.raise_s * 1000:
        return alert, ()
    first = not alert.explained_by
    alert = replace(
        alert, sentence=finding.sentence, advice=finding.advice, explained_by=finding.explained_by
    )
    return alert, (_changed(alert, Cause.SUPPRESSED, at_ms),) if first else ()


def _unexplained(alert: Alert, finding: Finding) -> tuple[Alert, tuple[Transition, ...]]:
    if not alert.explained_by:
        return alert, ()
    alert = replace(alert, explained_by="", trouble_since_ms=None)
    return alert, (_changed(alert, Cause.UNSUPPRESSED, finding.at_ms),)


def _trouble(
    alert: Alert, before: tuple[Transition, ...], finding: Finding
) -> tuple[Alert, tuple[Transition, ...]]:
    at_ms = finding.at_ms
    since_ms = at_ms if alert.trouble_since_ms is None else alert.trouble_since_ms
    alert = replace(alert, trouble_since_ms=since_ms, calm_since_ms=None)
    if not alert.is_active:
        if at_ms - since_ms < finding.hold.raise_s * 1000:
            return alert, before
        alert = replace(
            alert,
            state=AlertState.ACTIVE,
            priority=finding.priority,
            episode=alert.episode + 1,
            sentence=finding.sentence,
            advice=finding.advice,
            raised_ms=at_ms,
            cleared_ms=None,
            acknowledged_ms=None,
            acknowledged_by=None,
        )
        return alert, (*before, _changed(alert, Cause.RAISED, at_ms))
    worse = RANK[finding.priority] > RANK[alert.priority]
    alert = replace(alert, sentence=finding.sentence, advice=finding.advice)
    if not worse:
        return alert, before
    # A graver trouble than the one acknowledged asks again.
    alert = replace(
        alert, state=AlertState.ACTIVE, priority=finding.priority, acknowledged_ms=None, acknowledged_by=None
    )
    return alert, (*before, _changed(alert, Cause.WORSE, at_ms))


def _calm(
    alert: Alert, before: tuple[Transition, ...], finding: Finding
) -> tuple[Alert, tuple[Transition, ...]]:
    at_ms = finding.at_ms
    if not alert.is_active:
        # Nearly every finding of a farm's life comes here, so nothing is made anew without need.
        return (alert if alert.trouble_since_ms is None else replace(alert, trouble_since_ms=None)), before
    since_ms = at_ms if alert.calm_since_ms is None else alert.calm_since_ms
    alert = replace(alert, calm_since_ms=since_ms, sentence=finding.sentence, advice=finding.advice)
    if at_ms - since_ms < finding.hold.clear_s * 1000:
        return alert, before
    after = AlertState.NORMAL if alert.state is AlertState.ACKNOWLEDGED else AlertState.CLEARED
    alert = replace(alert, state=after, cleared_ms=at_ms, trouble_since_ms=None, calm_since_ms=None)
    return alert, (*before, _changed(alert, Cause.CLEARED, at_ms))


def acknowledge(alert: Alert, by: str, at_ms: int) -> tuple[Alert, tuple[Transition, ...]]:
    """Somebody has it. Acknowledging twice, or what needs no answer, changes nothing."""
    if alert.state is AlertState.ACTIVE:
        alert = replace(alert, state=AlertState.ACKNOWLEDGED, acknowledged_ms=at_ms, acknowledged_by=by)
    elif alert.state is AlertState.CLEARED:
        alert = replace(alert, state=AlertState.NORMAL, acknowledged_ms=at_ms, acknowledged_by=by)
    else:
        return alert, ()
    return alert, (_changed(alert, Cause.ACKNOWLEDGED, at_ms, by),)


def expire_acknowledgement(alert: Alert, at_ms: int) -> tuple[Alert, tuple[Transition, ...]]:
    """The trouble outlasted its acknowledgement: it asks again."""
    if alert.state is not AlertState.ACKNOWLEDGED:
        return alert, ()
    alert = replace(alert, state=AlertState.ACTIVE, acknowledged_ms=None, acknowledged_by=None)
    return alert, (_changed(alert, Cause.ACKNOWLEDGEMENT_EXPIRED, at_ms),)


def shelve(
    alert: Alert, until_ms: int, reason: str, by: str, at_ms: int
) -> tuple[Alert, tuple[Transition, ...]]:
    """Pause its texts until a given time; the state goes on being kept."""
    alert = replace(alert, shelved_until_ms=until_ms, shelved_reason=reason)
    return alert, (_changed(alert, Cause.SHELVED, at_ms, by),)


def unshelve(alert: Alert, at_ms: int, by: str | None = None) -> tuple[Alert, tuple[Transition, ...]]:
    """End the pause, by hand or because its time is over."""
    if alert.shelved_until_ms is None:
        return alert, ()
    alert = replace(alert, shelved_until_ms=None, shelved_reason=None)
    return alert, (_changed(alert, Cause.UNSHELVED, at_ms, by),)
