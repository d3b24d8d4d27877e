"""Sap beside the laws it follows; the published figures are in tests/checks/sap.py."""

from math import inf, nan

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument
from shared.physics.sap import (
    FU_MINIMUM_C,
    LEAST_BRIX,
    RULE_FOR_66_0,
    RULE_FOR_66_9,
    RULE_OF_86,
    TOP_BRIX,
    apparent_sg_ratio,
    equivalent_age_s,
    relative_spoilage_rate,
    ro_concentrate_volume_ratio,
    ro_permeate_volume_ratio,
    ro_water_removed_fraction,
    rule_sap_per_syrup_ratio,
    sap_freezing_point_c,
    sap_per_syrup_ratio,
    specific_gravity_brix,
    sucrose_density_kg_m3,
    water_density_kg_m3,
)
from shared.units import DAY_S, HOUR_S

any_sap = st.floats(LEAST_BRIX, 20.0)


@pytest.mark.parametrize("temperature_c", [0.1, 4.0, 10.0, 20.0, 40.0, 60.0, 80.0, 99.0])
def test_water_is_as_dense_as_iapws_95_says(temperature_c):
    theirs = PropsSI("D", "T", temperature_c + 273.15, "P", 101325, "Water")
    assert water_density_kg_m3(temperature_c) == pytest.approx(theirs, abs=0.02)


ICUMSA_TERMS = np.array(
    [
        [385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890],
        [-46.2720, -7.1720, 1.1597, 5.1126, 17.5254, 0.0],
        [59.7712, 7.2491, 12.3630, -35.4791, 0.0, 0.0],
        [-47.2207, -21.6977, 27.6301, 0.0, 0.0, 0.0],
        [18.3184, 12.3081, 0.0, 0.0, 0.0, 0.0],
    ]
)


@pytest.mark.parametrize("temperature_c", [0.1, 4.0, 20.0, 45.0, 80.0, 99.0])
@pytest.mark.parametrize("brix", [0.5, 2.0, 8.0, 20.0, 45.0, 66.9, 70.0])
def test_density_is_the_icumsa_polynomial_over_iapws_95_water(brix, temperature_c):
    """Coefficients typed again from SPS-4 as quoted by Llano 2005; evaluated as a matrix product."""
    warmth, sugar = (temperature_c - 20) / 100, brix / 100
    sugar_kg_m3 = warmth ** np.arange(5) @ ICUMSA_TERMS @ sugar ** np.arange(1, 7)
    water_kg_m3 = PropsSI("D", "T", temperature_c + 273.15, "P", 101325, "Water")
    assert sucrose_density_kg_m3(brix, temperature_c) == pytest.approx(water_kg_m3 + sugar_kg_m3, abs=0.02)


@pytest.mark.parametrize(
    ("temperature_c", "expected_kg_m3"),
    [(-5.0, 999.259), (0.0, 999.843), (4.0, 999.975), (25.0, 997.048), (50.0, 988.04), (100.0, 958.37)],
)
def test_water_is_as_dense_as_its_tables_say(temperature_c, expected_kg_m3):
    """CRC Handbook of Chemistry and Physics, density of water; below 0 °C supercooled (from memory)."""
    assert water_density_kg_m3(temperature_c) == pytest.approx(expected_kg_m3, abs=0.03)


@pytest.mark.parametrize("temperature_c", [0.0, 20.0, 60.0, 99.0])
def test_more_sugar_is_heavier_at_every_temperature(temperature_c):
    densities = [sucrose_density_kg_m3(brix / 2, temperature_c) for brix in range(141)]
    assert densities == sorted(densities)
    assert densities[0] == water_density_kg_m3(temperature_c)


def test_water_has_no_sugar():
    assert specific_gravity_brix(1.0) == 0.0
    assert apparent_sg_ratio(0.0) == 1.0


@given(brix=st.floats(0.1, 40.0))
def test_specific_gravity_finds_the_brix_it_came_from(brix):
    assert specific_gravity_brix(apparent_sg_ratio(brix)) == pytest.approx(brix, abs=0.03)


@given(feed=any_sap, rise=st.floats(1.0, 3.0))
def test_ro_neither_makes_nor_loses_mass(feed, rise):
    concentrate = feed * rise
    feed_kg = sucrose_density_kg_m3(feed)
    permeate_kg = ro_permeate_volume_ratio(feed, concentrate) * water_density_kg_m3(20.0)
    concentrate_kg = ro_concentrate_volume_ratio(feed, concentrate) * sucrose_density_kg_m3(concentrate)
    assert permeate_kg == pytest.approx(ro_water_removed_fraction(feed, concentrate) * feed_kg)
    assert permeate_kg + concentrate_kg == pytest.approx(feed_kg)


@given(feed=any_sap, rise=st.floats(1.0, 3.0))
def test_ro_then_boiling_makes_as_much_syrup_as_boiling_alone(feed, rise):
    through_ro = sap_per_syrup_ratio(feed * rise) / ro_concentrate_volume_ratio(feed, feed * rise)
    assert through_ro == pytest.approx(sap_per_syrup_ratio(feed))


def test_nothing_concentrated_is_nothing_removed():
    assert ro_water_removed_fraction(2.0, 2.0) == 0.0
    assert ro_permeate_volume_ratio(2.0, 2.0) == 0.0
    assert ro_concentrate_volume_ratio(2.0, 2.0) == 1.0
    assert sap_per_syrup_ratio(66.9, 66.9) == 1.0


