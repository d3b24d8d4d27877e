"""SenML packs (RFC 8428, JSON form) resolved record by record; pure."""

from dataclasses import dataclass
from typing import Any

from collector.payloads import number_of
from shared.errors import PayloadError

RELATIVE_BELOW_S = 2**28
"""A resolved time below this is relative to now. Source: RFC 8428, section 4.5.3."""
_VERSION = 10
"""Source: RFC 8428, section 4.4; a pack of a larger version must be refused."""
_VALUES = ("v", "vs", "vb", "vd")
_LAST_S = 253_402_300_799
"""The end of the year 9999."""


@dataclass(frozen=True, slots=True)
class Record:
    """One measurement with the base fields worked in."""

    name: str
    unit: str | None
    value: object
    """As sent, with the base value added; whether it is of use is its reader's to say. None: only a sum."""
    time_s: float
    """Unix seconds; relative to now below RELATIVE_BELOW_S."""

    @property
    def is_relative(self) -> bool:
        """Whether the sender left it to the receiver's clock to say when."""
        return self.time_s < RELATIVE_BELOW_S

    def measured_ms(self, now_ms: int) -> int:
        """When it was measured, if the pack arrived now."""
        return round(self.time_s * 1000) + (now_ms if self.is_relative else 0)


def resolve(pack: object) -> tuple[Record, ...]:
    """The records of a pack, base fields applied (RFC 8428, section 4.6).

    More lenient than the RFC in two ways: a name may be empty or hold any character, since the topic names
    the sensor, and a number may be text.

    Raises:
        PayloadError: not SenML, or SenML that must be refused; then no record of the pack is used.
    """
    if not isinstance(pack, list) or not pack:
        raise PayloadError("a SenML pack is an array of records")
    base: dict[str, Any] = {}
    records = []
    for place, fields in enumerate(pack):
        if not isinstance(fields, dict):
            raise PayloadError(f"record {place}: a SenML record is an object")
        try:
            base.update({key: fields[key] for key in ("bn", "bt", "bu", "bv", "bver") if key in fields})
            record = _record(fields, base)
        except PayloadError as error:
            raise PayloadError(f"record {place}: {error}") from None
        if record is not None:
            records.append(record)
    return tuple(records)


def _record(fields: dict[str, Any], base: dict[str, Any]) -> Record | None:
    for key in fields:
        if key.endswith("_"):
            raise PayloadError(f"field {key[:40]!r} must be understood and is not (RFC 8428, section 4.4)")
    if number_of(base.get("bver", _VERSION)) > _VERSION:
        raise PayloadError(f"version is newer than {_VERSION}")
    present = [key for key in _VALUES if key in fields]
    if len(present) > 1:
        raise PayloadError(f"{' and '.join(present)} exclude each other")
    time_s = number_of(base.get("bt", 0)) + number_of(fields.get("t", 0))
    if abs(time_s) > _LAST_S:
        raise PayloadError("time is beyond the year 9999")
    name = _text(base, "bn") + _text(fields, "n")
    unit = _text(fields, "u") or _text(base, "bu") or None
    if not present and "s" not in fields:
        if any(key in fields for key in ("bn", "bt", "bu", "bv", "bver", "bs")):
            return None  # a record that only sets the base for those after it
        raise PayloadError("holds no value")
    value = fields[present[0]] if present else None
    if "v" in fields and "bv" in base:
        value = number_of(value) + number_of(base["bv"])
    return Record(name, unit, value, time_s)


def _text(fields: dict[str, Any], key: str) -> str:
    text = fields.get(key, "")
    if not isinstance(text, str):
        raise PayloadError(f"{key} must be text")
    return text
