"""Instants on the wire, RFC 3339 text or Unix numbers, to ms since 1970 UTC and back; pure."""

import re
from datetime import UTC, datetime, timedelta

from shared.errors import InvalidArgument

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TEXT = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d:\d\d)(\.\d+)?([Zz]|[+-]\d\d:\d\d)?",
    re.ASCII,
)
_NUMBER = re.compile(r"\d+(\.\d*)?", re.ASCII)
_SECONDS_BELOW = 1e11
"""A Unix number from here on is in ms: as seconds it would be the year 5138, as ms it is 1973."""
_LAST_MS = 253_402_300_799_999
"""The end of the year 9999, where RFC 3339 ends."""
_NEED = "RFC 3339 with Z or an offset (2026-03-02T04:05:06Z), Unix seconds or Unix ms"


def instant_ms(value: object) -> int:
    """The instant that a value of a message names.

    A Unix number may be text, as some firmware writes it. A leap second (`:60`) is not read.

    Raises:
        InvalidArgument: it names no instant; local time without its offset does not.

    >>> instant_ms("1985-04-12T23:20:50.52Z")
    482196050520
    >>> instant_ms(1276020076.001)
    1276020076001
    """
    if isinstance(value, str):
        text = value.strip()
        if _NUMBER.fullmatch(text):
            return _of_number(float(text))
        return _of_text(text)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _of_number(value)
    raise InvalidArgument("time", value, _NEED)


def _of_number(number: float) -> int:
    if not 0 <= number <= _LAST_MS:
        raise InvalidArgument("time", number, _NEED)
    return round(number * 1000) if number < _SECONDS_BELOW else round(number)


def _of_text(text: str) -> int:
    parts = _TEXT.fullmatch(text)
    if parts is None or parts[4] is None:
        raise InvalidArgument("time", text[:40], _NEED)
    fraction = (parts[3] or "")[:7]
    zone = "+00:00" if parts[4] in "Zz" else parts[4]
    try:
        at = datetime.fromisoformat(
            f"{parts[1]}T{parts[2]}{fraction.ljust(7, '0') if fraction else ''}{zone}"
        )
        return (at.astimezone(UTC) - _EPOCH) // timedelta(milliseconds=1)
    except (ValueError, OverflowError):
        raise InvalidArgument("time", text[:40], _NEED) from None


def instant_text(at_ms: int) -> str:
    """RFC 3339 in UTC, to the ms.

    Raises:
        InvalidArgument: before the year 1 or after 9999.

    >>> instant_text(482196050520)
    '1985-04-12T23:20:50.520Z'
    """
    try:
        at = _EPOCH + timedelta(milliseconds=at_ms)
    except OverflowError:
        raise InvalidArgument("at_ms", at_ms, "between the years 1 and 9999") from None
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