@pytest.mark.parametrize(
    ("rule", "expected"),
    [(RULE_OF_86, 43.0), (RULE_FOR_66_0, 43.55), (RULE_FOR_66_9, 44.1), (80, 40), (95, 47.5)],
)
def test_the_trades_rules_at_two_brix(rule, expected):
    assert rule_sap_per_syrup_ratio(2.0, rule) == pytest.approx(expected)


def test_the_rule_of_86_is_the_one_used_unless_another_is_named():
    assert rule_sap_per_syrup_ratio(2.5) == pytest.approx(34.4)


def test_pure_water_freezes_at_nought():
    assert sap_freezing_point_c(0.0) == 0.0
    assert sap_freezing_point_c(20.0) == pytest.approx(-1.3585, abs=1e-4)


def test_sap_does_not_spoil_below_the_no_growth_temperature():
    assert relative_spoilage_rate(-7.7) == 0.0
    assert relative_spoilage_rate(-20.0) == 0.0
    assert relative_spoilage_rate(-7.6) > 0.0
    assert relative_spoilage_rate(-7.8, minimum_c=FU_MINIMUM_C) > 0.0


def test_spoilage_is_relative_to_its_reference():
    assert relative_spoilage_rate(4.0) == 1.0
    assert relative_spoilage_rate(10.0, reference_c=10.0) == 1.0
    assert relative_spoilage_rate(10.0) == pytest.approx((17.7 / 11.7) ** 2)


def test_equivalent_age_adds_up_and_needs_no_spell():
    assert equivalent_age_s([]) == 0.0
    assert equivalent_age_s([(HOUR_S, 4.0), (2 * HOUR_S, 4.0)]) == 3 * HOUR_S
    assert equivalent_age_s([(HOUR_S, 10.0)], reference_c=10.0) == HOUR_S
    assert equivalent_age_s([(HOUR_S, -7.75)], minimum_c=FU_MINIMUM_C) > 0.0
    assert equivalent_age_s([(366 * DAY_S, 4.0)]) == 366 * DAY_S


@pytest.mark.parametrize("wrong", [nan, inf, -inf, -1e6])
@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (water_density_kg_m3, "temperature_c"),
        (sucrose_density_kg_m3, "brix"),
        (lambda x: sucrose_density_kg_m3(2.0, x), "temperature_c"),
        (apparent_sg_ratio, "brix"),
        (specific_gravity_brix, "apparent_sg_ratio"),
        (sap_per_syrup_ratio, "sap_brix"),
        (lambda x: sap_per_syrup_ratio(2.0, x), "syrup_brix"),
        (rule_sap_per_syrup_ratio, "sap_brix"),
        (lambda x: rule_sap_per_syrup_ratio(2.0, x), "rule"),
        (lambda x: ro_water_removed_fraction(x, 8.0), "feed_brix"),
        (lambda x: ro_water_removed_fraction(2.0, x), "concentrate_brix"),
        (lambda x: ro_permeate_volume_ratio(x, 8.0), "feed_brix"),
        (lambda x: ro_permeate_volume_ratio(2.0, x), "concentrate_brix"),
        (lambda x: ro_concentrate_volume_ratio(x, 8.0), "feed_brix"),
        (lambda x: ro_concentrate_volume_ratio(2.0, x), "concentrate_brix"),
        (sap_freezing_point_c, "brix"),
        (relative_spoilage_rate, "temperature_c"),
        (lambda x: relative_spoilage_rate(4.0, x), "reference_c"),
        (lambda x: relative_spoilage_rate(4.0, 4.0, x), "minimum_c"),
        (lambda x: equivalent_age_s([(x, 4.0)]), "duration_s"),
        (lambda x: equivalent_age_s([(HOUR_S, x)]), "temperature_c"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, argument, wrong):
    with pytest.raises(InvalidArgument) as refused:
        call(wrong)
    assert refused.value.argument == argument


@pytest.mark.parametrize(
    ("call", "lowest", "highest", "step"),
    [
        (water_density_kg_m3, -10.0, 105.0, 0.01),
        (sucrose_density_kg_m3, 0.0, TOP_BRIX, 0.01),
        (specific_gravity_brix, 1.0, 1.179, 1e-5),
        (sap_per_syrup_ratio, LEAST_BRIX, 66.9, 0.01),
        (lambda x: sap_per_syrup_ratio(2.0, x), 2.0, TOP_BRIX, 0.01),
        (rule_sap_per_syrup_ratio, LEAST_BRIX, TOP_BRIX, 0.01),
        (lambda x: rule_sap_per_syrup_ratio(2.0, x), 80.0, 95.0, 0.01),
        (sap_freezing_point_c, 0.0, 20.0, 0.01),
        (relative_spoilage_rate, -60.0, 60.0, 0.01),
        (lambda x: relative_spoilage_rate(4.0, x), 0.0, 28.0, 0.01),
        (lambda x: relative_spoilage_rate(4.0, 4.0, x), -30.0, -1.0, 0.01),
        (lambda x: equivalent_age_s([(x, 4.0)]), 0.0, 366 * DAY_S, 1.0),
    ],
)
def test_each_range_ends_where_it_says(call, lowest, highest, step):
    call(lowest)
    call(highest)
    for outside in (lowest - step, highest + step):
        with pytest.raises(InvalidArgument):
            call(outside)


def test_syrup_thinner_than_sap_is_refused():
    with pytest.raises(InvalidArgument) as refused:
        sap_per_syrup_ratio(10.0, 9.9)
    assert refused.value.argument == "syrup_brix"
