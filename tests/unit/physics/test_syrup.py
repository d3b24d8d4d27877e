"""What syrup costs and what a season gives; the published figures are in tests/checks/sap.py."""

from math import inf, nan

import pytest
from CoolProp.CoolProp import PropsSI

from shared.errors import InvalidArgument
from shared.physics.sap import sap_per_syrup_ratio
from shared.physics.syrup import (
    GRAVITY_SAP_PER_TAP_M3,
    SYRUP_PER_TAP_M3,
    boil_heat_j_m3,
    boil_water_kg_m3,
    expected_season_sap_m3,
    expected_syrup_m3,
)
from shared.units import GALLON_M3, INHG_PA


def test_boiling_costs_what_iapws_95_says_water_costs():
    saturated = PropsSI("H", "P", 101325, "Q", 0, "Water"), PropsSI("H", "P", 101325, "Q", 1, "Water")
    warming = saturated[0] - PropsSI("H", "T", 277.15, "P", 101325, "Water")
    water_kg = boil_water_kg_m3(2.0)
    theirs_j = water_kg * (saturated[1] - saturated[0] + warming)
    assert boil_heat_j_m3(2.0) == pytest.approx(theirs_j, rel=0.006)


def test_syrup_itself_needs_no_boiling():
    assert boil_water_kg_m3(66.9) == pytest.approx(0.0, abs=1e-9)
    assert boil_heat_j_m3(66.9, feed_c=99.97) == pytest.approx(0.0, abs=1.0)


def test_preheated_feed_saves_heat():
    assert boil_heat_j_m3(2.0, feed_c=80.0) < boil_heat_j_m3(2.0)
    assert boil_heat_j_m3(2.0) == boil_heat_j_m3(2.0, feed_c=4.0)


def test_expected_syrup_is_the_sap_over_the_ratio():
    assert expected_syrup_m3(10.0, 2.0) == pytest.approx(10.0 / sap_per_syrup_ratio(2.0))
    assert expected_syrup_m3(0.0, 2.0) == 0.0
    assert expected_syrup_m3(1e6, 2.0) > 0.0


def test_a_gravity_season_is_ten_gallons_a_tap_whatever_vacuum_would_bring():
    season = expected_season_sap_m3(3, 0.0)
    assert (season.low, season.usual, season.high) == pytest.approx([30 * GALLON_M3] * 3)


def test_a_season_under_vacuum_is_a_band():
    season = expected_season_sap_m3(1, 25 * INHG_PA)
    in_taps = [sap / GRAVITY_SAP_PER_TAP_M3 for sap in (season.low, season.usual, season.high)]
    assert in_taps == pytest.approx([2.0, 2.25, 2.75])
    assert expected_season_sap_m3(1, 25 * INHG_PA, 0.1).usual == pytest.approx(0.225)
    assert expected_season_sap_m3(10_000_000, 0.0, 0.5).usual == 5e6
    assert expected_season_sap_m3(0, 0.0).high == 0.0


def test_published_syrup_per_tap_is_what_the_season_of_a_tap_makes():
    """Ten gallons of 2 °Bx make a poor year's syrup; 15 inHg a good one's."""
    poor = expected_syrup_m3(expected_season_sap_m3(1, 0.0).usual, 2.0)
    good = expected_syrup_m3(expected_season_sap_m3(1, 15 * INHG_PA).low, 2.0)
    assert poor == pytest.approx(SYRUP_PER_TAP_M3.low, rel=0.05)
    assert good == pytest.approx(SYRUP_PER_TAP_M3.high, rel=0.05)


@pytest.mark.parametrize("wrong", [nan, inf, -inf, -1e9])
@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (boil_water_kg_m3, "sap_brix"),
        (lambda x: boil_water_kg_m3(2.0, x), "syrup_brix"),
        (lambda x: boil_heat_j_m3(2.0, feed_c=x), "feed_c"),
        (lambda x: expected_syrup_m3(x, 2.0), "sap_m3"),
        (lambda x: expected_season_sap_m3(x, 0.0), "tap_count"),
        (lambda x: expected_season_sap_m3(1, x), "vacuum_pa"),
        (lambda x: expected_season_sap_m3(1, 0.0, x), "gravity_sap_per_tap_m3"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, argument, wrong):
    with pytest.raises(InvalidArgument) as refused:
        call(wrong)
    assert refused.value.argument == argument


@pytest.mark.parametrize(
    ("call", "outside"),
    [
        (lambda x: boil_heat_j_m3(2.0, feed_c=x), -5.01),
        (lambda x: boil_heat_j_m3(2.0, feed_c=x), 99.98),
        (lambda x: expected_syrup_m3(x, 2.0), 1e6 + 1),
        (lambda x: expected_season_sap_m3(x, 0.0), 10_000_001),
        (lambda x: expected_season_sap_m3(x, 0.0), -1),
        (lambda x: expected_season_sap_m3(1, 0.0, x), 0.5001),
    ],
)
def test_each_range_ends_where_it_says(call, outside):
    with pytest.raises(InvalidArgument):
        call(outside)
