"""Who is told, by what ways, and when they are let sleep, as the farm file says it."""

from collections.abc import Collection
from datetime import datetime, time
from enum import StrEnum
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BeforeValidator, Field, field_validator

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


def way_id(contact: str, channel: str) -> str:
    """`owner.push`: one channel of one contact, as alerts and records name it; no id has a point in it."""
    return f"{contact}.{channel}"


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

    def is_cut_off(self, failing: Collection[str]) -> bool:
        """Whether every channel of this contact is among those that take no texts."""
        return all(way_id(self.id, channel.id) in failing for channel in self.channels)


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


class Brief(Section):
    """The night brief: whether, when, and to whom."""

    enabled: bool = True
    at: Time | None = None
    """None: by the sun."""
    before_sunset_s: float = Field(default=3600.0, ge=0, le=43_200)
    contacts: tuple[Id, ...] = ()
    """None named: the first contact of the file."""


class Horn(Section):
    """What sounds on the farm itself when texts do not help: anything that hears MQTT."""

    topic: str | None = None
    """None: `lantern/<farm>/horn`."""
    on: str = "on"
    off: str = "off"
    after_s: float = Field(default=300.0, ge=0)
    """A wake-up that no channel of anybody has taken by then sounds it."""
    unanswered_s: float | None = Field(default=None, ge=0)
    """A wake-up that nobody has answered by then sounds it too. None: never."""

    def topic_on(self, farm_id: str) -> str:
        """Where it listens."""
        return self.topic if self.topic is not None else f"lantern/{farm_id}/horn"

    @field_validator("topic")
    @classmethod
    def _topic_is_one(cls, topic: str | None) -> str | None:
        if topic is not None and (not topic or any(mark in topic for mark in "+#\0")):
            raise ValueError("one topic, without + or #")
        return topic
