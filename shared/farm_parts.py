"""The parts of a farm as its owner describes them: line, tank, sensor, machines.

Inside, everything is SI; in the file every key names its unit (see farm_units). What must fit between parts
is checked by the farm itself.
"""

from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import Field, StringConstraints, field_validator, model_validator

from shared.errors import InvalidArgument
from shared.farm_units import Section
from shared.physics.tanks import (
    Box,
    Dipstick,
    Heads,
    HorizontalCylinder,
    Oval,
    TankShape,
    VerticalCylinder,
    capacity_m3,
)
from shared.readings import PLAUSIBLE, Plausible, Quantity
from shared.tuning import OwnRules
from shared.units import UNITS, Dimension, to_si

PUMP = "pump"
"""The root of the tree of lines: the vacuum pump and its releaser."""

Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]*$", max_length=40)]
Positive = Annotated[float, Field(gt=0)]


class LineKind(StrEnum):
    """What a piece of tubing is."""

    CONDUCTOR = "conductor"
    MAINLINE = "mainline"
    LATERAL = "lateral"


class Line(Section):
    """A piece of tubing that joins its parent (another line, or the pump) somewhere along it."""

    id: Id
    kind: LineKind
    parent: Id = PUMP
    joins_at_m: float = Field(default=0.0, ge=0)
    """Distance along the parent from the parent's pump end to this line's joint."""
    length_m: Positive
    bore_m: Positive
    taps: int = Field(default=0, ge=0)
    """Taps on this line itself, not on the lines that join it."""


class Holds(StrEnum):
    """What a tank holds."""

    SAP = "sap"
    CONCENTRATE = "concentrate"
    PERMEATE = "permeate"


class Tank(Section):
    """A bulk tank: its shape, what it holds and where it is emptied to."""

    id: Id
    shape: Literal["vertical", "horizontal", "oval", "box", "dipstick"]
    holds: Holds = Holds.SAP
    drains_to: Id | None = None
    """The tank a transfer goes to; None: the RO, the evaporator or the ground."""
    diameter_m: Positive | None = None
    height_m: Positive | None = None
    length_m: Positive | None = None
    width_m: Positive | None = None
    cone_depth_m: Positive | None = None
    heads: Heads | None = None
    head_depth_m: Positive | None = None
    dipstick_in_gal: tuple[tuple[float, float], ...] | None = None
    """Pairs of level in inches and volume in US gallons, rising."""
    heel_m3: float = Field(default=0.02, ge=0)
    """Volume that stays when the tank counts as empty; an unwashed heel keeps its age."""
    rules: OwnRules = OwnRules()

    @cached_property
    def geometry(self) -> TankShape:
        """The shape as physics knows it; raises InvalidArgument where it is impossible."""
        if self.shape == "dipstick":
            points = tuple((to_si(i, "in"), to_si(g, "gal")) for i, g in self._need("dipstick_in_gal"))
            return Dipstick(points)
        if self.shape == "vertical":
            return VerticalCylinder(
                self._need("diameter_m"), self._need("height_m"), self.cone_depth_m or 0.0
            )
        if self.shape == "oval":
            return Oval(self._need("width_m"), self._need("height_m"), self._need("length_m"))
        if self.shape == "box":
            return Box(self._need("length_m"), self._need("width_m"), self._need("height_m"))
        return HorizontalCylinder(
            self._need("diameter_m"), self._need("length_m"), self.heads or Heads.FLAT, self.head_depth_m
        )

    def _need(self, field: str) -> Any:
        value = getattr(self, field)
        if value is None:
            raise InvalidArgument(field, None, f"given for a {self.shape} tank")
        return value

    @model_validator(mode="after")
    def _shape_is_possible(self) -> Self:
        used = {
            "vertical": {"diameter_m", "height_m", "cone_depth_m"},
            "horizontal": {"diameter_m", "length_m", "heads", "head_depth_m"},
            "oval": {"width_m", "height_m", "length_m"},
            "box": {"width_m", "height_m", "length_m"},
            "dipstick": {"dipstick_in_gal"},
        }
        dimensions = set().union(*used.values())
        extra = sorted(f for f in dimensions - used[self.shape] if getattr(self, f) is not None)
        if extra:
            raise ValueError(f"a {self.shape} tank has no {', '.join(extra)}; remove it or change the shape")
        if self.heel_m3 >= capacity_m3(self.geometry):
            raise ValueError("heel is as large as the tank; give what stays in it when it counts as empty")
        return self


