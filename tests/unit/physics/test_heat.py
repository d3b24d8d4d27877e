from math import exp, inf, log, nan, tanh

import pytest
from chemicals.iapws import iapws95_Psat, iapws95_Tsat
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS97

from shared.errors import InvalidArgument
from shared.physics.contested import Contested
from shared.physics.heat import (
    COLOUR_CAUTION,
    FAHRENHEIT_STEP_C,
    MOST_BRIX,
    PACK_CAUTION_C,
    PACK_LEAST_C,
    PACK_MOST_C,
    PACK_TARGET_C,
    RISE_AT_66_0_C,
    RISE_AT_66_9_C,
    TARGET_BRIX,
    TARGET_WITHIN_BRIX,
    ColourClass,
    HotPack,
    boiling_point_c,
    colour_class,
    draw_off_c,
    hot_pack,
    hydrometer_chart_brix,
    hydrometer_reading_brix,
    hydrometer_true_brix,
    saturation_pressure_pa,
)
from shared.physics.sap import SYRUP_BRIX
from shared.units import INHG_PA, to_si

QUARTERS_INHG = [inhg / 4 for inhg in range(24 * 4, 31 * 4 + 1)]


@pytest.mark.parametrize("inhg", QUARTERS_INHG)
def test_boiling_point_is_within_a_fiftieth_of_a_degree_f_of_three_libraries(inhg):
    ours_c = boiling_point_c(inhg * INHG_PA)
    theirs_c = (
        PropsSI("T", "P", inhg * INHG_PA, "Q", 0, "Water") - 273.15,
        IAPWS97(P=inhg * INHG_PA / 1e6, x=0).T - 273.15,
        iapws95_Tsat(inhg * INHG_PA) - 273.15,
    )
    assert ours_c == pytest.approx(theirs_c[0], abs=0.02 * FAHRENHEIT_STEP_C)
    assert ours_c == pytest.approx(theirs_c[1], abs=1e-6)
    assert ours_c == pytest.approx(theirs_c[2], abs=0.02 * FAHRENHEIT_STEP_C)


@pytest.mark.parametrize("temperature_c", [0.02, 5, 10, 20, 40, 99.97, 120])
def test_vapour_pressure_agrees_with_coolprop_and_chemicals(temperature_c):
    kelvin = temperature_c + 273.15
    assert saturation_pressure_pa(temperature_c) == pytest.approx(
        PropsSI("P", "T", kelvin, "Q", 0, "Water"), rel=2e-4
    )
    assert saturation_pressure_pa(temperature_c) == pytest.approx(iapws95_Psat(kelvin), rel=2e-4)


@pytest.mark.parametrize("temperature_c", [-10.0, -5.0, -1.0])
def test_supercooled_vapour_pressure_agrees_with_murphy_and_koop(temperature_c):
    """Murphy & Koop 2005, Q. J. R. Meteorol. Soc. 131:1539-1565, equation 10."""
    t = temperature_c + 273.15
    theirs_pa = exp(
        54.842763
        - 6763.22 / t
        - 4.210 * log(t)
        + 0.000367 * t
        + tanh(0.0415 * (t - 218.8)) * (53.878 - 1331.22 / t - 9.44523 * log(t) + 0.014025 * t)
    )
    assert saturation_pressure_pa(temperature_c) == pytest.approx(theirs_pa, rel=2e-3)


@given(st.floats(50_000, 120_000))
def test_water_at_its_boiling_point_has_the_pressure_of_the_air(station_pa):
    assert saturation_pressure_pa(boiling_point_c(station_pa)) == pytest.approx(station_pa, rel=1e-6)


@given(st.floats(50_000, 119_000), st.floats(10, 1000))
def test_a_higher_barometer_boils_hotter(station_pa, more_pa):
    assert boiling_point_c(station_pa + more_pa) > boiling_point_c(station_pa)


@given(st.floats(50_000, 120_000), st.floats(65, 69))
def test_draw_off_is_a_band_round_its_usual(station_pa, brix):
    band = draw_off_c(station_pa, brix)
    assert boiling_point_c(station_pa) < band.low <= band.usual <= band.high


