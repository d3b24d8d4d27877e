from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument
from shared.physics.contested import Contested
from shared.physics.fire import (
    ARCH_EFFICIENCY,
    CO2_LEAST_FRACTION,
    CO2_MAX_FRACTION,
    CO2_MOST_FRACTION,
    CORD_HEAT_J,
    CORD_M3,
    SIEGERT_WOOD,
    StackLoss,
    Wood,
    co2_from_oxygen_fraction,
    excess_air_ratio,
    siegert_loss_fraction,
    stack_loss,
    wood_heat_j_kg,
    wood_left_fraction,
    wood_volume_m3,
)
from shared.units import BTU_J

MBTU_J = 1e6 * BTU_J


@given(st.floats(20, 999), st.floats(0.1, 1), st.floats(0.03, 0.19), st.floats(0.001, 0.01))
def test_a_hotter_stack_and_a_thinner_smoke_lose_more(stack_c, hotter_c, co2_fraction, richer_fraction):
    loss_fraction = siegert_loss_fraction(stack_c, 10.0, co2_fraction)
    assert siegert_loss_fraction(stack_c + hotter_c, 10.0, co2_fraction) > loss_fraction
    assert siegert_loss_fraction(stack_c, 10.0, co2_fraction + richer_fraction) < loss_fraction


def test_a_stack_as_cold_as_the_air_loses_nothing():
    assert siegert_loss_fraction(5.0, 5.0, 0.1) == 0.0


@given(st.floats(20, 1000), st.floats(-50, 20), st.floats(0.06, 0.12))
def test_the_band_holds_the_loss_at_any_co2_within_it(stack_c, air_c, co2_fraction):
    band = stack_loss(stack_c, air_c)
    loss_fraction = min(1.0, siegert_loss_fraction(stack_c, air_c, co2_fraction))
    assert band.low_fraction - 1e-12 <= loss_fraction <= band.high_fraction + 1e-12


def test_the_band_is_from_6_to_12_percent_unless_told():
    assert (CO2_LEAST_FRACTION, CO2_MOST_FRACTION) == (0.06, 0.12)
    assert stack_loss(400.0, 20.0) == stack_loss(400.0, 20.0, 0.06, 0.12, SIEGERT_WOOD.usual)
    assert stack_loss(400.0, 20.0, siegert=1.3).low_fraction == pytest.approx(0.4117, abs=1e-4)
    assert stack_loss(400.0, 20.0, siegert=1.3).high_fraction == pytest.approx(0.8233, abs=1e-4)
    measured = stack_loss(400.0, 20.0, 0.10, 0.10)
    assert measured == StackLoss(measured.high_fraction, measured.high_fraction)


def test_no_more_than_all_of_the_heat_is_lost():
    assert stack_loss(1000.0, 20.0, 0.02, 0.05) == StackLoss(1.0, 1.0)


@given(st.floats(0, 0.2))
def test_air_left_over_thins_the_co2_and_the_air_alike(oxygen_fraction):
    """CO2 x excess air is constant for a fuel burnt out."""
    product = co2_from_oxygen_fraction(oxygen_fraction) * excess_air_ratio(oxygen_fraction)
    assert product == pytest.approx(CO2_MAX_FRACTION)


def test_fresh_air_holds_no_co2_of_the_fire():
    assert co2_from_oxygen_fraction(0.2095) == 0.0


@given(st.floats(0, 0.59), st.floats(0.001, 0.01))
def test_wetter_wood_gives_less(moisture_fraction, wetter_fraction):
    assert wood_heat_j_kg(moisture_fraction + wetter_fraction) < wood_heat_j_kg(moisture_fraction)


@pytest.mark.parametrize(
    ("wood", "low", "usual", "high"),
    [
        # US Forest Products Laboratory, available heat per cord; 18.4 is green, 29.7 another table's.
        (Wood.SUGAR_MAPLE, 18.4, 21.3, 29.7),
        (Wood.RED_MAPLE, 16.2404, 18.8, 26.2141),
    ],
)
def test_heat_of_a_cord_is_a_band(wood, low, usual, high):
    band = CORD_HEAT_J[wood]
    figures = (band.low / MBTU_J, band.usual / MBTU_J, band.high / MBTU_J)
    assert figures == pytest.approx((low, usual, high), abs=1e-3)


def test_every_wood_has_its_heat():
    assert set(CORD_HEAT_J) == set(Wood)


def test_wood_for_a_boil_is_heat_over_cord_and_arch():
    cord_j, arch = Contested(10 * MBTU_J, 20 * MBTU_J, 40 * MBTU_J), Contested(0.25, 0.5, 0.8)
    band = wood_volume_m3(20 * MBTU_J, Wood.ASH, arch, cord_j)
    cords = (band.low / CORD_M3, band.usual / CORD_M3, band.high / CORD_M3)
    assert cords == pytest.approx((0.625, 2.0, 8.0))


def test_wood_is_sugar_maple_in_a_middling_arch_unless_told():
    told = wood_volume_m3(MBTU_J, Wood.SUGAR_MAPLE, ARCH_EFFICIENCY, CORD_HEAT_J[Wood.SUGAR_MAPLE])
    assert wood_volume_m3(MBTU_J) == told
    assert wood_volume_m3(MBTU_J, Wood.RED_MAPLE).usual > told.usual


