r"""Recorded streams: one MQTT message a line, as JSON; pure, over lines of text.

    {"t": 12.5, "topic": "lantern/knob/upper-level", "payload": {"value": 31.2, "unit": "in"}}
    {"t": "2026-03-02T04:05:06Z", "topic": "stack", "payload": "812", "qos": 1, "retain": false}

`t` is seconds from the stream's start or an RFC 3339 time, the same kind on every line, and never goes back.
`payload` is text, or a JSON value that stands for its compact text; `payload_base64` takes its place where
the bytes are no text. `qos` (1 if left out) and `retain` (false) are as recorded. Empty lines are skipped.
Files may be gzipped; that is their openers' business.
"""

import base64
import binascii
import heapq
import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from shared.errors import InvalidArgument, StreamError
from shared.instants import instant_ms, instant_text

_LONGEST_TOPIC = 65_535
_TOP_QOS = 2
_LONGEST_OFFSET_S = 366 * 86_400.0
"""An offset of more than a year is a Unix time written where an offset belongs."""
_OFFSET = re.compile(r"(?:(\d+)d)?(?:(\d+)h)?(?:(\d+)m)?(?:(\d+(?:\.\d+)?)s?)?", re.ASCII)
_KEYS = frozenset({"t", "topic", "payload", "payload_base64", "qos", "retain"})


@dataclass(frozen=True, slots=True)
class StreamMessage:
    """One recorded message."""

    at_ms: int
    """From the stream's start, or since 1970 UTC if `is_absolute`."""
    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False
    is_absolute: bool = False


@dataclass(frozen=True, slots=True)
class Extent:
    """How far a stream reaches."""

    first_ms: int
    last_ms: int
    count: int
    is_absolute: bool

    @property
    def length_ms(self) -> int:
        """From its first to its last message."""
        return self.last_ms - self.first_ms


def read_stream(lines: Iterable[str]) -> Iterator[StreamMessage]:
    """The messages of a stream, one by one.

    Raises:
        StreamError: naming the line and how to mend it.
    """
    before: StreamMessage | None = None
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            message = _message(line)
            if before is not None:
                _need_order(before, message)
        except StreamError as error:
            raise StreamError(f"line {number}: {error}") from None
        before = message
        yield message


def write_message(message: StreamMessage) -> str:
    """Its line, without the line break; `read_stream` gives back the same message, byte for byte."""
    line: dict[str, Any] = {
        "t": instant_text(message.at_ms) if message.is_absolute else message.at_ms / 1000,
        "topic": message.topic,
    }
    try:
        line["payload"] = _readable(message.payload.decode("utf-8"))
    except UnicodeDecodeError:
        line["payload_base64"] = base64.b64encode(message.payload).decode("ascii")
    if message.qos != 1:
        line["qos"] = message.qos
    if message.retain:
        line["retain"] = True
    return _compact(line)


def merged(*streams: Iterable[StreamMessage]) -> Iterator[StreamMessage]:
    """Several streams as one, in order of time.

    Raises:
        StreamError: some are of times and some of offsets.
    """
    before: StreamMessage | None = None
    for message in heapq.merge(*streams, key=attrgetter("at_ms")):
        if before is not None:
            _need_order(before, message)
        before = message
        yield message


def starting_at(messages: Iterable[StreamMessage], offset_ms: int) -> Iterator[StreamMessage]:
    """What a stream holds from `offset_ms` after its first message on.

    Raises:
        StreamError: it is over by then.
    """
    first_ms = last_ms = None
    is_over = True
    for message in messages:
        last_ms = message.at_ms
        first_ms = last_ms if first_ms is None else first_ms
        if last_ms - first_ms >= offset_ms:
            is_over = False
            yield message
    if is_over and first_ms is not None and last_ms is not None:
        raise StreamError(f"the stream is over after {(last_ms - first_ms) / 1000:g} s; start it earlier")