@pytest.mark.parametrize(
    ("brix", "low_f", "usual_f", "high_f"),
    [
        (66.0, 7.0, 7.1, 7.3),
        (66.9, 7.3, 7.4, 7.5),
        (66.45, 7.15, 7.25, 7.4),
        (67.4, 7.3, 7.5667, 7.7778),
        (65.1, 6.5, 6.8, 7.3),
    ],
)
def test_draw_off_rises_are_those_of_the_texts_and_the_line_through_them(brix, low_f, usual_f, high_f):
    """66.0: trade hydrometer chart. 66.9: state texts, from memory. Between and beyond: by hand."""
    band, water_c = draw_off_c(98_000.0, brix), boiling_point_c(98_000.0)
    rises_f = [(drawn_c - water_c) / FAHRENHEIT_STEP_C for drawn_c in (band.low, band.usual, band.high)]
    assert rises_f == pytest.approx([low_f, usual_f, high_f], abs=1e-4)


def test_a_maker_can_set_his_own_rises_and_aims_over_the_law_unless_told():
    own = draw_off_c(98_000.0, 66.0, Contested(4.0, 4.0, 4.0), Contested(5.0, 5.0, 5.0))
    assert own.usual - boiling_point_c(98_000.0) == pytest.approx(4.0)
    assert draw_off_c(98_000.0) == draw_off_c(98_000.0, TARGET_BRIX, RISE_AT_66_0_C, RISE_AT_66_9_C)
    assert SYRUP_BRIX < TARGET_BRIX - TARGET_WITHIN_BRIX < TARGET_BRIX + TARGET_WITHIN_BRIX < MOST_BRIX


@given(st.floats(to_si(50, "degF"), to_si(208, "degF")), st.floats(0.1, 0.5))
def test_hotter_syrup_reads_thinner(temperature_c, warmer_c):
    assert hydrometer_chart_brix(temperature_c + warmer_c) < hydrometer_chart_brix(temperature_c)
    assert hydrometer_reading_brix(66.9, temperature_c + warmer_c) < hydrometer_reading_brix(
        66.9, temperature_c
    )


@given(st.floats(60.5, 69), st.floats(to_si(50, "degF"), to_si(209, "degF")))
def test_the_chart_never_strays_from_physics(brix, temperature_c):
    """ICUMSA densities; 0.35 °Bx is the chart's largest distance from them."""
    reading_brix = hydrometer_reading_brix(brix, temperature_c)
    band = hydrometer_true_brix(reading_brix, temperature_c)
    assert min(abs(band.low - brix), abs(band.high - brix)) < 1e-6
    assert band.high - band.low <= 0.35
    assert band.low <= band.usual <= band.high


def test_at_sixty_degrees_f_a_hydrometer_reads_what_is_there():
    sixty_c = to_si(60, "degF")
    assert hydrometer_reading_brix(64.0, sixty_c) == pytest.approx(64.0)
    assert hydrometer_reading_brix(0.0, sixty_c) == pytest.approx(0.0, abs=1e-9)
    assert hydrometer_true_brix(64.0, sixty_c).usual == pytest.approx(64.0)


@pytest.mark.parametrize(
    ("hot_f", "expected"),
    [
        (100, HotPack.TOO_COOL),
        (179.9, HotPack.TOO_COOL),
        (180, HotPack.LOW),
        (184.9, HotPack.LOW),
        (185, HotPack.GOOD),
        (190, HotPack.GOOD),
        (190.1, HotPack.HOT),
        (195, HotPack.HOT),
        (195.1, HotPack.TOO_HOT),
    ],
)
def test_hot_pack_follows_extension_advice(hot_f, expected):
    """Extension advice: 180 °F at least, not over 190 to 195 after filtering; 185 is common practice."""
    assert hot_pack(to_si(hot_f, "degF")) is expected


def test_a_packer_can_set_his_own_limits():
    own = {"least_c": 80.0, "target_c": 82.0, "caution_c": 84.0, "most_c": 86.0}
    packed = [hot_pack(temperature_c, **own) for temperature_c in (79, 81, 83, 85, 87)]
    assert packed == list(HotPack)
    assert PACK_LEAST_C < PACK_TARGET_C < PACK_CAUTION_C < PACK_MOST_C


