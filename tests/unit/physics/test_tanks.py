"""Tanks against an independent library, against numerical integrals, and against what any tank must do."""

import random
from itertools import pairwise
from math import inf, isclose, nan, pi

import pytest
from fluids.geometry import TANK
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from shared.errors import InvalidArgument
from shared.physics.heads import dished_depth_ratio
from shared.physics.tanks import (
    LEVEL_TOLERANCE_M,
    Box,
    Dipstick,
    Heads,
    HorizontalCylinder,
    Oval,
    TankShape,
    VerticalCylinder,
    capacity_m3,
    full_height_m,
    level_m,
    surface_area_m2,
    volume_m3,
)

WITHIN_RATIO = 0.0005
"""0.05 %, a tenth of the best level sensor."""


def random_tank(dice: random.Random) -> tuple[TankShape, TANK]:
    """One tank as we describe it and as fluids does."""
    diameter, length = dice.uniform(0.5, 4.0), dice.uniform(0.5, 8.0)
    depth = dice.uniform(0.02, 0.5) * diameter
    kind = dice.choice(["vertical", "cone", *Heads])
    if kind == "vertical":
        return VerticalCylinder(diameter, length), TANK(D=diameter, L=length, horizontal=False)
    if kind == "cone":
        return (
            VerticalCylinder(diameter, length, depth),
            TANK(D=diameter, L=length, horizontal=False, sideA="conical", sideA_a=depth),
        )
    if kind == Heads.FLAT:
        return HorizontalCylinder(diameter, length), TANK(D=diameter, L=length, horizontal=True)
    if kind == Heads.DISHED:
        dish, knuckle = dice.uniform(0.55, 1.8), dice.uniform(0.02, 0.35)
        return (
            HorizontalCylinder(
                diameter, length, Heads.DISHED, dished_depth_ratio(dish, knuckle) * diameter, knuckle
            ),
            TANK(
                D=diameter, L=length, horizontal=True, sideA="torispherical", sideB="torispherical",
                sideA_f=dish, sideA_k=knuckle, sideB_f=dish, sideB_k=knuckle,
            ),
        )  # fmt: skip
    end = {Heads.ELLIPTICAL: "ellipsoidal", Heads.SPHERICAL: "spherical"}[Heads(kind)]
    return (
        HorizontalCylinder(diameter, length, Heads(kind), depth),
        TANK(D=diameter, L=length, horizontal=True, sideA=end, sideB=end, sideA_a=depth, sideB_a=depth),
    )


def test_ten_thousand_random_tanks_agree_with_fluids_both_ways():
    """Both ways over fluids' volumes; its own level of a volume is a fit that misses its volumes by 0.3 %."""
    dice = random.Random(20260301)
    for _ in range(10_000):
        shape, theirs = random_tank(dice)
        level = dice.uniform(0.0, full_height_m(shape))
        theirs_m3 = theirs.V_from_h(level)
        assert isclose(volume_m3(shape, level), theirs_m3, rel_tol=WITHIN_RATIO, abs_tol=1e-9), (shape, level)
        assert isclose(level_m(shape, theirs_m3), level, rel_tol=WITHIN_RATIO, abs_tol=1e-6), (shape, level)
        assert isclose(capacity_m3(shape), theirs.V_total, rel_tol=WITHIN_RATIO), shape


SHAPES: dict[str, TankShape] = {
    "upright": VerticalCylinder(2.4, 2.0),
    "cone": VerticalCylinder(1.8, 1.8, 0.3),
    "flat": HorizontalCylinder(1.2, 2.4),
    "elliptical": HorizontalCylinder(1.2, 2.4, Heads.ELLIPTICAL),
    "hemispherical": HorizontalCylinder(1.2, 2.4, Heads.SPHERICAL, 0.6),
    "shallow": HorizontalCylinder(1.2, 2.4, Heads.SPHERICAL, 0.012),
    "dished": HorizontalCylinder(1.2, 2.4, Heads.DISHED),
    "oval": Oval(1.8, 1.2, 3.0),
    "box": Box(3.0, 1.5, 1.2),
    "dipstick": Dipstick(((0.0, 0.0), (0.1, 0.05), (0.4, 0.9), (0.5, 1.0), (0.6, 2.5), (1.0, 2.7))),
}
SYMMETRIC = ["flat", "elliptical", "hemispherical", "shallow", "dished", "oval", "box"]
any_shape = pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())


