"""A story tells the simulator what goes wrong, where, when and by how much; everything else is physics.

A story file is TOML in the manner of the farm file: every key names its unit, unknown keys are errors. Times
are counted from the start of the stream. Stories combine: give one more `[[event]]`.
"""

import tomllib
from datetime import datetime
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter, ValidationError, model_validator

from collector.simulate.story_events import Event, Expectation
from shared.errors import Mistake, StoryFileError
from shared.farm_parts import Id
from shared.farm_units import Section
from shared.units import CFM_M3_S, DAY_S, GALLON_M3, HOUR_S, INHG_PA

Share = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(gt=0)]


class WeatherTold(Section):
    """The weather: drawn from the climate of a sugaring season, or told point by point."""

    air_f: tuple[tuple[float, float], ...] = ()
    """Pairs of hours from the start (may be negative) and °F, rising in time; empty: drawn."""
    barometer_inhg: tuple[tuple[float, float], ...] = ()
    """Pairs of hours from the start and inHg above or below the standard pressure of the farm's elevation."""
    gust_kelvin: float = Field(default=0.15, ge=0, le=2)
    """Size of the short wobbles laid over the told points."""
    first_day_of_season: float = Field(default=0.0, ge=-60, le=120)
    """How far into the season the stream starts, in days; drawn weather warms as the season goes."""

    @model_validator(mode="after")
    def _points_rise(self) -> "WeatherTold":
        for name, points in (("air_f", self.air_f), ("barometer_inhg", self.barometer_inhg)):
            if any(after[0] <= before[0] for before, after in pairwise(points)):
                raise ValueError(f"{name}: hours must rise from point to point")
        return self


class Plant(Section):
    """What the farm file need not know: pump, releaser, transfer pump, how tight the woods are."""

    pump_per_100_taps_m3_s: Positive = 2.5 * CFM_M3_S
    """Swept volume; extension notes allow 1 CFM of free air per 100 taps in the woods, besides line loss."""
    pump_ultimate_pa: Positive = 1.2 * INHG_PA
    """Absolute pressure of the pump against a blind flange (from memory, oil-cooled vane pumps)."""
    tap_air_m3_s: float = Field(default=0.2 * CFM_M3_S / 100, ge=0)
    """Free air that enters at each tap of a tight bush; set so that it runs near 25 inHg."""
    releaser_chamber_m3: Positive = 10.0 * GALLON_M3
    releaser_to: Id | None = None
    """Tank the releaser empties into; None: the first sap tank that drains to another, else the first."""
    transfer_m3_s: Positive = 600.0 * GALLON_M3 / HOUR_S
    pump_always_on: bool = False
    """False: a thermostat stops the pump once the lines have frozen and starts it with the thaw."""
    routine: bool = True
    """The crew transfers, runs the RO and boils as sap comes in; False: only what the story's events say."""
    sugar_wobble_brix: float = Field(default=0.1, ge=0, le=1)


class Link(Section):
    """What the radio and the broker do to messages on an ordinary day."""

    latency_s: float = Field(default=0.4, ge=0)
    duplicate_fraction: Share = 0.0
    late_fraction: Share = 0.0
    late_s: Positive = 45.0


class Start(Section):
    """What a tank holds when the stream begins."""

    volume_m3: float = Field(ge=0)
    brix: float | None = Field(default=None, ge=0, le=40)
    age_s: float = Field(default=0.0, ge=0)
    temperature_c: float | None = None


class Story(Section):
    """Everything a simulated stretch of time is told."""

    title: str
    text: str = ""
    start: datetime | None = None
    duration_s: Positive = DAY_S
    seed: int = Field(default=1, ge=0)
    weather: WeatherTold = WeatherTold()
    plant: Plant = Plant()
    link: Link = Link()
    interval_factor: Positive = 1.0
    """Every sensor speaks this many times less often than the farm file says, to make a long stream small."""
    payloads: dict[Id, Literal["json", "bare", "senml", "text"]] = Field(default={})
    """Sensor -> how it speaks; one with a `field` in the farm file speaks its own firmware's JSON,
    and `text` makes its number a string there. A switch spoken as `text` says on or off."""
    tanks: dict[Id, Start] = Field(default={})
    events: tuple[Event, ...] = Field(default=(), alias="event")
    expect: tuple[Expectation, ...] = ()

    @model_validator(mode="after")
    def _start_has_a_zone(self) -> "Story":
        if self.start is not None and self.start.tzinfo is None:
            raise ValueError("start needs its offset from UTC, as in 2026-04-06T11:00:00-04:00")
        return self


_STORY = TypeAdapter(Story)


def parse_story(text: str) -> Story:
    """The story that this TOML text tells.

    Raises:
        StoryFileError: with all mistakes found.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StoryFileError((Mistake("story", "", f"not valid TOML: {error}"),)) from error
    try:
        return _STORY.validate_python(document)
    except ValidationError as error:
        mistakes = []
        for detail in error.errors():
            value = detail["input"]
            mistakes.append(
                Mistake(
                    _spoken(detail["loc"]),
                    value.get("kind", "") if isinstance(value, dict) else value,
                    detail["msg"].removeprefix("Value error, "),
                )
            )
        raise StoryFileError(tuple(mistakes)) from error


def _spoken(path: tuple[int | str, ...]) -> str:
    """`event 2: hole_m` rather than `event.1.leak.hole_m`."""
    words = []
    for step in path:
        if isinstance(step, int):
            words.append(str(step + 1))
        else:
            words.append(step)
    return " ".join(words) or "story"
