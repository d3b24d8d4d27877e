"""Times as a person types them, at the farm's clock or as an age, to ms since 1970 UTC; pure."""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from shared.errors import InvalidArgument
from shared.instants import instant_ms

_CLOCK = re.compile(r"(\d{1,2}):(\d\d)", re.ASCII)
_LOCAL = re.compile(r"(\d{4}-\d\d-\d\d)[Tt ](\d{1,2}:\d\d)(:\d\d)?", re.ASCII)
_AGE = re.compile(r"(?:(\d+)d)?(?:(\d+)h)?(?:(\d+)(?:m|min))?", re.ASCII)
_HAS_ZONE = re.compile(r".*\d([Zz]|[+-]\d\d:\d\d)", re.ASCII)
NEED = (
    "a time of the farm's clock (2026-03-24 22:00, or 22:00 for the last one), RFC 3339"
    " (2026-03-25T02:00:00Z) or an age (12h, 90min, 2d)"
)


def typed_ms(text: str, what: str, zone: ZoneInfo, now_ms: int) -> int:
    """The instant that somebody means by it; `what` names it in the error, as `--from`.

    Raises:
        InvalidArgument: it names no time, or one that the clock leaves out as it goes forward.

    >>> typed_ms("90min", "--from", ZoneInfo("UTC"), 7_200_000)
    1800000
    >>> typed_ms("22:00", "--from", ZoneInfo("UTC"), 7_200_000) // 3_600_000
    -2
    """
    said = text.strip()
    clock, local, age = _CLOCK.fullmatch(said), _LOCAL.fullmatch(said), _AGE.fullmatch(said)
    try:
        if clock is not None:
            return _last_ms(int(clock[1]), int(clock[2]), zone, now_ms)
        if local is not None:
            hours, minutes = local[2].split(":")
            day = datetime.fromisoformat(local[1])
            return _local_ms(day.replace(hour=int(hours), minute=int(minutes)), zone)
        if age is not None and said:
            days, hours_old, minutes_old = (int(part or 0) for part in age.groups())
            return now_ms - ((days * 24 + hours_old) * 60 + minutes_old) * 60_000
        if _HAS_ZONE.fullmatch(said):
            return instant_ms(said)
    except InvalidArgument as error:
        if error.argument == "clock":
            raise InvalidArgument(
                what, text, "a time that the clock shows: it went forward over it"
            ) from None
    except (ValueError, OverflowError):
        pass
    raise InvalidArgument(what, text, NEED)


def local_text(at_ms: int, zone: ZoneInfo) -> str:
    """`2026-03-24T22:00`, as a browser's field for a time has it; read again by `typed_ms`."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).strftime("%Y-%m-%dT%H:%M")


def _last_ms(hour: int, minute: int, zone: ZoneInfo, now_ms: int) -> int:
    now = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone)
    today = now.replace(hour=hour, minute=minute, second=0, microsecond=0, tzinfo=None, fold=0)
    at_ms = _local_ms(today, zone)
    return at_ms if at_ms <= now_ms else _local_ms(today - timedelta(days=1), zone)


def _local_ms(local: datetime, zone: ZoneInfo) -> int:
    at = local.replace(tzinfo=zone)
    if at.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
        raise InvalidArgument("clock", str(local), "shown")
    return round(at.timestamp() * 1000)
