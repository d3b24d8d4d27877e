"""What everything on the farm shares in one step: the time, the air, and what is happening."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from collector.simulate.story_events import Event, Happening

Kind = TypeVar("Kind", bound=Happening)


@dataclass(slots=True)
class Moment:
    """One step; everything moves from `now_s` - `step_s` to `now_s`, counted from the stream's start."""

    now_s: float
    step_s: float
    air_c: float
    station_pa: float
    shed_c: float
    local_hour: float
    on: tuple[Event, ...]
    """The story's events that are going on."""


def going_on(events: Sequence[Event], now_s: float) -> tuple[tuple[Event, ...], float]:
    """The events at that time, and until when that stays so."""
    on = tuple(event for event in events if event.is_on(now_s))
    edges = [edge for event in events for edge in (event.at_s, event.until_s) if edge > now_s]
    return on, min(edges, default=float("inf"))


def every(kind: type[Kind], on: Sequence[Happening]) -> list[Kind]:
    """Those of one kind."""
    return [event for event in on if isinstance(event, kind)]


def first(kind: type[Kind], on: Sequence[Happening]) -> Kind | None:
    """The first of one kind."""
    return next((event for event in on if isinstance(event, kind)), None)
