"""What one message says to each sensor of its topic, whatever the payload's form; pure.

The forms, in the order they are told apart:

1. A sensor with a `field` is given what stands there (JSON Pointer, RFC 6901).
2. An array is a SenML pack (RFC 8428); a record is a sensor's if its name is the sensor's id, or ends in it
   after a colon, slash or dot. A sensor alone on its topic is given all records if none is named after it.
3. An object has the sensor's `value` and may have its `unit` and `time`. What a `field` points at may be one.
4. Anything else is the value itself: a number, or a word for a machine that runs or stands.

What a message does not mention is not refused: many devices send only what changed. A message that says
nothing to any sensor of its topic is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from collector.payloads import ABSENT, number_of, pointed_at, switch_of
from collector.senml import Record, resolve
from shared.errors import InvalidArgument, PayloadError
from shared.farm_parts import Sensor
from shared.instants import instant_ms
from shared.readings import Quantity, RejectKind

NAME_BREAKS = (":", "/", ".")


@dataclass(frozen=True, slots=True)
class Sample:
    """One number for one sensor, not yet in SI."""

    number: float
    unit: str | None
    """None: the payload names none, so it is the sensor's own."""
    measured_ms: int
    has_own_time: bool
    """False where the time rests on the moment of arrival."""


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a value cannot become a reading."""

    reason: str
    kind: RejectKind = RejectKind.UNREADABLE


def samples_of(
    sensors: tuple[Sensor, ...], document: Any, now_ms: int
) -> list[tuple[Sensor, Sample | Refused]]:
    """What a payload's JSON value says to the sensors of its topic; `now_ms` is when it arrived.

    Raises:
        PayloadError: it says nothing to any of them.
    """
    found: list[tuple[Sensor, Sample | Refused]] = []
    in_packs = []
    for sensor in sensors:
        if sensor.field is None and isinstance(document, list):
            in_packs.append(sensor)
            continue
        part = document if sensor.field is None else pointed_at(document, sensor.field)
        if part is not ABSENT:
            found.append((sensor, _sample(sensor, document, part, now_ms)))
    if in_packs:
        found += _of_pack(in_packs, document, now_ms)
    if not found:
        places = ", ".join(s.field for s in sensors if s.field is not None)
        raise PayloadError(f"nothing at {places}")
    return found


def _sample(sensor: Sensor, document: Any, part: Any, now_ms: int) -> Sample | Refused:
    value, unit, time = part, None, None
    if isinstance(part, dict):
        if "value" not in part:
            return Refused('an object without "value"; name the place with field')
        value, unit, time = part["value"], part.get("unit"), part.get("time")
    if unit is not None and not isinstance(unit, str):
        return Refused("unit must be text")
    if sensor.time_field is not None:
        time = pointed_at(document, sensor.time_field)
    # A device that has not yet learnt the time says null or leaves it out.
    has_own_time = time is not None and time is not ABSENT
    try:
        measured_ms = instant_ms(time) if has_own_time else now_ms
        number, unit = _number_and_unit(sensor, value, unit)
    except (PayloadError, InvalidArgument) as error:
        return Refused(str(error))
    return Sample(number, unit, measured_ms, has_own_time)


def _number_and_unit(sensor: Sensor, value: object, unit: str | None) -> tuple[float, str | None]:
    if sensor.quantity is Quantity.RUNNING:
        is_on = switch_of(value)
        if is_on is not None:
            return float(is_on), "/"
    return number_of(value), unit


def _of_pack(sensors: list[Sensor], document: Any, now_ms: int) -> Iterator[tuple[Sensor, Sample | Refused]]:
    try:
        records = resolve(document)
    except PayloadError as error:
        yield from ((sensor, Refused(str(error))) for sensor in sensors)
        return
    claimed = False
    for sensor in sensors:
        for record in records:
            if _is_named(record.name, sensor.id):
                claimed = True
                yield sensor, _of_record(sensor, record, now_ms)
    if claimed:
        return
    if len(sensors) == 1 and len({record.name for record in records}) == 1:
        yield from ((sensors[0], _of_record(sensors[0], record, now_ms)) for record in records)
        return
    names = ", ".join(sorted({record.name for record in records})[:8]) or "none"
    yield from ((sensor, Refused(f"no record is named {sensor.id}; names: {names}")) for sensor in sensors)


def _is_named(name: str, sensor_id: str) -> bool:
    return name == sensor_id or any(name.endswith(mark + sensor_id) for mark in NAME_BREAKS)


def _of_record(sensor: Sensor, record: Record, now_ms: int) -> Sample | Refused:
    try:
        number, unit = _number_and_unit(sensor, record.value, record.unit)
    except PayloadError as error:
        return Refused(str(error))
    return Sample(number, unit, record.measured_ms(now_ms), not record.is_relative)