@any_shape
def test_an_empty_tank_holds_nothing_and_a_full_one_its_capacity(shape):
    assert volume_m3(shape, 0.0) == pytest.approx(0.0, abs=1e-12)
    assert volume_m3(shape, full_height_m(shape)) == capacity_m3(shape)
    assert level_m(shape, capacity_m3(shape)) == full_height_m(shape)


@any_shape
def test_more_level_is_more_volume(shape):
    steps = [volume_m3(shape, full_height_m(shape) * i / 2000) for i in range(2001)]
    assert all(after > before for before, after in pairwise(steps))


@any_shape
@given(part=st.floats(0.0, 1.0))
def test_level_and_volume_undo_each_other(shape, part):
    level = part * full_height_m(shape)
    assert level_m(shape, volume_m3(shape, level)) == pytest.approx(level, abs=1e-5)
    volume = part * capacity_m3(shape)
    assert volume_m3(shape, level_m(shape, volume)) == pytest.approx(volume, abs=1e-10)


@pytest.mark.parametrize("name", SYMMETRIC)
@given(part=st.floats(0.0, 1.0))
def test_a_symmetric_tank_upside_down_holds_the_rest(name, part):
    shape = SHAPES[name]
    full = full_height_m(shape)
    rest = capacity_m3(shape) - volume_m3(shape, part * full)
    assert volume_m3(shape, full - part * full) == pytest.approx(rest, abs=1e-8)


@pytest.mark.parametrize("name", SYMMETRIC)
def test_half_full_is_half_the_height(name):
    shape = SHAPES[name]
    assert volume_m3(shape, full_height_m(shape) / 2) == pytest.approx(capacity_m3(shape) / 2, rel=1e-9)


@any_shape
def test_surface_area_is_what_the_volume_gains_with_the_level(shape):
    full = full_height_m(shape)
    for i in range(1, 200):
        level, step = full * i / 200 + 1e-4, 1e-6
        if level + step >= full:
            break
        gained = (volume_m3(shape, level + step) - volume_m3(shape, level - step)) / (2 * step)
        assert surface_area_m2(shape, level) == pytest.approx(gained, rel=2e-4), level


@pytest.mark.parametrize(
    ("shape", "level", "expected_m2"),
    [
        (SHAPES["upright"], 0.0, pi * 1.2**2),
        (SHAPES["cone"], 0.15, pi * 0.45**2),
        (SHAPES["cone"], 0.3, pi * 0.9**2),
        (SHAPES["flat"], 0.0, 0.0),
        (SHAPES["flat"], 0.6, 1.2 * 2.4),
        (SHAPES["elliptical"], 0.6, 1.2 * 2.4 + pi * 0.6 * 0.3),
        (SHAPES["hemispherical"], 0.6, 1.2 * 2.4 + pi * 0.6**2),
        (SHAPES["oval"], 0.6, 1.8 * 3.0),
        (SHAPES["box"], 1.2, 4.5),
    ],
)
def test_surface_area_is_the_plan_of_the_tank(shape, level, expected_m2):
    assert surface_area_m2(shape, level) == pytest.approx(expected_m2, abs=1e-7)


@pytest.mark.parametrize("level", [0.013, 0.3, 0.6, 1.1])
def test_an_oval_tank_is_the_integral_of_its_width(level):
    integral, _ = quad(lambda y: 3.0 * 1.8 * (1 - (2 * y / 1.2 - 1) ** 2) ** 0.5, 0.0, level)
    assert volume_m3(SHAPES["oval"], level) == pytest.approx(integral, rel=1e-7)


