"""Level to volume and back, for every shape of tank a sugarhouse has.

A shape is a frozen value that refuses impossible dimensions when it is made. `volume_m3`, `level_m`,
`surface_area_m2`, `full_height_m` and `capacity_m3` take any of them. Dimensions are those of the inside,
level is measured from the lowest point inside. A tank of no such shape is described by its dipstick table.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise
from math import acos, cos, pi, sin

from shared.errors import InvalidArgument
from shared.physics.bounds import require_within
from shared.physics.curves import Curve, curve_at, rising_curve
from shared.physics.heads import dished_depth_ratio, dished_heads, elliptical_heads, spherical_heads

LEVEL_TOLERANCE_M = 0.05
"""A level this far above full or below empty is a sensor's error and reads as full or empty; more is refused.
Five times a common 10 mm transmitter error (common practice, no source)."""

_SMALLEST_M = 0.01
_LARGEST_M = 50.0
"""No sap tank is longer; more is a dimension in inches or centimetres (common practice, no source)."""
_FLATTEST = 0.01
"""Share of the diameter below which a head counts as flat; it would hold under 1 % of the tank."""
_DISH_RATIOS = (0.51, 2.0)
"""A dish of half the diameter is a hemisphere; one of twice the diameter is flatter than any pressed head."""

_ROUNDING_M = 1e-12
"""Where the search for a level stops: far below what any sensor shows, far above what a float loses."""
_SUMMING = 1e-9
"""Share of the capacity that a season of added-up flows may be out by."""


class Heads(StrEnum):
    """How the ends of a horizontal cylinder bulge."""

    FLAT = "flat"
    ELLIPTICAL = "elliptical"
    SPHERICAL = "spherical"
    """A shallow piece of one large sphere, no knuckle."""
    DISHED = "dished"
    """Torispherical: a large sphere with a tight knuckle round it, as most pressed heads are."""


@dataclass(frozen=True, slots=True)
class VerticalCylinder:
    """An upright round tank, flat or cone-bottomed; `height_m` is that of the straight wall alone."""

    diameter_m: float
    height_m: float
    cone_depth_m: float = 0.0

    def __post_init__(self) -> None:
        _require_size(diameter_m=self.diameter_m, height_m=self.height_m)
        require_within("cone_depth_m", self.cone_depth_m, 0.0, _LARGEST_M)


@dataclass(frozen=True, slots=True)
class HorizontalCylinder:
    """A round tank lying down; `length_m` is that of the straight shell, without the heads.

    `head_depth_m` is how far one head bulges. Left out, elliptical heads are 2:1 (a quarter of the diameter)
    and dished heads ASME flanged and dished (dish radius the diameter); spherical heads have no usual depth.
    `knuckle_ratio` is a dished head's knuckle radius as a share of the diameter.
    """

    diameter_m: float
    length_m: float
    heads: Heads = Heads.FLAT
    head_depth_m: float | None = None
    knuckle_ratio: float = 0.06

    def __post_init__(self) -> None:
        _require_size(diameter_m=self.diameter_m, length_m=self.length_m)
        require_within("knuckle_ratio", self.knuckle_ratio, 0.01, 0.4)
        usual, flattest, deepest = {
            Heads.FLAT: (0.0, 0.0, 0.0),
            Heads.ELLIPTICAL: (0.25, _FLATTEST, 1.0),
            Heads.SPHERICAL: (None, _FLATTEST, 0.5),
            Heads.DISHED: (
                dished_depth_ratio(1.0, self.knuckle_ratio),
                dished_depth_ratio(max(_DISH_RATIOS), self.knuckle_ratio),
                dished_depth_ratio(min(_DISH_RATIOS), self.knuckle_ratio),
            ),
        }[self.heads]
        if self.head_depth_m is not None:
            require_within(
                "head_depth_m", self.head_depth_m, flattest * self.diameter_m, deepest * self.diameter_m
            )
        elif usual is None:
            raise InvalidArgument("head_depth_m", None, f"given for {self.heads} heads")
        else:
            object.__setattr__(self, "head_depth_m", usual * self.diameter_m)


@dataclass(frozen=True, slots=True)
class Oval:
    """A tank of elliptical section lying down, flat ends."""

    width_m: float
    height_m: float
    length_m: float

    def __post_init__(self) -> None:
        _require_size(width_m=self.width_m, height_m=self.height_m, length_m=self.length_m)


@dataclass(frozen=True, slots=True)
class Box:
    """A flat-bottomed tank with upright walls."""

    length_m: float
    width_m: float
    height_m: float

    def __post_init__(self) -> None:
        _require_size(length_m=self.length_m, width_m=self.width_m, height_m=self.height_m)


@dataclass(frozen=True, slots=True)
class Dipstick:
    """A tank known by its (level in m, volume in m3) table, which starts empty and rises strictly to full."""

    points: tuple[tuple[float, float], ...]
    curve: Curve = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.points[:1] != ((0.0, 0.0),) or self.points[1:] == ():
            raise InvalidArgument(
                "points", self.points[:1], "two rows or more, the first at level 0, volume 0"
            )
        for (level_m, volume_m3), (next_level_m, next_volume_m3) in pairwise(self.points):
            if not (next_level_m > level_m and next_volume_m3 > volume_m3):
                raise InvalidArgument(
                    "points", (next_level_m, next_volume_m3), "above the row before in level and in volume"
                )
        require_within("points", self.points[-1][0], _SMALLEST_M, _LARGEST_M)
        require_within("points", self.points[-1][1], 0.0, _LARGEST_M**3)
        object.__setattr__(self, "curve", rising_curve(self.points))


TankShape = VerticalCylinder | HorizontalCylinder | Oval | Box | Dipstick


def full_height_m(shape: TankShape) -> float:
    """Level at which the tank is full.

    >>> full_height_m(VerticalCylinder(2.0, 1.5, cone_depth_m=0.25))
    1.75
    """
    match shape:
        case VerticalCylinder():
            return shape.height_m + shape.cone_depth_m
        case HorizontalCylinder():
            return shape.diameter_m
        case Oval() | Box():
            return shape.height_m
        case Dipstick():
            return shape.points[-1][0]


def capacity_m3(shape: TankShape) -> float:
    """Volume of the full tank.

    >>> round(capacity_m3(HorizontalCylinder(2.0, 3.0)), 6)
    9.424778
    """
    return _filled(shape, full_height_m(shape))[0]


def volume_m3(shape: TankShape, level_m: float) -> float:
    """Volume below a level; a level up to `LEVEL_TOLERANCE_M` outside the tank reads as empty or full.

    Exact but for dished heads (within 1e-5 of the heads) and between the rows of a dipstick table.

    Source: segments of circle and ellipse; heads as in D. Jones, "Calculating Tank Volume", which has
    2028.63 gal at 36 in for dished heads of 108 in on a shell of 156 in.

    >>> round(volume_m3(HorizontalCylinder(2.7432, 3.9624, Heads.DISHED), 0.9144) / 0.003785411784, 2)
    2028.63
    """
    return _filled(shape, _inside_m(shape, level_m))[0]


def surface_area_m2(shape: TankShape, level_m: float) -> float:
    """Area of the liquid's surface, so how much volume a small change of level is; 0 where the tank closes.

    >>> round(surface_area_m2(HorizontalCylinder(2.0, 3.0), 1.0), 6)
    6.0
    """
    return _filled(shape, _inside_m(shape, level_m))[1]


def level_m(shape: TankShape, volume_m3: float) -> float:
    """Level at which the tank holds a volume, from nothing to its capacity.

    >>> round(level_m(HorizontalCylinder(2.0, 3.0), 2.0), 6)
    0.530008
    """
    full_m3 = capacity_m3(shape)
    require_within("volume_m3", volume_m3, 0.0, full_m3 * (1.0 + _SUMMING))
    low_m, high_m = 0.0, full_height_m(shape)
    level_m = min(1.0, volume_m3 / full_m3) * high_m
    # Newton's steps, halving instead where one would leave the bracket: near empty, where the surface shrinks
    # to a line.
    while True:
        filled_m3, surface_m2 = _filled(shape, level_m)
        excess_m3 = filled_m3 - volume_m3
        if excess_m3 == 0.0:
            return level_m
        low_m, high_m = (low_m, level_m) if excess_m3 > 0.0 else (level_m, high_m)
        next_m = level_m - excess_m3 / surface_m2 if surface_m2 > 0.0 else low_m
        if not low_m < next_m < high_m:
            next_m = (low_m + high_m) / 2.0
        if abs(next_m - level_m) <= _ROUNDING_M:
            return next_m
        level_m = next_m


def _filled(shape: TankShape, level_m: float) -> tuple[float, float]:
    """Volume below the level and area of the surface at it."""
    match shape:
        case VerticalCylinder():
            floor_m2 = pi / 4.0 * shape.diameter_m**2
            if level_m < shape.cone_depth_m:
                surface_m2 = floor_m2 * (level_m / shape.cone_depth_m) ** 2
                return surface_m2 * level_m / 3.0, surface_m2
            return floor_m2 * (level_m - 2.0 / 3.0 * shape.cone_depth_m), floor_m2
        case HorizontalCylinder():
            shell_m3, shell_m2 = _oval(shape.diameter_m, shape.diameter_m, shape.length_m, level_m)
            heads_m3, heads_m2 = _heads(shape, level_m - shape.diameter_m / 2.0)
            return shell_m3 + heads_m3, shell_m2 + heads_m2
        case Oval():
            return _oval(shape.width_m, shape.height_m, shape.length_m, level_m)
        case Box():
            floor_m2 = shape.length_m * shape.width_m
            return floor_m2 * level_m, floor_m2
        case Dipstick():
            return curve_at(shape.curve, level_m)


def _oval(width_m: float, height_m: float, length_m: float, level_m: float) -> tuple[float, float]:
    half_angle = acos(1.0 - 2.0 * level_m / height_m)
    segment_m2 = width_m * height_m / 4.0 * (half_angle - sin(half_angle) * cos(half_angle))
    return segment_m2 * length_m, width_m * sin(half_angle) * length_m


def _heads(tank: HorizontalCylinder, height_m: float) -> tuple[float, float]:
    radius_m, depth_m = tank.diameter_m / 2.0, tank.head_depth_m or 0.0
    match tank.heads:
        case Heads.FLAT:
            return 0.0, 0.0
        case Heads.ELLIPTICAL:
            return elliptical_heads(radius_m, depth_m, height_m)
        case Heads.SPHERICAL:
            return spherical_heads(radius_m, depth_m, height_m)
        case Heads.DISHED:
            return dished_heads(radius_m, depth_m, tank.knuckle_ratio, height_m)


def _inside_m(shape: TankShape, level_m: float) -> float:
    full_m = full_height_m(shape)
    require_within("level_m", level_m, -LEVEL_TOLERANCE_M, full_m + LEVEL_TOLERANCE_M)
    return min(max(level_m, 0.0), full_m)


def _require_size(**dimensions_m: float) -> None:
    for name, dimension_m in dimensions_m.items():
        require_within(name, dimension_m, _SMALLEST_M, _LARGEST_M)
