"""A message from the broker becomes readings, rejects, requests or signs of life; pure, and never raises.

    topic + bytes -> samples (samples.py) -> SI and range (conversion.py) -> time -> rate of change -> Intake

Nothing is dropped silently: what a sensor said is a reading, or stands in a reject with its reason and its
original bytes. What is refused here:

- a value that cannot be read, converted or be true (samples.py, conversion.py);
- a time ahead of arrival, long past, or from a clock that was never set;
- a message that the broker kept, retained or queued while nobody listened, and that does not say when it was
  measured: its arrival says nothing, and taken as fresh it would be a false step in a chart and in a rule;
- a change faster than the quantity can change. The next reading that agrees with the doubted one is believed:
  a step that stays is true, a spike is alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate

from collector.conversion import shown, si_value
from collector.payloads import document_of
from collector.samples import Refused, Sample, samples_of
from collector.topics import Router
from shared.errors import InvalidArgument, PayloadError
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.instants import instant_ms, instant_text
from shared.readings import Quality, Reading, Reject, RejectKind
from shared.requests import Request, decode

FUTURE_MS = 5 * 60_000
"""How far a sensor's clock may be ahead of ours (common practice, no source)."""
OLDEST_MS = 60 * 86_400_000
"""A backlog older than this is last season's (common practice, no source)."""
CLOCKS_SET_MS = instant_ms("2020-01-01T00:00:00Z")
"""A clock before this has never been set: boards without a battery start in 1970 or at their build date."""
WAITED_MS = 60_000
"""What waited in the broker for less may be stamped with its arrival (common practice, no source)."""
LEAST_STEP_S = 1.0
"""A rate is never reckoned over less: the last digit's flicker is no fast change."""
_LONGEST_REASON = 300


@dataclass(slots=True)
class Last:
    """What the next reading of one sensor is held against."""

    measured_ms: int
    value: float
    doubted_ms: int | None = None
    doubted_value: float = 0.0


@dataclass(slots=True)
class Memory:
    """The last good reading of each sensor; plain, and bounded by the number of sensors."""

    by_sensor: dict[str, Last] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DeviceStatus:
    """What a device, or the broker in its last will, says of its link."""

    device: str
    online: bool
    received_ms: int


@dataclass(frozen=True, slots=True)
class Intake:
    """All that one message was."""

    readings: tuple[Reading, ...] = ()
    rejects: tuple[Reject, ...] = ()
    requests: tuple[Request, ...] = ()
    canaries: tuple[str, ...] = ()
    statuses: tuple[DeviceStatus, ...] = ()


def take_in(
    router: Router,
    memory: Memory,
    topic: str,
    payload: bytes,
    received_ms: int,
    *,
    retain: bool = False,
    waiting_since_ms: int | None = None,
) -> Intake:
    """What one message was; `memory` moves on with every reading that is taken.

    Args:
        router: Of this farm.
        memory: Of this farm's sensors.
        topic: As delivered.
        payload: As delivered.
        received_ms: When it arrived, no two messages of one topic alike; if redelivered, when it first did.
        retain: The broker's retain flag: a last-known value, told because we subscribed.
        waiting_since_ms: The message may have waited in the broker since then; None: it did not wait.
    """
    try:
        return _told(
            router, memory, topic, payload, received_ms, retain=retain, waiting_since_ms=waiting_since_ms
        )
    except (PayloadError, InvalidArgument) as error:
        reason = str(error)
    except Exception as error:  # noqa: BLE001 - one message that trips us would be redelivered for ever
        reason = f"Lantern's own fault, please report it: {error!r}"
    sensors = router.sensors_by_topic.get(topic, ())
    reject = Reject(
        received_ms,
        topic,
        payload,
        reason[:_LONGEST_REASON],
        RejectKind.UNREADABLE if sensors else RejectKind.OTHER,
        sensors[0].id if len(sensors) == 1 else None,
    )
    return Intake(rejects=(reject,))


def rejects_after(taken: Sequence[Intake]) -> list[int]:
    """How many readings of several messages came before each of their rejects; those of one message are its first."""
    before = accumulate(len(intake.readings) for intake in taken)
    return [count for count, intake in zip(before, taken, strict=True) for _ in intake.rejects]


def _told(
    router: Router,
    memory: Memory,
    topic: str,
    payload: bytes,
    received_ms: int,
    *,
    retain: bool,
    waiting_since_ms: int | None,
) -> Intake:
    sensors = router.sensors_by_topic.get(topic)
    if sensors is not None:
        untimed = _why_untimed_is_refused(received_ms, retain=retain, waiting_since_ms=waiting_since_ms)
        samples = samples_of(sensors, document_of(payload), received_ms)
        readings: list[Reading] = []
        refused: dict[tuple[str, RejectKind], list[str]] = {}
        for sensor, sample in samples:
            taken = _reading(router.farm, memory, sensor, sample, received_ms, retain=retain, untimed=untimed)
            if isinstance(taken, Refused):
                refused.setdefault((sensor.id, taken.kind), []).append(taken.reason)
            else:
                readings.append(taken)
        rejects = tuple(
            Reject(received_ms, topic, payload, f"{sensor_id}: {_summed_up(reasons)}", kind, sensor_id)
            for (sensor_id, kind), reasons in refused.items()
        )
        return Intake(readings=tuple(readings), rejects=rejects)
    if topic == router.own_status_topic:
        return Intake()
    device = router.device_of(topic)
    if device is not None:
        word = document_of(payload)
        if not isinstance(word, str) or word.lower() not in ("online", "offline"):
            raise PayloadError("a device status is online or offline")
        return Intake(statuses=(DeviceStatus(device, word.lower() == "online", received_ms),))
    if topic == router.canary_topic:
        return Intake(canaries=(payload.decode("utf-8", "replace"),))
    if topic == router.request_topic:
        if retain:
            raise PayloadError("a request must not be retained: it would be asked again for ever")
        return Intake(requests=(decode(payload),))
    raise PayloadError("no sensor of the farm file has this topic")


