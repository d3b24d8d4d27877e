"""A recording that can be shared: what was measured and when it was told apart stay, whose it was goes; pure.

What is passed on is made anew from what Lantern itself would read, so that nothing rides along: firmware adds
network names, addresses and places that nobody thinks of. A message that the farm file does not know is left
out, and so is what the collector says to itself. What Lantern refuses is refused after it too.

Dates move by whole weeks, to a week that is the same for every recording: weekday and hour of the day stay,
the season is no longer known. (In a recording across a change of the clocks, the hour after it differs by one.)
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from collector.neutral import FARM_ID, Names, names_of, neutral_farm_text, time_key
from collector.payloads import ABSENT, document_of, number_of, pointed_at, switch_of
from collector.rebase import rebased
from collector.topics import Router, router_of
from shared.errors import InvalidArgument, PayloadError, StreamError
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.instants import instant_ms
from shared.requests import Acknowledge, Answer, Drill, Request, Shelve, Unshelve, WriteLog, decode, encode
from shared.streams import StreamMessage
from shared.units import UNITS

WEEK_MS = 7 * 86_400_000
_FIRST_WEEK_MS = instant_ms("2024-02-05T00:00:00Z")
"""A Monday of a sugaring season, in standard time on the northern half of the earth."""
_WEEKS_TRIED = 30
"""Far enough to find both standard and summer time."""
_SOMEBODY = "somebody"
_NO_CODE = "AAAAAAAAAA"
_NO_REASON = "left out"
_HARMLESS = frozenset({"", "online", "offline", "unavailable", "unknown", "null", "none", "nan"})
_SENML_NUMBERS = ("bt", "t", "bv", "v", "bs", "s", "ut", "bver")


@dataclass(slots=True)
class _Scrubber:
    """What one recording's messages are made anew with."""

    router: Router
    names: Names
    shift_ms: int
    replaced: dict[str, dict[str, str]] = field(default_factory=dict)
    """By kind, text that was met so far and what stands in its place."""

    def instead(self, kind: str, text: str) -> str:
        """The same neutral text for the same text."""
        known = self.replaced.setdefault(kind, {})
        return known.setdefault(text, f"{kind}-{len(known) + 1}")


def scrub(messages: Iterable[StreamMessage], farm: Farm) -> tuple[Iterator[StreamMessage], str]:
    """A recording without names, and the farm file that goes with it.

    Raises:
        StreamError: from the messages, once they are read: they must say their time, not offsets.
    """
    names = names_of(farm)
    return _scrubbed(messages, router_of(farm), names), neutral_farm_text(farm, names)


def _scrubbed(messages: Iterable[StreamMessage], router: Router, names: Names) -> Iterator[StreamMessage]:
    scrubber: _Scrubber | None = None
    for message in messages:
        if not message.is_absolute:
            raise StreamError("only a recording that says its times can be scrubbed, not one of offsets")
        if scrubber is None:
            scrubber = _Scrubber(router, names, week_shift_ms(message.at_ms, router.farm.zone))
        told = _told(scrubber, message.topic, message.payload)
        if told is not None:
            topic, payload = told
            yield replace(message, at_ms=message.at_ms + scrubber.shift_ms, topic=topic, payload=payload)