class Sensor(Section):
    """One sensor: where it sits, what it says on which topic, and how that becomes SI."""

    id: Id
    quantity: Quantity
    unit: str
    line: Id | None = None
    at_m: float | None = Field(default=None, ge=0)
    """Distance along the line from its pump end; None on a line: its far end."""
    tank: Id | None = None
    gateway: Id | None = None
    """What it speaks through; when all of one gateway are silent, the gateway is."""
    interval_s: Positive = 60.0
    topic: str | None = None
    """Where the sensor publishes; None: `lantern/<farm>/<sensor>`."""
    field: str | None = None
    """JSON Pointer (RFC 6901) to the value in a payload of any other shape."""
    time_field: str | None = None
    """JSON Pointer to the time of measurement (RFC 3339, or Unix seconds)."""
    offset: float = 0.0
    gain: float = 1.0
    calibration: tuple[tuple[float, float], ...] | None = None
    """Pairs of raw and true number in the sensor's unit, rising: used in place of offset and gain."""
    mount_height_m: Positive | None = None
    """A level sensor that looks down: height of its face over the tank's lowest point."""
    span: tuple[float, float] | None = None
    """A 4-20 mA sensor: the numbers at 4 and at 20 mA, in `span_unit`."""
    span_unit: str | None = None
    low: float | None = None
    high: float | None = None
    """Narrower plausible range, in the sensor's unit after calibration."""
    rules: OwnRules = OwnRules()

    @property
    def facts(self) -> Plausible:
        """What this sensor's quantity can be on any farm."""
        return PLAUSIBLE[self.quantity]

    @property
    def measured_unit(self) -> str:
        """The unit of the number once a 4-20 mA current has been scaled."""
        return self.span_unit if self.span_unit is not None else self.unit

    @field_validator("unit", "span_unit")
    @classmethod
    def _unit_is_known(cls, unit: str | None) -> str | None:
        if unit is not None and unit not in UNITS:
            raise ValueError(f"not a unit we know; use one of {', '.join(UNITS)}")
        return unit

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        current = UNITS[self.unit].dimension is Dimension.CURRENT
        if current != (self.span is not None and self.span_unit is not None):
            raise ValueError(
                "a mA sensor needs span and span_unit (the numbers at 4 and 20 mA); others have none"
            )
        allowed = {self.facts.dimension}
        if self.quantity is Quantity.LEVEL:
            allowed.add(Dimension.PRESSURE)  # the weight of the liquid over the sensor
        if UNITS[self.measured_unit].dimension not in allowed:
            fitting = [s for s, u in UNITS.items() if u.dimension in allowed]
            raise ValueError(f"{self.measured_unit} does not fit {self.quantity}; use {', '.join(fitting)}")
        if self.mount_height_m is not None and UNITS[self.measured_unit].dimension is not Dimension.LENGTH:
            raise ValueError("mount_height is for a level sensor that measures a distance")
        return self

    @model_validator(mode="after")
    def _calibration_is_sound(self) -> Self:
        if self.calibration is not None:
            _need_rising(self.calibration)
            if (self.offset, self.gain) != (0.0, 1.0):
                raise ValueError("calibration and offset or gain exclude each other; keep one")
        if self.gain == 0:
            raise ValueError("gain 0 would make every reading the same; give the true gain")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be less than high")
        return self

    @model_validator(mode="after")
    def _place_is_known(self) -> Self:
        for pointer in (self.field, self.time_field):
            if pointer is not None and pointer != "" and not pointer.startswith("/"):
                raise ValueError(f"{pointer!r} is no JSON Pointer; it starts with '/' (RFC 6901)")
        if self.quantity is Quantity.LEVEL and self.tank is None:
            raise ValueError("a level sensor needs the tank it is in")
        if self.quantity is Quantity.VACUUM and self.line is None:
            raise ValueError('a vacuum sensor needs its line (line = "pump" at the releaser)')
        return self


def _need_rising(points: tuple[tuple[float, float], ...]) -> None:
    if len(points) < 2:  # noqa: PLR2004
        raise ValueError("a table needs at least two points")
    if any(b[0] <= a[0] or b[1] <= a[1] for a, b in pairwise(points)):
        raise ValueError("a table's points must rise in both numbers")


class ReverseOsmosis(Section):
    """The RO machine: its feed rate and what it takes from and gives to."""

    feed_m3_s: Positive
    takes_from: tuple[Id, ...] = Field(min_length=1)
    concentrate_to: Id | None = None
    permeate_to: Id | None = None
    concentrate_brix: float = Field(default=12.0, gt=0, le=40)


class Evaporator(Section):
    """The arch and its pans."""

    water_m3_s: Positive
    """Water boiled off in an hour of steady firing."""
    takes_from: Id | None = None
    over_fire_c: float = Field(default=to_si(1000, "degF"), gt=100)
    """Limit for the stack; set it after a baseline boil, within what the stack is listed for."""
