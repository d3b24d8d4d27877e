"""Whether each stage of the watch was seen well lately, each within its own limit; pure.

A stage sets its own time when its work is done: never a timer, so a stage that stands still grows old here.
All times are monotonic seconds: a wall clock that jumps makes nothing old and nothing young.
"""

from dataclasses import dataclass
from math import inf

from shared.farm import Farm
from shared.tuning.sensors import SensorSilent
from shared.words import duration

MEGABYTE = 1_000_000
NOTHING_READ_S = 600.0
"""Nothing from any sensor for so long is the broker, the gateway or the power, as the alert about it says (common
practice, no source); more where even the most frequent sensor speaks less often."""


@dataclass(slots=True)
class Vitals:
    """When each stage was last seen well, in monotonic seconds; None: not yet since the start.

    Nothing counts as well before it was seen so, or a collector that dies every minute would look alive.
    """

    canary_s: float | None = None
    """When the newest canary was sent that has come back from the broker and was committed."""
    reading_s: float | None = None
    """When a commit that held a new reading returned."""
    rules_s: float | None = None
    """When the rules had last been looked at by the clock."""
    store_s: float | None = None
    """When the store last took a record."""
    sender_s: float | None = None
    """When the sender last ended a try or a look at the outbox."""
    unheard_since_s: float | None = None
    """Since when a text waits that was tried while no text was taken; None: there is none."""
    free_bytes: int | None = None
    """What the store's disk has left; None: not looked at yet."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How old each may be; infinite: not looked at."""

    canary_s: float = 600.0
    """One is sent every 5 min, and every 30 s while none comes back: ten in a row were lost."""
    reading_s: float = NOTHING_READ_S
    rules_s: float = 600.0
    """Once a second; they rest while a backlog is stored, which takes minutes after hours without the broker."""
    store_s: float = 300.0
    """Once a minute: five in a row have failed, or one has hung."""
    sender_s: float = 600.0
    """Once a second, or once a text, which on a bad link takes minutes: each step of it may wait 20 s to connect
    and 60 s for an answer."""
    unheard_s: float = 1800.0
    """Seven tries of a text have failed by then, see delivery.RETRY_S."""
    free_bytes: int = 100 * MEGABYTE
    """The store's log may grow to 64 MB, and a week of 40 sensors is about 60 MB: there are days left to act."""


RESTART_LIMITS = Limits(
    canary_s=inf,
    reading_s=inf,
    rules_s=inf,
    store_s=600.0,
    sender_s=1200.0,
    unheard_s=inf,
    free_bytes=0,
)
"""What a restart can heal: a store that takes no records (a file moved away, descriptors used up), and a sender
that hangs or has died. The loop itself needs no limit, since it is the loop that tells systemd. A broker that
is away, sensors that are silent, rules that wait for a backlog and texts that nobody takes are as before after
a restart, and the watch would only have been away meanwhile."""


def limits_for(farm: Farm) -> Limits:
    """The limits on that farm: readings by its most frequent sensor, none where silence means nothing."""
    silent_after_s = inf
    for sensor in farm.sensors:
        tuning = farm.tuning(SensorSilent, sensor)
        if tuning.enabled:
            silent_after_s = min(silent_after_s, tuning.missed_count * sensor.interval_s)
    return Limits(reading_s=max(NOTHING_READ_S, silent_after_s))


def unwell(vitals: Vitals, now_s: float, limits: Limits) -> tuple[str, ...]:
    """What is not as it should be, each as `stage: words`; empty: every stage was seen well within its limit."""
    beats = (
        ("broker", "no canary has come back", vitals.canary_s, limits.canary_s),
        ("readings", "none was stored", vitals.reading_s, limits.reading_s),
        ("rules", "not looked at", vitals.rules_s, limits.rules_s),
        ("store", "no record was written", vitals.store_s, limits.store_s),
        ("outbox", "the sender has not come round", vitals.sender_s, limits.sender_s),
    )
    found = [
        f"{stage}: {words} {_age(beat_s, now_s)} (limit {duration(limit_s)})"
        for stage, words, beat_s, limit_s in beats
        if limit_s < inf and (beat_s is None or now_s - beat_s > limit_s)
    ]
    since_s = vitals.unheard_since_s
    if since_s is not None and now_s - since_s > limits.unheard_s:
        said = f"no text was taken {_age(since_s, now_s)} (limit {duration(limits.unheard_s)})"
        found.append(f"outbox: {said}")
    if vitals.free_bytes is not None and vitals.free_bytes < limits.free_bytes:
        left, least = (round(count / MEGABYTE) for count in (vitals.free_bytes, limits.free_bytes))
        found.append(f"store: its disk has {left} MB left (limit {least} MB)")
    return tuple(found)


def _age(beat_s: float | None, now_s: float) -> str:
    return "since the start" if beat_s is None else f"for {duration(now_s - beat_s)}"