def offset_ms(text: str) -> int:
    """An offset into a stream: seconds, or days, hours, minutes and seconds.

    Raises:
        InvalidArgument: it is neither.

    >>> offset_ms("41400"), offset_ms("11h30m"), offset_ms("1d2.5s")
    (41400000, 41400000, 86402500)
    """
    parts = _OFFSET.fullmatch(text)
    if parts is None or not text:
        raise InvalidArgument("offset", text, "seconds (41400) or such as 11h30m")
    days, hours, minutes, seconds = (float(part or 0) for part in parts.groups())
    return round((((days * 24 + hours) * 60 + minutes) * 60 + seconds) * 1000)


def extent_of(messages: Iterable[StreamMessage]) -> Extent:
    """How far a stream reaches, in one pass.

    Raises:
        StreamError: it is empty.
    """
    first = last = None
    count = 0
    for last in messages:
        first = first or last
        count += 1
    if first is None or last is None:
        raise StreamError("the stream is empty; record some messages first")
    return Extent(first.at_ms, last.at_ms, count, first.is_absolute)


def _need_order(before: StreamMessage, message: StreamMessage) -> None:
    if message.is_absolute != before.is_absolute:
        raise StreamError("t is a time on some lines and an offset on others; use one")
    if message.at_ms < before.at_ms:
        raise StreamError("t goes back; sort the lines by t")


def _message(line: str) -> StreamMessage:
    try:
        fields = json.loads(line)
    except (ValueError, RecursionError):
        raise StreamError("not JSON; write one object a line") from None
    if not isinstance(fields, dict):
        raise StreamError("not an object; write t, topic and payload")
    unknown = sorted(set(fields) - _KEYS)
    if unknown:
        raise StreamError(f"unknown key {unknown[0][:40]!r}; known are {', '.join(sorted(_KEYS))}")
    at_ms, is_absolute = _time(fields.get("t"))
    topic = fields.get("topic")
    if not isinstance(topic, str) or not 0 < len(topic) <= _LONGEST_TOPIC or any(c in topic for c in "+#\0"):
        raise StreamError(f"topic {topic!r:.60} is none; write one topic, without + or #")
    qos = fields.get("qos", 1)
    if isinstance(qos, bool) or not isinstance(qos, int) or not 0 <= qos <= _TOP_QOS:
        raise StreamError(f"qos {qos!r:.20} is none; write 0, 1 or 2")
    retain = fields.get("retain", False)
    if not isinstance(retain, bool):
        raise StreamError(f"retain {retain!r:.20} is none; write true or false")
    return StreamMessage(at_ms, topic, _payload(fields), qos, retain, is_absolute)


def _time(value: object) -> tuple[int, bool]:
    if isinstance(value, str):
        try:
            return instant_ms(value), True
        except InvalidArgument as error:
            raise StreamError(str(error)) from None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= _LONGEST_OFFSET_S:
        raise StreamError(
            f"t {value!r:.40} is none; write seconds from the start, or an RFC 3339 time in quotes"
        )
    return round(value * 1000), False


def _payload(fields: dict[str, Any]) -> bytes:
    if ("payload" in fields) == ("payload_base64" in fields):
        raise StreamError("write either payload or payload_base64")
    if "payload" in fields:
        value = fields["payload"]
        try:
            return (value if isinstance(value, str) else _compact(value)).encode("utf-8")
        except UnicodeEncodeError:
            raise StreamError("payload holds half a character; write payload_base64") from None
    try:
        return base64.b64decode(fields["payload_base64"], validate=True)
    except (binascii.Error, TypeError, ValueError):
        raise StreamError("payload_base64 is no base64; write payload if it is text") from None


def _readable(text: str) -> object:
    """The JSON value that stands for exactly this text, or the text itself."""
    if text[:1] in ("{", "["):
        try:
            value = json.loads(text)
            if _compact(value) == text:
                return value
        except (ValueError, RecursionError):
            pass
    return text


def _compact(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