@pytest.mark.parametrize(
    ("percent", "expected"),
    [
        (100, ColourClass.GOLDEN),
        (75.0, ColourClass.GOLDEN),
        (74.9, ColourClass.AMBER),
        (50.0, ColourClass.AMBER),
        (49.9, ColourClass.DARK),
        (25.0, ColourClass.DARK),
        (24.9, ColourClass.VERY_DARK),
        (0, ColourClass.VERY_DARK),
    ],
)
def test_colour_classes_are_those_of_the_usda(percent, expected):
    """USDA AMS, standards for grades of maple syrup, 2015."""
    assert colour_class(percent / 100) is expected


def test_the_caution_says_colour_is_not_a_grade():
    assert "never makes Grade A" in COLOUR_CAUTION


ODD = Contested(4, 4, 4)


@pytest.mark.parametrize(
    ("argument", "call", "last_good", "first_bad"),
    [
        ("temperature_c", saturation_pressure_pa, -10, -10.1),
        ("temperature_c", saturation_pressure_pa, 120, 120.1),
        ("station_pa", boiling_point_c, 50_000, 49_999),
        ("station_pa", boiling_point_c, 120_000, 120_001),
        ("brix", lambda x: draw_off_c(100_000, x), 65, 64.9),
        ("brix", lambda x: draw_off_c(100_000, x), 69, 69.1),
        ("rise_at_66_0_c.low", lambda x: draw_off_c(100_000, 66, Contested(x, 4, 4)), 0, -0.1),
        ("rise_at_66_0_c.high", lambda x: draw_off_c(100_000, 66, Contested(4, 4, x)), 10, 10.1),
        ("rise_at_66_0_c.low", lambda x: draw_off_c(100_000, 66, Contested(x, x, x)), 0, -0.1),
        ("rise_at_66_9_c.low", lambda x: draw_off_c(100_000, 66, ODD, Contested(x, 4, 4)), 0, -0.1),
        ("rise_at_66_9_c.high", lambda x: draw_off_c(100_000, 66, ODD, Contested(4, 4, x)), 10, 10.1),
        ("temperature_c", hydrometer_chart_brix, to_si(50, "degF"), to_si(49.9, "degF")),
        ("temperature_c", hydrometer_chart_brix, to_si(209, "degF"), to_si(209.1, "degF")),
        ("brix", lambda x: hydrometer_reading_brix(x, 20), 0, -0.1),
        ("brix", lambda x: hydrometer_reading_brix(x, 20), 70, 70.1),
        ("temperature_c", lambda x: hydrometer_reading_brix(66, x), 0, -0.1),
        ("temperature_c", lambda x: hydrometer_reading_brix(66, x), 100, 100.1),
        ("temperature_c", lambda x: hydrometer_true_brix(61, x), to_si(209, "degF"), to_si(210, "degF")),
        ("reading_brix", lambda x: hydrometer_true_brix(x, to_si(202, "degF")), 52.8, 52.6),
        ("reading_brix", lambda x: hydrometer_true_brix(x, to_si(202, "degF")), 62.1, 62.3),
        ("temperature_c", hot_pack, 0, -0.1),
        ("temperature_c", hot_pack, 120, 120.1),
        ("transmittance_fraction", colour_class, 0, -0.01),
        ("transmittance_fraction", colour_class, 1, 1.01),
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
        ("temperature_c", saturation_pressure_pa),
        ("station_pa", boiling_point_c),
        ("station_pa", draw_off_c),
        ("brix", lambda x: draw_off_c(100_000, x)),
        ("temperature_c", hydrometer_chart_brix),
        ("brix", lambda x: hydrometer_reading_brix(x, 20)),
        ("temperature_c", lambda x: hydrometer_reading_brix(66, x)),
        ("reading_brix", lambda x: hydrometer_true_brix(x, 90)),
        ("temperature_c", lambda x: hydrometer_true_brix(60, x)),
        ("temperature_c", hot_pack),
        ("transmittance_fraction", colour_class),
    ],
)
def test_a_number_that_means_nothing_is_refused_by_name(argument, call, wrong):
    with pytest.raises(InvalidArgument) as refusal:
        call(wrong)
    assert refusal.value.argument == argument
