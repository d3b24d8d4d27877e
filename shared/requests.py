"""What people ask of the collector, as a message: acknowledge, shelve, answer, drill, write into the log; pure.

Dashboard and command line write nothing themselves: they publish one of these on `lantern/<farm>/request` and
the collector, the only writer, carries it out. An id makes asking twice the same as asking once.

    {"kind": "acknowledge", "id": "5f0c…", "by": "Ann", "time": "2026-03-02T04:05:06.000Z", "alert": "…"}
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from shared.errors import InvalidArgument, PayloadError
from shared.instants import instant_ms, instant_text
from shared.units import to_si

HOUR_MS = 3_600_000
LONGEST_SHELF_MS = 24 * HOUR_MS
"""A pause longer than a day is forgotten (common practice, no source); shelve again for another."""
_LONGEST_ID = 80
_LONGEST_TEXT = 500


class LogKind(StrEnum):
    """What an owner writes down."""

    LEAK_FOUND = "leak found"
    LEAK_FIXED = "leak fixed"
    LINES_CHANGED = "lines changed"
    """Tubing was added, taken away or moved: the usual vacuum there is learnt anew."""
    RO_STARTED = "RO started"
    RO_STOPPED = "RO stopped"
    BOIL_STARTED = "boil started"
    BOIL_STOPPED = "boil stopped"
    BARREL_DRAWN = "barrel drawn"
    SAP_SUGAR = "sap sugar"
    TANK_WASHED = "tank washed"
    NOTE = "note"


_RANGES = MappingProxyType(
    {
        "sugar_brix": (0.0, 90.0),
        "temperature_c": (to_si(-40, "degF"), to_si(260, "degF")),
        "volume_m3": (0.0, 50.0),
        "transmittance_fraction": (0.0, 1.0),
    }
)
"""The figures a log entry may hold, in SI, and what each can be on a farm (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What every request has."""

    id: str
    by: str
    asked_ms: int


@dataclass(frozen=True, slots=True)
class Acknowledge(Asked):
    """Somebody has it."""

    alert: str


@dataclass(frozen=True, slots=True)
class Shelve(Asked):
    """No texts for an alert until a given time."""

    alert: str
    until_ms: int
    reason: str


@dataclass(frozen=True, slots=True)
class Unshelve(Asked):
    """End a pause now."""

    alert: str


@dataclass(frozen=True, slots=True)
class Answer(Asked):
    """Somebody answers a text by its code: they have it, or want no texts of it for so long."""

    code: str
    quiet_ms: int = 0


@dataclass(frozen=True, slots=True)
class Drill(Asked):
    """A marked test to every contact by every channel, to be answered like an alert."""


@dataclass(frozen=True, slots=True)
class WriteLog(Asked):
    """An entry for the logbook, about a tank, a line or the farm; figures in SI."""

    entry: LogKind
    happened_ms: int
    tank: str | None = None
    line: str | None = None
    note: str = ""
    figures: Mapping[str, float] = field(default_factory=dict)


Request = Acknowledge | Shelve | Unshelve | Answer | Drill | WriteLog


def encode(request: Request) -> bytes:
    """The message that asks for it.

    Raises:
        PayloadError: it would be refused; the reason says what to mend.
    """
    wire: dict[str, Any] = {"id": request.id, "by": request.by, "time": instant_text(request.asked_ms)}
    match request:
        case Acknowledge():
            wire |= {"kind": "acknowledge", "alert": request.alert}
        case Shelve():
            wire |= {"kind": "shelve", "alert": request.alert, "reason": request.reason}
            wire["until"] = instant_text(request.until_ms)
        case Unshelve():
            wire |= {"kind": "unshelve", "alert": request.alert}
        case Answer():
            wire |= {"kind": "answer", "code": request.code, "quiet_h": request.quiet_ms / HOUR_MS}
        case Drill():
            wire |= {"kind": "drill"}
        case WriteLog():
            wire |= {"kind": "log", "entry": request.entry, "happened": instant_text(request.happened_ms)}
            wire |= {"tank": request.tank, "line": request.line, "note": request.note}
            wire["figures"] = dict(request.figures)
    payload = json.dumps(wire, ensure_ascii=False).encode()
    decode(payload)
    return payload


def decode(payload: bytes) -> Request:
    """The request in a message.

    Raises:
        PayloadError: naming the key and what it must be.
    """
    try:
        wire = json.loads(payload)
    except (ValueError, RecursionError):
        raise PayloadError("a request is a JSON object") from None
    if not isinstance(wire, dict):
        raise PayloadError("a request is a JSON object")
    asked = (_text(wire, "id", _LONGEST_ID), _text(wire, "by", _LONGEST_ID), _instant(wire, "time"))
    match wire.get("kind"):
        case "acknowledge":
            return Acknowledge(*asked, alert=_text(wire, "alert", _LONGEST_ID * 2))
        case "shelve":
            return _shelve(wire, asked)
        case "unshelve":
            return Unshelve(*asked, alert=_text(wire, "alert", _LONGEST_ID * 2))
        case "answer":
            return _answer(wire, asked)
        case "drill":
            return Drill(*asked)
        case "log":
            return _log(wire, asked)
    raise PayloadError("kind must be acknowledge, shelve, unshelve, answer, drill or log")


def _shelve(wire: dict[str, Any], asked: tuple[str, str, int]) -> Shelve:
    until_ms = _instant(wire, "until")
    if not 0 < until_ms - asked[2] <= LONGEST_SHELF_MS:
        raise PayloadError("until must be after time, by at most 24 h")
    alert = _text(wire, "alert", _LONGEST_ID * 2)
    return Shelve(*asked, alert=alert, until_ms=until_ms, reason=_text(wire, "reason", _LONGEST_TEXT))


def _answer(wire: dict[str, Any], asked: tuple[str, str, int]) -> Answer:
    quiet_h = wire.get("quiet_h", 0)
    if isinstance(quiet_h, bool) or not isinstance(quiet_h, int | float):
        raise PayloadError("quiet_h must be a number of hours")
    if not 0 <= quiet_h * HOUR_MS <= LONGEST_SHELF_MS:
        raise PayloadError("quiet_h must be from 0 to 24")
    return Answer(*asked, code=_text(wire, "code", _LONGEST_ID).upper(), quiet_ms=round(quiet_h * HOUR_MS))


def _log(wire: dict[str, Any], asked: tuple[str, str, int]) -> WriteLog:
    try:
        entry = LogKind(str(wire.get("entry")))
    except ValueError:
        raise PayloadError(f"entry must be one of {', '.join(LogKind)}") from None
    figures = wire.get("figures") or {}
    if not isinstance(figures, dict):
        raise PayloadError("figures must be an object of numbers")
    for name, figure in figures.items():
        low, high = _RANGES.get(name, (None, None))
        if low is None or high is None:
            raise PayloadError(f"figure {name[:40]!r} is none we know: {', '.join(_RANGES)}")
        if isinstance(figure, bool) or not isinstance(figure, int | float) or not low <= figure <= high:
            raise PayloadError(f"{name} must be a number from {low:g} to {high:g}")
    return WriteLog(
        *asked,
        entry=entry,
        happened_ms=_instant(wire, "happened"),
        tank=_text(wire, "tank", _LONGEST_ID) if wire.get("tank") is not None else None,
        line=_text(wire, "line", _LONGEST_ID) if wire.get("line") is not None else None,
        note=_text(wire, "note", _LONGEST_TEXT) if wire.get("note") else "",
        figures={name: float(figure) for name, figure in figures.items()},
    )


def _text(wire: dict[str, Any], key: str, longest: int) -> str:
    text = wire.get(key)
    if not isinstance(text, str) or not 0 < len(text.strip()) <= longest:
        raise PayloadError(f"{key} must be text of 1 to {longest} characters")
    return text.strip()


def _instant(wire: dict[str, Any], key: str) -> int:
    try:
        return instant_ms(wire.get(key))
    except InvalidArgument:
        raise PayloadError(f"{key} must be a time (RFC 3339 with Z or an offset)") from None