def test_an_oval_tank_as_wide_as_high_is_round():
    assert volume_m3(Oval(1.2, 1.2, 2.4), 0.4) == volume_m3(SHAPES["flat"], 0.4)


def test_heads_left_out_are_the_usual_ones():
    assert HorizontalCylinder(1.2, 2.4, Heads.ELLIPTICAL).head_depth_m == 0.3
    assert HorizontalCylinder(1.2, 2.4, Heads.DISHED).head_depth_m == pytest.approx(0.16934 * 1.2, abs=1e-5)
    assert HorizontalCylinder(1.2, 2.4) == HorizontalCylinder(1.2, 2.4, Heads.FLAT, 0.0)


def test_a_deeper_dished_head_holds_more():
    depths = [0.18, 0.22, 0.3, 0.4, 0.49]
    tanks = [HorizontalCylinder(1.2, 2.4, Heads.DISHED, depth) for depth in depths]
    assert all(after > before for before, after in pairwise(map(capacity_m3, tanks)))


def test_a_dipstick_table_is_met_at_its_rows():
    for level, volume in SHAPES["dipstick"].points:
        assert volume_m3(SHAPES["dipstick"], level) == pytest.approx(volume, abs=1e-15)
        assert level_m(SHAPES["dipstick"], volume) == pytest.approx(level, abs=1e-11)


def test_a_dipstick_of_two_rows_is_a_straight_line():
    stick = Dipstick(((0.0, 0.0), (2.0, 3.0)))
    assert (volume_m3(stick, 0.5), surface_area_m2(stick, 0.5)) == (0.75, 1.5)


@any_shape
def test_a_level_a_little_outside_is_empty_or_full(shape):
    full = full_height_m(shape)
    assert volume_m3(shape, -LEVEL_TOLERANCE_M) == volume_m3(shape, 0.0)
    assert volume_m3(shape, full + LEVEL_TOLERANCE_M) == capacity_m3(shape)
    assert surface_area_m2(shape, full + LEVEL_TOLERANCE_M) == surface_area_m2(shape, full)


@any_shape
@pytest.mark.parametrize("beyond_m", [-LEVEL_TOLERANCE_M - 1e-9, 1e-9, nan, inf, -inf])
@pytest.mark.parametrize("function", [volume_m3, surface_area_m2])
def test_a_level_far_outside_is_refused(shape, beyond_m, function):
    level = beyond_m if beyond_m < 0 else full_height_m(shape) + LEVEL_TOLERANCE_M + beyond_m
    with pytest.raises(InvalidArgument) as refused:
        function(shape, level)
    assert refused.value.argument == "level_m"


@any_shape
@pytest.mark.parametrize("share", [-1e-9, 1 + 1e-8, nan, inf, -inf])
def test_a_volume_no_tank_holds_is_refused(shape, share):
    with pytest.raises(InvalidArgument) as refused:
        level_m(shape, share * capacity_m3(shape))
    assert refused.value.argument == "volume_m3"


@any_shape
def test_a_volume_over_capacity_by_rounding_is_full(shape):
    assert level_m(shape, capacity_m3(shape) * (1 + 1e-10)) == pytest.approx(full_height_m(shape), abs=1e-9)


IMPOSSIBLE = [
    (lambda x: VerticalCylinder(x, 2.0), "diameter_m"),
    (lambda x: VerticalCylinder(2.0, x), "height_m"),
    (lambda x: HorizontalCylinder(x, 2.0), "diameter_m"),
    (lambda x: HorizontalCylinder(2.0, x), "length_m"),
    (lambda x: Oval(x, 1.0, 1.0), "width_m"),
    (lambda x: Oval(1.0, x, 1.0), "height_m"),
    (lambda x: Oval(1.0, 1.0, x), "length_m"),
    (lambda x: Box(x, 1.0, 1.0), "length_m"),
    (lambda x: Box(1.0, x, 1.0), "width_m"),
    (lambda x: Box(1.0, 1.0, x), "height_m"),
]