def _summed_up(reasons: list[str]) -> str:
    more = f" (and {len(reasons) - 1} more of this message)" if len(reasons) > 1 else ""
    return reasons[0][: _LONGEST_REASON - len(more)] + more


def _why_untimed_is_refused(received_ms: int, *, retain: bool, waiting_since_ms: int | None) -> str | None:
    if retain:
        return "retained value without a time of its own: nobody knows when it was measured"
    if waiting_since_ms is not None and received_ms - waiting_since_ms > WAITED_MS:
        since = f" since {instant_text(waiting_since_ms)}" if waiting_since_ms else ""
        return f"waited in the broker without a time of its own: measured at some time{since}"
    return None


def _reading(
    farm: Farm,
    memory: Memory,
    sensor: Sensor,
    sample: Sample | Refused,
    received_ms: int,
    *,
    retain: bool,
    untimed: str | None,
) -> Reading | Refused:
    if isinstance(sample, Refused):
        return sample
    try:
        value = si_value(farm, sensor, sample.number, sample.unit)
    except PayloadError as error:
        return Refused(str(error), RejectKind(error.kind))
    if not sample.has_own_time and untimed is not None:
        return Refused(untimed, RejectKind.UNTIMED)
    wrong = _wrong_time(sample.measured_ms, received_ms)
    if wrong is not None:
        return wrong
    last = memory.by_sensor.setdefault(sensor.id, Last(sample.measured_ms, value))
    # A time of arrival says when within an interval it was measured no better than that.
    least_s = LEAST_STEP_S if sample.has_own_time else max(LEAST_STEP_S, sensor.interval_s)
    doubt = _too_fast(sensor, last, sample.measured_ms, value, least_s)
    if doubt is not None:
        return doubt
    quality = Quality.RETAINED if retain else Quality.GOOD
    if not sample.has_own_time:
        quality |= Quality.STAMPED_ON_ARRIVAL
    return Reading(sensor.id, sample.measured_ms, value, received_ms, quality)


def _wrong_time(measured_ms: int, received_ms: int) -> Refused | None:
    if received_ms < CLOCKS_SET_MS:
        ours = f"this machine's clock is not set ({instant_text(received_ms)})"
        return Refused(ours, RejectKind.OUR_CLOCK)
    if measured_ms < CLOCKS_SET_MS:
        unset = f"the sensor's clock is not set ({instant_text(measured_ms)})"
        return Refused(unset, RejectKind.CLOCK_NOT_SET)
    if measured_ms - received_ms > FUTURE_MS:
        ahead = f"the sensor's clock is ahead of ours ({instant_text(measured_ms)})"
        return Refused(ahead, RejectKind.CLOCK_AHEAD)
    if received_ms - measured_ms > OLDEST_MS:
        old = f"measured more than 60 days ago ({instant_text(measured_ms)})"
        return Refused(old, RejectKind.LONG_PAST)
    return None


def _too_fast(sensor: Sensor, last: Last, measured_ms: int, value: float, least_s: float) -> Refused | None:
    """Hold a reading against the last good one; one that is late is neither doubted nor remembered."""
    if measured_ms <= last.measured_ms:
        return None
    limit = sensor.facts.max_rate_per_s
    if limit is not None and not _can_follow(
        last.measured_ms, last.value, measured_ms, value, limit, least_s
    ):
        believed = (
            last.doubted_ms is not None
            and measured_ms > last.doubted_ms
            and _can_follow(last.doubted_ms, last.doubted_value, measured_ms, value, limit, least_s)
        )
        if not believed:
            seconds = (measured_ms - last.measured_ms) / 1000
            last.doubted_ms, last.doubted_value = measured_ms, value
            return Refused(
                f"{shown(sensor, last.value)} to {shown(sensor, value)} in {seconds:.0f} s is faster than "
                f"{sensor.quantity} can change; a second reading like it will be believed",
                RejectKind.TOO_FAST,
            )
    last.measured_ms, last.value, last.doubted_ms = measured_ms, value, None
    return None


def _can_follow(
    before_ms: int, before: float, after_ms: int, after: float, limit_per_s: float, least_s: float
) -> bool:
    return abs(after - before) <= limit_per_s * max((after_ms - before_ms) / 1000, least_s)