def week_shift_ms(first_ms: int, zone: ZoneInfo) -> int:
    """By how many ms to move a recording that begins at `first_ms`: whole weeks, local hours stay."""
    offset_s = _utc_offset_s(first_ms, zone)
    shift_ms = -((first_ms - _FIRST_WEEK_MS) // WEEK_MS) * WEEK_MS
    shifts_ms = [shift_ms + week * WEEK_MS for week in range(_WEEKS_TRIED)]
    return next((s for s in shifts_ms if _utc_offset_s(first_ms + s, zone) == offset_s), shift_ms)


def _utc_offset_s(at_ms: int, zone: ZoneInfo) -> float:
    offset = datetime.fromtimestamp(at_ms / 1000, zone).utcoffset()
    assert offset is not None
    return offset.total_seconds()


def _told(scrubber: _Scrubber, topic: str, payload: bytes) -> tuple[str, bytes] | None:
    router = scrubber.router
    sensors = router.sensors_by_topic.get(topic)
    if sensors is not None:
        return scrubber.names.topics[topic], _of_sensors(scrubber, sensors, payload)
    if topic == router.request_topic:
        return f"lantern/{FARM_ID}/request", _of_request(scrubber, payload)
    device = router.device_of(topic)
    if device is not None and topic != router.own_status_topic:
        return f"lantern/{FARM_ID}/{scrubber.instead('device', device)}/status", _of_text(scrubber, payload)
    return None


def _of_sensors(scrubber: _Scrubber, sensors: tuple[Sensor, ...], payload: bytes) -> bytes:
    try:
        document = document_of(payload)
    except PayloadError:
        return _unreadable(payload)
    plain = any(not sensor.field for sensor in sensors)
    if isinstance(document, list) and plain:
        new: Any = [_record(scrubber, record) for record in _named(document)]
    elif isinstance(document, dict | list):
        new = _part(scrubber, document) if plain and isinstance(document, dict) else {}
        for sensor in sensors:
            _add_places(scrubber, sensor, document, new)
    else:
        return _of_text(scrubber, payload)
    written = json.dumps(new, ensure_ascii=False, separators=(",", ":")).encode()
    times = tuple(f"/{key}" for key in new if key.endswith("-time")) if isinstance(new, dict) else ()
    times += tuple(f"/{key}/time" for key, value in _items(new) if isinstance(value, dict))
    return rebased(written, scrubber.shift_ms, times)


def _items(document: Any) -> list[tuple[str, Any]]:
    return list(document.items()) if isinstance(document, dict) else []


def _add_places(scrubber: _Scrubber, sensor: Sensor, document: Any, new: dict[str, Any]) -> None:
    name = scrubber.names.sensors[sensor.id]
    if sensor.field and (part := pointed_at(document, sensor.field)) is not ABSENT:
        new[name] = _part(scrubber, part)
    if sensor.time_field is not None and (time := pointed_at(document, sensor.time_field)) is not ABSENT:
        new[time_key(name)] = _time(scrubber, time)


def _part(scrubber: _Scrubber, part: Any) -> Any:
    """A value, or an object with one, its unit and its time."""
    if not isinstance(part, dict):
        return _scalar(scrubber, part)
    if "value" not in part:
        return {}
    kept = {"value": _scalar(scrubber, part["value"])}
    if "unit" in part:
        kept["unit"] = _unit(scrubber, part["unit"])
    if "time" in part:
        kept["time"] = _time(scrubber, part["time"])
    return kept


def _named(pack: list[Any]) -> Iterator[tuple[str, Any]]:
    """The records of a SenML pack with their names in full."""
    base = ""
    for record in pack:
        name = ""
        if isinstance(record, dict):
            base, name = (str(record.get(key, otherwise)) for key, otherwise in (("bn", base), ("n", "")))
        yield base + name, record


def _record(scrubber: _Scrubber, named: tuple[str, Any]) -> Any:
    name, record = named
    if not isinstance(record, dict):
        return None
    new: dict[str, Any] = {key: _scalar(scrubber, record[key]) for key in _SENML_NUMBERS if key in record}
    new |= {key: _unit(scrubber, record[key]) for key in ("u", "bu") if key in record}
    new |= {key: _scalar(scrubber, record[key]) for key in ("vs", "vb", "vd") if key in record}
    if "bn" in record:
        new["bn"] = ""
    if any(key in record for key in ("v", "vs", "vb", "vd", "s")) and name:
        new["n"] = _record_name(scrubber, name)
    if any(key.endswith("_") for key in record):
        new["must_"] = True  # refused as before
    return new


def _record_name(scrubber: _Scrubber, name: str) -> str:
    """A name ends in its sensor's id after a colon, slash or dot, or is another's."""
    ends = [name, *(name[place + 1 :] for place, letter in enumerate(name) if letter in ":/.")]
    known = (scrubber.names.sensors[end] for end in ends if end in scrubber.names.sensors)
    return next(known, None) or scrubber.instead("name", name)


def _scalar(scrubber: _Scrubber, value: Any) -> Any:
    if isinstance(value, dict | list):
        return [] if isinstance(value, list) else {}
    if not isinstance(value, str) or switch_of(value) is not None or value.strip().lower() in _HARMLESS:
        return value
    try:
        number_of(value)
    except PayloadError:
        return scrubber.instead("text", value)
    return value


def _unit(scrubber: _Scrubber, unit: Any) -> Any:
    if isinstance(unit, str) and unit.removeprefix("°") not in UNITS and unit:
        return scrubber.instead("unit", unit)
    return unit if isinstance(unit, str) else _scalar(scrubber, unit)


def _time(scrubber: _Scrubber, time: Any) -> Any:
    try:
        instant_ms(time)
    except InvalidArgument:
        return _scalar(scrubber, time)
    return time


def _of_text(scrubber: _Scrubber, payload: bytes) -> bytes:
    try:
        document = document_of(payload)
    except PayloadError:
        return _unreadable(payload)
    kept = _scalar(scrubber, document)
    return payload if kept == document else json.dumps(kept).encode()


def _unreadable(payload: bytes) -> bytes:
    """As unreadable, in the same way."""
    try:
        return b"{" if payload.decode("utf-8").strip() else payload
    except UnicodeDecodeError:
        return b"\xff"


def _of_request(scrubber: _Scrubber, payload: bytes) -> bytes:
    try:
        request = decode(payload)
    except PayloadError:
        return b"{}"
    return encode(_neutral(scrubber, request))


def _neutral(scrubber: _Scrubber, request: Request) -> Request:
    names, shift_ms = scrubber.names, scrubber.shift_ms
    request = replace(
        request,
        id=scrubber.instead("request", request.id),
        by=_SOMEBODY,
        asked_ms=request.asked_ms + shift_ms,
    )
    if isinstance(request, Drill):
        return request
    if isinstance(request, Answer):
        return replace(request, code=_NO_CODE)
    if isinstance(request, WriteLog):
        return replace(
            request,
            happened_ms=request.happened_ms + shift_ms,
            tank=None if request.tank is None else names.tanks.get(request.tank, "tank-0"),
            line=None if request.line is None else names.lines.get(request.line, "line-0"),
            note="",
        )
    rule, _, subject = request.alert.partition("/")
    alert = f"{rule}/{names.subjects.get(subject, 'subject-0')}"
    match request:
        case Shelve():
            until_ms = request.until_ms + shift_ms
            return replace(request, alert=alert, until_ms=until_ms, reason=_NO_REASON)
        case Acknowledge() | Unshelve():
            return replace(request, alert=alert)
