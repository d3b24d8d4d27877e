"""The ends of horizontal tanks against the adaptive integrals of fluids."""

import random
from math import pi

import pytest
from fluids.geometry import V_horiz_ellipsoidal, V_horiz_spherical, V_horiz_torispherical

from shared.physics.heads import dished_depth_ratio, dished_heads, elliptical_heads, spherical_heads

SIZES = [random.Random(seed).uniform(0.3, 2.0) for seed in range(20)]
PLACES = [-1.0, -0.99, -0.9, -0.7, -0.4, -0.1, 0.0, 0.2, 0.55, 0.8, 0.97, 0.999, 1.0]


@pytest.mark.parametrize("radius", SIZES)
def test_dished_heads_are_within_their_word_of_an_adaptive_integral(radius):
    dice = random.Random(radius)
    dish, knuckle = dice.uniform(0.51, 2.0), dice.uniform(0.01, 0.4)
    depth = dished_depth_ratio(dish, knuckle) * 2 * radius
    whole = V_horiz_torispherical(2 * radius, 0.0, dish, knuckle, 2 * radius)
    for place in PLACES:
        theirs = V_horiz_torispherical(2 * radius, 0.0, dish, knuckle, radius + place * radius)
        ours, _ = dished_heads(radius, depth, knuckle, place * radius)
        assert ours == pytest.approx(theirs, abs=1e-5 * whole), (dish, knuckle, place)


@pytest.mark.parametrize("radius", SIZES)
def test_a_little_in_a_dished_head_is_as_exact(radius):
    dice = random.Random(radius)
    dish, knuckle = dice.uniform(0.51, 2.0), dice.uniform(0.01, 0.4)
    depth = dished_depth_ratio(dish, knuckle) * 2 * radius
    for place in (-0.97, -0.9):
        theirs = V_horiz_torispherical(2 * radius, 0.0, dish, knuckle, radius + place * radius)
        assert dished_heads(radius, depth, knuckle, place * radius)[0] == pytest.approx(theirs, rel=1e-4)


@pytest.mark.parametrize("radius", SIZES)
@pytest.mark.parametrize("share", [0.02, 0.1, 0.5, 0.9, 1.0])
def test_elliptical_and_spherical_heads_are_exact(radius, share):
    for place in PLACES:
        level, depth = radius + place * radius, share * radius
        ours, _ = elliptical_heads(radius, depth, place * radius)
        assert ours == pytest.approx(V_horiz_ellipsoidal(2 * radius, 0.0, depth, level), abs=1e-12)
        ours, _ = spherical_heads(radius, depth, place * radius)
        assert ours == pytest.approx(V_horiz_spherical(2 * radius, 0.0, depth, level), abs=1e-8)


@pytest.mark.parametrize("heads", [elliptical_heads, spherical_heads])
def test_heads_as_deep_as_the_radius_make_a_sphere(heads):
    volume, surface = heads(0.6, 0.6, 0.0)
    assert volume == pytest.approx(2 / 3 * pi * 0.6**3)
    assert surface == pytest.approx(pi * 0.6**2)
    assert heads(0.6, 0.6, 0.6)[0] == pytest.approx(4 / 3 * pi * 0.6**3)


def test_a_dished_heads_surface_is_the_growth_of_its_volume():
    for place in (-0.95, -0.5, -0.05, 0.05, 0.6, 0.93):
        above, below = (dished_heads(1.0, 0.34, 0.06, place + step)[0] for step in (1e-4, -1e-4))
        assert dished_heads(1.0, 0.34, 0.06, place)[1] == pytest.approx((above - below) / 2e-4, rel=1e-5)


def test_a_dish_of_half_the_diameter_is_a_hemisphere():
    assert dished_depth_ratio(0.5, 0.1) == pytest.approx(0.5)