@pytest.mark.parametrize("size", [0.0, -1.0, 0.0099, 50.1, nan, inf])
@pytest.mark.parametrize(("make", "argument"), IMPOSSIBLE)
def test_a_shape_of_impossible_size_is_refused_by_name(make, argument, size):
    with pytest.raises(InvalidArgument) as refused:
        make(size)
    assert refused.value.argument == argument


@pytest.mark.parametrize("size", [0.01, 50.0])
@pytest.mark.parametrize(("make", "argument"), IMPOSSIBLE)
def test_the_smallest_and_the_largest_size_are_possible(make, argument, size):
    assert getattr(make(size), argument) == size


@pytest.mark.parametrize(
    ("make", "argument"),
    [
        (lambda: VerticalCylinder(2.0, 2.0, -0.01), "cone_depth_m"),
        (lambda: VerticalCylinder(2.0, 2.0, 50.01), "cone_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.FLAT, 0.1), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.SPHERICAL), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.SPHERICAL, 0.019), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.SPHERICAL, 1.001), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.ELLIPTICAL, 0.019), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.ELLIPTICAL, 2.001), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.DISHED, 0.2), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.DISHED, 0.9), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.DISHED, nan), "head_depth_m"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.DISHED, knuckle_ratio=0.009), "knuckle_ratio"),
        (lambda: HorizontalCylinder(2.0, 3.0, Heads.DISHED, knuckle_ratio=0.41), "knuckle_ratio"),
        (lambda: Dipstick(()), "points"),
        (lambda: Dipstick(((0.0, 0.0),)), "points"),
        (lambda: Dipstick(((0.1, 0.0), (0.2, 1.0))), "points"),
        (lambda: Dipstick(((0.0, 0.1), (0.2, 1.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (0.5, 1.0), (0.5, 2.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (0.5, 1.0), (0.6, 1.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (0.5, 1.0), (0.4, 2.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (0.5, nan))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (nan, 1.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (inf, 1.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (1.0, inf))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (1.0, 1.0), (50.01, 2.0))), "points"),
        (lambda: Dipstick(((0.0, 0.0), (1.0, 1.0), (2.0, 50.0**3 + 1.0))), "points"),
    ],
)
def test_an_impossible_shape_is_refused_by_name(make, argument):
    with pytest.raises(InvalidArgument) as refused:
        make()
    assert refused.value.argument == argument


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (
            lambda: HorizontalCylinder(2.0, 3.0, Heads.SPHERICAL),
            "head_depth_m is None; it must be given for spherical heads",
        ),
        (
            lambda: Dipstick(((0.1, 0.0), (0.2, 1.0))),
            "points is ((0.1, 0.0),); it must be two rows or more, the first at level 0, volume 0",
        ),
        (
            lambda: Dipstick(((0.0, 0.0), (0.2, 1.0), (0.1, 2.0))),
            "points is (0.1, 2.0); it must be above the row before in level and in volume",
        ),
    ],
)
def test_a_refusal_says_what_is_wrong_and_what_is_needed(make, said):
    with pytest.raises(InvalidArgument) as refused:
        make()
    assert str(refused.value) == said


def test_the_largest_and_a_small_dipstick_are_possible():
    assert capacity_m3(Dipstick(((0.0, 0.0), (50.0, 125_000.0)))) == 125_000.0
    assert capacity_m3(Dipstick(((0.0, 0.0), (0.5, 0.2)))) == 0.2


def test_shapes_are_values():
    assert HorizontalCylinder(1.2, 2.4, Heads.ELLIPTICAL) == HorizontalCylinder(
        1.2, 2.4, Heads.ELLIPTICAL, 0.3
    )
    assert len({*SHAPES.values(), *SHAPES.values()}) == len(SHAPES)
