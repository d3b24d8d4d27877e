"""The ends of a horizontal tank: what they hold below a level, and the area of the surface in them.

Every function takes the liquid's height above the centre line, from minus to plus the tank's radius, and
answers with m3 and m2 for both ends together, beyond the straight shell.

A dished (torispherical) end is a shallow dish joined to the shell by a tight knuckle. The knuckle has no
closed form, so the end is sliced across the tank's axis, each slice being a segment of a circle; the slices
are summed once for a tank of radius 1 and read from a curve ever after. The other ends have closed forms.

Source of the shapes: D. Jones, "Calculating Tank Volume". Callers refuse impossible dimensions.
"""

from collections.abc import Iterator
from functools import lru_cache
from math import acos, asin, atan2, cos, pi, sin, sqrt

from shared.physics.curves import Curve, curve_at

_NEVER_NOUGHT = 1e-300
"""Keeps the angle of a hemisphere's rim a right angle where width and distance both vanish."""
_PIECES = 64
_SLICES = 48
_KINDS = 64
"""Curves kept: a farm has a few kinds of heads, and making one costs a thousand readings of it."""


def elliptical_heads(radius_m: float, depth_m: float, height_m: float) -> tuple[float, float]:
    """Two halves of an ellipsoid.

    >>> round(elliptical_heads(1.0, 0.75, 1.0)[0] / pi, 12)
    1.0
    """
    level_m = height_m + radius_m
    return (
        pi * depth_m * level_m**2 * (1.0 - level_m / (3.0 * radius_m)),
        pi * depth_m * (radius_m**2 - height_m**2) / radius_m,
    )


def spherical_heads(radius_m: float, depth_m: float, height_m: float) -> tuple[float, float]:
    """Two caps of a large sphere, no deeper than the radius.

    The level cuts a segment of a circle from each; the volume is that area integrated by parts, counted from
    the centre line, below which half the caps lie.

    >>> round(spherical_heads(1.0, 1.0, 1.0)[0] / pi, 12)
    1.333333333333
    """
    sphere_m = (radius_m**2 + depth_m**2) / (2.0 * depth_m)
    away_m = sphere_m - depth_m
    half_chord_m = sqrt(max(_NEVER_NOUGHT, radius_m**2 - height_m**2))
    half_angle = atan2(half_chord_m, away_m)
    above_centre_m3 = (
        (sphere_m**2 - height_m**2 / 3.0) * height_m * half_angle
        - (radius_m**2 + 2.0 * sphere_m**2) * away_m / 3.0 * atan2(height_m, half_chord_m)
        - height_m * away_m * half_chord_m * 2.0 / 3.0
        + sphere_m**3 * 2.0 / 3.0 * atan2(height_m * away_m, sphere_m * half_chord_m)
    )
    half_caps_m3 = pi * depth_m * (3.0 * radius_m**2 + depth_m**2) / 6.0
    circle_m2 = sphere_m**2 - height_m**2
    # Rounding must not leave an empty shallow head holding less than nothing.
    return (
        max(0.0, half_caps_m3 + 2.0 * above_centre_m3),
        2.0 * (circle_m2 * half_angle - away_m * half_chord_m),
    )


def dished_heads(
    radius_m: float, depth_m: float, knuckle_ratio: float, height_m: float
) -> tuple[float, float]:
    """Two torispherical heads; within 1e-5 of the whole heads of an adaptive integral.

    >>> round(dished_heads(0.6096, 0.20646, 0.06, 0.6096)[0] / 0.003785411784, 1)
    77.6
    """
    curve = _dished_curve(depth_m / (2.0 * radius_m), knuckle_ratio)
    below, surface = curve_at(curve, 1.0 - abs(height_m) / radius_m)
    # What is dry above the centre mirrors what would be wet below it.
    filled = below if height_m <= 0.0 else 2.0 * curve.ys[-1] - below
    return filled * radius_m**3, surface * radius_m**2


def dished_depth_ratio(dish_ratio: float, knuckle_ratio: float) -> float:
    """How far a torispherical head bulges; dish and knuckle radius and the depth as shares of the diameter.

    >>> round(dished_depth_ratio(1.0, 0.06), 5)
    0.16934
    """
    return dish_ratio - sqrt((dish_ratio - knuckle_ratio) ** 2 - (0.5 - knuckle_ratio) ** 2)


@lru_cache(maxsize=_KINDS)
def _dished_curve(depth_ratio: float, knuckle_ratio: float) -> Curve:
    """Volume of both heads of a tank of radius 1, against the level up to the centre line."""
    dish_ratio = (depth_ratio**2 + 0.25 - knuckle_ratio) / (2.0 * (depth_ratio - knuckle_ratio))
    levels = tuple(piece / _PIECES for piece in range(_PIECES + 1))
    sums = [_sliced(2.0 * dish_ratio, 2.0 * knuckle_ratio, 1.0 - level) for level in levels]
    return Curve(levels, tuple(volume for volume, _ in sums), tuple(surface for _, surface in sums))


def _sliced(dish: float, knuckle: float, drop: float) -> tuple[float, float]:
    """Both heads of a tank of radius 1 summed over slices, the level lying `drop` below the centre line."""
    joint = asin((1.0 - knuckle) / (dish - knuckle))
    # Slices smaller than the drop are dry, so each sum starts at the first wet one.
    dish_tip = min(joint, asin(drop / dish))
    knuckle_tip = min(pi / 2.0 - joint, acos(min(1.0, max(0.0, (drop - 1.0 + knuckle) / knuckle))))
    slices = [
        *(
            (knuckle * cos(at) * step, 1.0 - knuckle + knuckle * cos(at))
            for at, step in _steps(knuckle_tip, 0.0)
        ),
        *((dish * sin(at) * step, dish * sin(at)) for at, step in _steps(dish_tip, joint)),
    ]
    volume = surface = 0.0
    for thickness, radius in slices:
        half_chord = sqrt(max(0.0, radius**2 - drop**2))
        volume += 2.0 * thickness * (radius**2 * atan2(half_chord, drop) - drop * half_chord)
        surface += 2.0 * thickness * 2.0 * half_chord
    return volume, surface


def _steps(tip: float, other: float) -> Iterator[tuple[float, float]]:
    """Simpson's points and weights, crowded towards the tip, where the slices vanish like a square root."""
    for i in range(_SLICES + 1):
        simpson = 1.0 if i in {0, _SLICES} else 4.0 if i % 2 else 2.0
        done = i / _SLICES
        yield tip + (other - tip) * done**2, abs(other - tip) * 2.0 * done * simpson / (3.0 * _SLICES)
