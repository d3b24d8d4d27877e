"""The rising curve against scipy's monotone interpolant."""

import random

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from shared.physics.curves import curve_at, rising_curve


def random_points(dice: random.Random, rows: int) -> tuple[tuple[float, float], ...]:
    x = y = 0.0
    points = [(x, y)]
    for _ in range(rows - 1):
        x, y = x + dice.uniform(0.01, 1.0), y + dice.expovariate(1.0) ** 2 + 1e-6
        points.append((x, y))
    return tuple(points)


@pytest.mark.parametrize("rows", [3, 4, 5, 12])
def test_values_and_slopes_are_those_of_scipys_pchip(rows):
    dice = random.Random(rows)
    for _ in range(50):
        points = random_points(dice, rows)
        curve, theirs = rising_curve(points), PchipInterpolator(*zip(*points, strict=True))
        for x in np.linspace(0.0, points[-1][0], 101):
            value, slope = curve_at(curve, float(x))
            assert value == pytest.approx(float(theirs(x)), abs=1e-12)
            assert slope == pytest.approx(float(theirs.derivative()(x)), abs=1e-9)


def test_two_points_make_a_straight_line():
    curve = rising_curve(((0.0, 0.0), (4.0, 2.0)))
    assert [curve_at(curve, x) for x in (0.0, 1.0, 4.0)] == [(0.0, 0.5), (0.5, 0.5), (2.0, 0.5)]


def test_the_curve_never_falls_between_its_points():
    dice = random.Random(7)
    for _ in range(200):
        points = random_points(dice, 6)
        curve = rising_curve(points)
        heights = [curve_at(curve, points[-1][0] * i / 300)[0] for i in range(301)]
        assert heights == sorted(heights)
