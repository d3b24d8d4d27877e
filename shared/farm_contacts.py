"""Who is told, by what ways, and when they are let sleep, as the farm file says it."""

from datetime import datetime, time
from enum import StrEnum
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BeforeValidator, Field

from shared.alerts import Priority
from shared.farm_parts import Id
from shared.farm_units import Section

FALLBACK_S = 180.0
"""How long a channel is given before the next is used as well (common practice, no source)."""


def _time_of_day(said: object) -> time:
    try:
        return said if isinstance(said, time) else datetime.strptime(str(said), "%H:%M").time()  # noqa: DTZ007
    except ValueError:
        raise ValueError('write a local time of day such as "21:30"') from None


Time = Annotated[time, BeforeValidator(_time_of_day)]
"""A local time of day, written `21:30`."""


class Channel(Section):
    """One way to reach a contact: an Apprise address, which may hold `${NAME}` from the environment."""

    id: Id
    url: str
    after_s: float | None = Field(default=None, ge=0)
    """Used when no earlier channel of this contact has taken the text by then. None: three minutes for
    each channel before it; 0: at once, whatever the others do."""

    def waits_s(self, index: int) -> float:
        """How long it leaves it to the `index` channels before it."""
        return self.after_s if self.after_s is not None else FALLBACK_S * index


class Quiet(Section):
    """When a contact is let sleep: local times, and up to which priority is held back till the end."""

    begins: Time = Field(alias="from")
    ends: Time = Field(alias="to")
    holds: Literal["tell", "wake"] = "tell"

    def covers(self, local: time) -> bool:
        """Whether that time of day lies within."""
        if self.begins <= self.ends:
            return self.begins <= local < self.ends
        return local >= self.begins or local < self.ends


class Contact(Section):
    """Somebody who is told; contacts are asked in the order of the file."""

    id: Id
    name: str
    channels: tuple[Channel, ...] = Field(alias="channel", min_length=1)
    quiet: Quiet | None = None

    def hears(self, priority: Priority, now_ms: int, zone: ZoneInfo) -> bool:
        """Whether this contact may be told something of that priority now."""
        if self.quiet is None or (priority is Priority.WAKE and self.quiet.holds == "tell"):
            return True
        return not self.quiet.covers(datetime.fromtimestamp(now_ms / 1000, zone).time())


class Weekday(StrEnum):
    """A day of the week."""

    MONDAY = "monday"
    TUESDAY = "tuesday"
    WEDNESDAY = "wednesday"
    THURSDAY = "thursday"
    FRIDAY = "friday"
    SATURDAY = "saturday"
    SUNDAY = "sunday"


class WeeklyDrill(Section):
    """When the path to every phone is proven each week, local time."""

    every: Weekday
    at: Time

    @property
    def weekday(self) -> int:
        """Monday is 0."""
        return list(Weekday).index(self.every)
