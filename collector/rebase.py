"""Moves the times inside a recorded payload, so that a night of last winter can be lived now; pure.

What is moved: `bt` and `t` of a SenML pack where they are absolute, `time` of an object with a `value`, what
stands at a sensor's own `time_field`, and the times of Lantern's own requests, so that a wash stays where it
belongs. A request that moved is another request: its id gets the shift appended, or a collector that knows the
recording would take it for one it has carried out. What is not: relative times, times from a clock that was never
set (before 2020: that fault is part of the recording), times in other places, and anything that is no JSON.
A payload in which nothing moves stays as it is, byte for byte; else it is written compactly.
"""

import json
import re
from typing import Any

from collector.payloads import ABSENT, document_of, number_of, pointed_at
from collector.senml import RELATIVE_BELOW_S
from shared.errors import InvalidArgument, PayloadError
from shared.instants import instant_ms, instant_text

_CLOCKS_SET_MS = instant_ms("2020-01-01T00:00:00Z")
_REQUEST_TOPIC = re.compile(r"lantern/[^/]+/request")
_REQUEST_TIMES = ("time", "happened", "until")
_LONGEST_ID = 80
"""The longest a request's id may be (shared.requests)."""


def rebased(payload: bytes, shift_ms: int, time_fields: tuple[str, ...] = (), *, topic: str = "") -> bytes:
    """The payload with its absolute times moved by `shift_ms`.

    Args:
        payload: As recorded.
        shift_ms: May be negative.
        time_fields: JSON Pointers to further times.
        topic: Where it was said; tells requests from readings.
    """
    if shift_ms == 0:
        return payload
    try:
        document = document_of(payload)
    except PayloadError:
        return payload
    moved = _move_pack(document, shift_ms) if isinstance(document, list) else False
    if isinstance(document, dict) and _REQUEST_TOPIC.fullmatch(topic):
        moved |= _move_request(document, shift_ms)
    elif isinstance(document, dict) and "value" in document:
        moved |= _move(document, "time", shift_ms)
    for pointer in time_fields:
        if pointer == "/time" and isinstance(document, dict) and "value" in document:
            continue  # moved already
        above, _, key = pointer.rpartition("/")
        parent = pointed_at(document, above)
        if isinstance(parent, dict):
            moved |= _move(parent, key.replace("~1", "/").replace("~0", "~"), shift_ms)
    if not moved:
        return payload
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()


def _move_request(request: dict[str, Any], shift_ms: int) -> bool:
    moved = False
    for key in _REQUEST_TIMES:
        moved |= _move(request, key, shift_ms)
    if moved and isinstance(request.get("id"), str):
        request["id"] = f"{request['id']}{shift_ms:+d}"[-_LONGEST_ID:]
    return moved


def _move_pack(pack: list[Any], shift_ms: int) -> bool:
    moved = False
    base_s: object = 0
    for record in pack:
        if not isinstance(record, dict):
            return moved
        base_s = record.get("bt", base_s)
        for key in ("bt", "t"):
            # The sum of base and time is moved once: by the base if that is absolute, else by the time.
            if key in record and _is_absolute(record[key]) and (key == "bt" or not _is_absolute(base_s)):
                moved |= _move(record, key, shift_ms)
    return moved


def _is_absolute(seconds: object) -> bool:
    try:
        return number_of(seconds) >= RELATIVE_BELOW_S
    except PayloadError:
        return False


def _move(parent: dict[str, Any], key: str, shift_ms: int) -> bool:
    value = parent.get(key, ABSENT)
    try:
        at_ms = instant_ms(value)
    except InvalidArgument:
        return False
    if at_ms < _CLOCKS_SET_MS:
        return False
    moved_ms = at_ms + shift_ms
    if isinstance(value, str) and not value.strip().replace(".", "", 1).isdigit():
        parent[key] = instant_text(moved_ms)
        return True
    # Seconds stay seconds and ms stay ms; whole seconds stay whole where they can.
    number: int | float = moved_ms
    if float(value) * 1000 < 2 * at_ms:
        number = moved_ms // 1000 if moved_ms % 1000 == 0 else moved_ms / 1000
    parent[key] = str(number) if isinstance(value, str) else number
    return True
