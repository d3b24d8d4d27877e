"""The night brief's time and its readers: an hour before the farm's sunset, or when the farm file says; pure.

Sunset is the upper edge of the sun going down at sea level, by `astral` (its formulas are those of NOAA). Where no
place is in the farm file, or the sun does not set, it is five in the afternoon.
"""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import sunset

from shared.farm import Farm

FALLBACK = time(17)
LATE_S = 3 * 3600
"""A collector that was off at the time sends it if it is back so soon (and has listened for a while)."""
LEAST_APART_S = 15 * 3600
"""Never twice a day, whatever the sun, the clocks or an edited farm file do."""
SETTLES_S = 600
"""What has just begun to listen has not heard enough to say what is silent."""


def brief_due(farm: Farm, last_ms: int | None, now_ms: int, listening_ms: int = 0) -> int | None:
    """The time it was set for, if it is due now; to be given back as `last_ms` from then on, across restarts.

    `listening_ms`: since when the collector listens; the brief waits for sensors to be heard again.
    """
    if not farm.brief.enabled or now_ms < listening_ms + SETTLES_S * 1000:
        return None
    apart_ms = LEAST_APART_S * 1000
    # A clock that was far ahead and has been put right must not silence it for ever.
    earliest_ms = None if last_ms is None or last_ms > now_ms + apart_ms else last_ms + apart_ms
    if earliest_ms is not None and now_ms < earliest_ms:
        return None
    today = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(farm.zone).date()
    # Far north the sun sets after midnight, and the time before it belongs to the day before.
    for days in (-1, 0, 1):
        set_ms = brief_at_ms(farm, today + timedelta(days=days))
        is_new = earliest_ms is None or set_ms >= earliest_ms
        if is_new and 0 <= now_ms - set_ms < (LATE_S + SETTLES_S) * 1000:
            return set_ms
    return None


def brief_at_ms(farm: Farm, day: date) -> int:
    """When the brief of that local day is set for."""
    brief = farm.brief
    if brief.at is None and (dusk_ms := _sunset_ms(farm.latitude_deg, farm.longitude_deg, farm.zone, day)):
        return dusk_ms - round(brief.before_sunset_s * 1000)
    return round(datetime.combine(day, brief.at or FALLBACK, farm.zone).timestamp() * 1000)


@lru_cache(maxsize=16)
def _sunset_ms(
    latitude_deg: float | None, longitude_deg: float | None, zone: ZoneInfo, day: date
) -> int | None:
    """None without a place, and where the sun does not set that day."""
    if latitude_deg is None or longitude_deg is None:
        return None
    try:
        dusk = sunset(Observer(latitude_deg, longitude_deg), date=day, tzinfo=zone)
    except ValueError:
        return None
    return round(dusk.timestamp() * 1000)


def when_words(farm: Farm) -> str:
    """When the brief comes, for `lantern check`."""
    brief = farm.brief
    if not brief.enabled:
        return "is off"
    to = f"to {', '.join(readers(farm)) or 'nobody'}"
    if brief.at is not None:
        return f"{to}, at {brief.at:%H:%M}"
    if farm.latitude_deg is None or farm.longitude_deg is None:
        return f"{to}, at {FALLBACK:%H:%M}: for sunset give latitude_deg and longitude_deg in the file's head"
    before_min = round(brief.before_sunset_s / 60)
    return f"{to}, {before_min} min before sunset; at {FALLBACK:%H:%M} where the sun does not set"


def readers(farm: Farm) -> tuple[str, ...]:
    """The contacts that get it: those named, else the first."""
    return farm.brief.contacts or tuple(contact.id for contact in farm.contacts[:1])
