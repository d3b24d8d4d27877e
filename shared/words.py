"""How figures are said to people, the same in texts, pages and the terminal: trade units, short words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from shared.units import HOUR_S, from_si

_MINUTE_S = 60.0
_DAY_MS = 86_400_000


def gallons(volume_m3: float) -> str:
    """`1,290 gal`."""
    return f"{round(from_si(volume_m3, 'gal')):,} gal"


def gallons_an_hour(flow_m3_s: float) -> str:
    """`142 gal/h`, with its sign if it is negative."""
    return f"{round(from_si(flow_m3_s, 'gal/h')):,} gal/h"


def inches_of_mercury(pressure_pa: float) -> str:
    """`3.1 inHg`."""
    return f"{from_si(pressure_pa, 'inHg'):.1f} inHg"


def degrees(temperature_c: float) -> str:
    """`39F`: no degree sign, which is not in a text's alphabet."""
    return f"{round(from_si(temperature_c, 'degF'))}F"


def duration(seconds: float) -> str:
    """`45 min`, `9 h 20 min`, `3 d 4 h`.

    >>> duration(5400)
    '1 h 30 min'
    """
    minutes = round(seconds / _MINUTE_S)
    hours, minutes = divmod(minutes, 60)
    if hours >= 48:  # noqa: PLR2004 - up to two days hours are easier to compare
        return f"{hours // 24} d {hours % 24} h"
    if hours:
        return f"{hours} h {minutes:02d} min" if minutes else f"{hours} h"
    return f"{minutes} min"


def clock_time(at_ms: int, zone: ZoneInfo, now_ms: int | None = None) -> str:
    """Local time `04:50`; with its day (`Wed 12:10`) when `now_ms` is given and is 18 h or more away."""
    local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    far = now_ms is not None and abs(at_ms - now_ms) >= 18 * HOUR_S * 1000
    return local.strftime("%a %H:%M" if far else "%H:%M")


def weekday(at_ms: int, zone: ZoneInfo) -> str:
    """`Tue`, by the farm's own clock."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).strftime("%a")


def capitalised(name: str) -> str:
    """An id as a sentence begins with it: `north-face` becomes `North-face`."""
    return name[:1].upper() + name[1:]