def test_a_cord_is_128_cubic_feet():
    """NIST Handbook 130: 128 cubic feet; 3.6246 m3."""
    assert pytest.approx(3.624556, abs=1e-6) == CORD_M3


@given(st.floats(1, 3), st.floats(0, 30), st.floats(0.1, 3))
def test_the_more_ro_takes_out_the_less_wood_is_left_to_burn(sap_brix, more_brix, again_brix):
    concentrate_brix = sap_brix + more_brix
    left = wood_left_fraction(sap_brix, concentrate_brix, 66.9)
    assert 0.0 < wood_left_fraction(sap_brix, concentrate_brix + again_brix, 66.9) < left <= 1.0


def test_wood_left_follows_the_syrup_made():
    """By hand, per kg of sugar: water to boil = 1/x - 1/syrup."""
    by_hand = (1 / 0.08 - 1 / 0.60) / (1 / 0.02 - 1 / 0.60)
    assert wood_left_fraction(2.0, 8.0, 60.0) == pytest.approx(by_hand)


def test_without_ro_all_the_wood_is_burnt():
    assert wood_left_fraction(2.0, 2.0, 66.9) == 1.0


ODD = Contested(20 * MBTU_J, 20 * MBTU_J, 20 * MBTU_J)


@pytest.mark.parametrize(
    ("argument", "call", "last_good", "first_bad"),
    [
        ("air_c", lambda x: siegert_loss_fraction(300, x, 0.1), -50, -51),
        ("air_c", lambda x: siegert_loss_fraction(300, x, 0.1), 60, 61),
        ("stack_c", lambda x: siegert_loss_fraction(x, 20, 0.1), 20, 19),
        ("stack_c", lambda x: siegert_loss_fraction(x, 20, 0.1), 1000, 1001),
        ("co2_fraction", lambda x: siegert_loss_fraction(300, 20, x), 0.01, 0.009),
        ("co2_fraction", lambda x: siegert_loss_fraction(300, 20, x), 0.21, 0.22),
        ("siegert", lambda x: siegert_loss_fraction(300, 20, 0.1, x), 0.1, 0.09),
        ("siegert", lambda x: siegert_loss_fraction(300, 20, 0.1, x), 1.5, 1.6),
        ("co2_most_fraction", lambda x: stack_loss(300, 20, 0.06, x), 0.06, 0.05),
        ("co2_most_fraction", lambda x: stack_loss(300, 20, 0.06, x), 0.21, 0.22),
        ("oxygen_fraction", co2_from_oxygen_fraction, 0, -0.01),
        ("oxygen_fraction", co2_from_oxygen_fraction, 0.2095, 0.21),
        ("co2_max_fraction", lambda x: co2_from_oxygen_fraction(0.1, x), 0.1, 0.09),
        ("co2_max_fraction", lambda x: co2_from_oxygen_fraction(0.1, x), 0.25, 0.26),
        ("oxygen_fraction", excess_air_ratio, 0, -0.01),
        ("oxygen_fraction", excess_air_ratio, 0.2, 0.201),
        ("moisture_fraction", wood_heat_j_kg, 0, -0.01),
        ("moisture_fraction", wood_heat_j_kg, 0.6, 0.61),
        ("heat_j", wood_volume_m3, 0, -1),
        ("heat_j", wood_volume_m3, 1e15, 1e15 + 0.5),
        ("efficiency.low", lambda x: wood_volume_m3(1, Wood.ASH, Contested(x, 0.5, 0.5)), 0.05, 0.04),
        ("efficiency.high", lambda x: wood_volume_m3(1, Wood.ASH, Contested(0.5, 0.5, x)), 1, 1.1),
        (
            "cord_heat_j.low",
            lambda x: wood_volume_m3(1, cord_heat_j=Contested(x * MBTU_J, ODD.usual, ODD.high)),
            1,
            0.9,
        ),
        (
            "cord_heat_j.high",
            lambda x: wood_volume_m3(1, cord_heat_j=Contested(ODD.low, ODD.usual, x * MBTU_J)),
            100,
            101,
        ),
        ("concentrate_brix", lambda x: wood_left_fraction(2, x, 66.9), 2, 1.9),
        ("concentrate_brix", lambda x: wood_left_fraction(2, x, 66.9), 66.9, 67),
    ],
)
def test_each_range_ends_where_it_says(argument, call, last_good, first_bad):
    call(last_good)
    with pytest.raises(InvalidArgument) as refusal:
        call(first_bad)
    assert refusal.value.argument == argument


@pytest.mark.parametrize("wrong", [nan, inf, -inf])
@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("stack_c", lambda x: stack_loss(x, 20)),
        ("air_c", lambda x: stack_loss(300, x)),
        ("co2_most_fraction", lambda x: stack_loss(300, 20, 0.06, x)),
        ("oxygen_fraction", co2_from_oxygen_fraction),
        ("oxygen_fraction", excess_air_ratio),
        ("moisture_fraction", wood_heat_j_kg),
        ("heat_j", wood_volume_m3),
        ("concentrate_brix", lambda x: wood_left_fraction(2, x, 66.9)),
    ],
)
def test_a_number_that_means_nothing_is_refused_by_name(argument, call, wrong):
    with pytest.raises(InvalidArgument) as refusal:
        call(wrong)
    assert refusal.value.argument == argument
