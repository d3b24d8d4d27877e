from math import inf, nan

import fluids
import pint
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument
from shared.physics.air import (
    BAROMETER_RATIO,
    LEAST_STATION_PA,
    MOST_STATION_PA,
    YIELD_PER_INHG,
    Growth,
    absolute_pressure_pa,
    attainable_vacuum_pa,
    pump_down_s,
    pump_free_air_m3_s,
    require_station,
    sap_head_pa,
    standard_pressure_pa,
    station_pressure_from_altimeter_pa,
    station_pressure_from_barometer_pa,
    steady_vacuum_pa,
    vacuum_share_fraction,
    vented_pressure_pa,
    yield_response_ratio,
)
from shared.physics.contested import Contested
from shared.units import INHG_PA, PSI_PA

FARM_M = 441.96
"""Juniper Knob, 1450 ft."""
stations_pa = st.floats(LEAST_STATION_PA, MOST_STATION_PA)


@pytest.mark.parametrize("elevation_m", [-500, -100, 0, 100, 441.96, 1000, 2500, 5000])
def test_standard_pressure_agrees_with_fluids(elevation_m):
    theirs_pa = fluids.ATMOSPHERE_1976(elevation_m).P
    assert standard_pressure_pa(elevation_m) == pytest.approx(theirs_pa, rel=1e-5)


@pytest.mark.parametrize("elevation_ft", [0, 1000, 2000, 4000])
def test_standard_pressure_agrees_with_psychrolib(elevation_ft):
    psychrolib.SetUnitSystem(psychrolib.IP)
    theirs_pa = psychrolib.GetStandardAtmPressure(elevation_ft) * PSI_PA
    assert standard_pressure_pa(elevation_ft * 0.3048) == pytest.approx(theirs_pa, rel=3e-4)


def test_inch_of_mercury_agrees_with_pint():
    assert pint.UnitRegistry()("1 inHg").to("Pa").magnitude == pytest.approx(INHG_PA, rel=1e-6)


@given(st.floats(-500, 4999), st.floats(0.1, 1))
def test_pressure_falls_with_every_metre(elevation_m, higher_m):
    assert standard_pressure_pa(elevation_m + higher_m) < standard_pressure_pa(elevation_m)


def test_a_barometer_at_the_farm_is_believed_as_it_stands():
    assert station_pressure_from_barometer_pa(95_000.0, FARM_M, FARM_M) == 95_000.0


def test_a_barometer_down_the_hill_is_carried_up():
    """Hypsometric equation at 0 °C, R 287.05, 100 m: factor exp(-9.80665*100/(287.05*273.15))."""
    carried_pa = station_pressure_from_barometer_pa(96_000.0, 400.0, 500.0)
    assert carried_pa == pytest.approx(96_000.0 * 0.98757, abs=0.02 * INHG_PA)


@pytest.mark.parametrize(
    ("reading_inhg", "elevation_m", "believed"),
    [
        (30.0, FARM_M, False),
        (28.4, FARM_M, True),
        (29.6, FARM_M, True),
        (30.0, 300.0, True),
        (26.2, FARM_M, False),
    ],
)
def test_a_sea_level_figure_is_refused_where_it_can_be_told(reading_inhg, elevation_m, believed):
    if believed:
        assert station_pressure_from_barometer_pa(reading_inhg * INHG_PA, elevation_m, elevation_m)
    else:
        with pytest.raises(InvalidArgument) as refusal:
            station_pressure_from_barometer_pa(reading_inhg * INHG_PA, elevation_m, elevation_m)
        assert refusal.value.argument == "barometer_pa"


def test_what_a_barometer_may_show_can_be_set():
    tight = Contested(0.99, 1.0, 1.01)
    with pytest.raises(InvalidArgument):
        station_pressure_from_barometer_pa(0.98 * standard_pressure_pa(0), 0, 0, tight)
    assert BAROMETER_RATIO.low < 0.98


@given(st.floats(-400, 3000))
def test_a_standard_altimeter_setting_gives_the_standard_pressure(elevation_m):
    """30 Pa apart at most by the altimeter's own cabin-height offset and rounded constants."""
    station_pa = station_pressure_from_altimeter_pa(101_325.0, elevation_m)
    assert station_pa == pytest.approx(standard_pressure_pa(elevation_m), abs=60.0)


def test_absolute_pressure_is_what_the_vacuum_leaves():
    assert absolute_pressure_pa(100_000.0, 100_000.0) == 0.0
    assert absolute_pressure_pa(100_000.0, -1_000.0) == 101_000.0


@given(stations_pa, st.floats(-10, 39), st.floats(0.1, 1))
def test_warmer_sap_allows_less_vacuum(station_pa, sap_c, warmer_c):
    assert (
        attainable_vacuum_pa(station_pa, sap_c + warmer_c)
        < attainable_vacuum_pa(station_pa, sap_c)
        < station_pa
    )


def test_sap_is_taken_as_ice_cold_unless_told():
    assert attainable_vacuum_pa(100_000.0) == attainable_vacuum_pa(100_000.0, 0.0)


def test_a_gauge_above_the_ceiling_shows_a_share_above_one():
    assert vacuum_share_fraction(30 * INHG_PA, attainable_vacuum_pa(standard_pressure_pa(FARM_M))) > 1.06


def test_head_follows_height_and_density():
    assert sap_head_pa(10.0, 1000.0) == pytest.approx(98_066.5)
    assert sap_head_pa(-10.0, 1000.0) == pytest.approx(-98_066.5)


def test_pump_down_takes_twice_as_long_to_twice_the_decades():
    once_s = pump_down_s(1.0, 0.01, 100_000.0, 50_000.0)
    assert pump_down_s(1.0, 0.01, 100_000.0, 25_000.0) == pytest.approx(2 * once_s)
    assert pump_down_s(2.0, 0.02, 100_000.0, 50_000.0) == pytest.approx(once_s)
    assert pump_down_s(1.0, 0.01, 50_000.0, 50_000.0) == 0.0


@given(st.floats(0.001, 0.1), st.floats(0.01, 0.99), stations_pa)
def test_a_pump_at_steady_vacuum_takes_just_the_leak(pump_m3_s, share, station_pa):
    leak_m3_s = pump_m3_s * share
    vacuum_pa = steady_vacuum_pa(leak_m3_s, pump_m3_s, station_pa)
    assert pump_free_air_m3_s(pump_m3_s, vacuum_pa, station_pa) == pytest.approx(leak_m3_s)


@pytest.mark.parametrize("leak_m3_s", [0.02, 0.03])
def test_a_leak_as_large_as_the_pump_leaves_no_vacuum(leak_m3_s):
    assert steady_vacuum_pa(leak_m3_s, 0.02, 100_000.0) == 0.0


@given(st.floats(0.1, 10), st.floats(0, 50_000), st.floats(0, 1))
def test_venting_lets_the_pressure_rise_but_never_past_the_air(system_m3, system_pa, chamber_m3):
    vented_pa = vented_pressure_pa(system_m3, system_pa, chamber_m3, 100_000.0)
    assert system_pa - 1e-6 <= vented_pa <= 100_000.0


def test_a_chamber_as_large_as_the_system_meets_half_way():
    assert vented_pressure_pa(1.0, 20_000.0, 1.0, 100_000.0) == 60_000.0


@pytest.mark.parametrize(
    ("growth", "from_inhg", "to_inhg", "low", "usual", "high"),
    [
        # Ohio State and Cornell extension notes give the slopes; ratios worked by hand.
        (Growth.LINEAR, 0, 25, 2.0, 2.25, 2.75),
        (Growth.LINEAR, 20, 25, 1.1111, 1.125, 1.1458),
        (Growth.LINEAR, 25, 20, 0.8727, 0.8889, 0.9),
        (Growth.COMPOUNDING, 0, 25, 2.6658, 3.3864, 5.4274),
        (Growth.COMPOUNDING, 20, 25, 1.2167, 1.2763, 1.4026),
    ],
)
def test_yield_response_is_a_band_over_the_contested_slope(growth, from_inhg, to_inhg, low, usual, high):
    band = yield_response_ratio(to_inhg * INHG_PA, from_inhg * INHG_PA, growth=growth)
    assert (band.low, band.usual, band.high) == pytest.approx((low, usual, high), abs=1e-4)


def test_yield_is_linear_from_gravity_unless_told():
    assert yield_response_ratio(20 * INHG_PA) == yield_response_ratio(
        20 * INHG_PA, 0.0, YIELD_PER_INHG, Growth.LINEAR
    )


@given(st.floats(0, 29), st.floats(0.1, 1), st.sampled_from(Growth))
def test_more_vacuum_is_more_sap(vacuum_inhg, more_inhg, growth):
    less = yield_response_ratio(vacuum_inhg * INHG_PA, growth=growth)
    more = yield_response_ratio((vacuum_inhg + more_inhg) * INHG_PA, growth=growth)
    assert (less.low, less.usual, less.high) < (more.low, more.usual, more.high)


@pytest.mark.parametrize("wrong", [nan, inf, -inf])
@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("elevation_m", standard_pressure_pa),
        ("barometer_pa", lambda x: station_pressure_from_barometer_pa(x, 0, 0)),
        ("elevation_m", lambda x: station_pressure_from_barometer_pa(101_325, 0, x)),
        ("altimeter_pa", lambda x: station_pressure_from_altimeter_pa(x, 0)),
        ("elevation_m", lambda x: station_pressure_from_altimeter_pa(101_325, x)),
        ("station_pa", lambda x: absolute_pressure_pa(x, 0)),
        ("vacuum_pa", lambda x: absolute_pressure_pa(100_000, x)),
        ("station_pa", attainable_vacuum_pa),
        ("sap_temperature_c", lambda x: attainable_vacuum_pa(100_000, x)),
        ("vacuum_pa", lambda x: vacuum_share_fraction(x, 100_000)),
        ("attainable_pa", lambda x: vacuum_share_fraction(80_000, x)),
        ("height_m", sap_head_pa),
        ("density_kg_m3", lambda x: sap_head_pa(1, x)),
        ("volume_m3", lambda x: pump_down_s(x, 1, 2, 1)),
        ("pump_m3_s", lambda x: pump_down_s(1, x, 2, 1)),
        ("start_pa", lambda x: pump_down_s(1, 1, x, 1)),
        ("end_pa", lambda x: pump_down_s(1, 1, 2, x)),
        ("leak_free_air_m3_s", lambda x: steady_vacuum_pa(x, 1, 100_000)),
        ("pump_m3_s", lambda x: steady_vacuum_pa(0, x, 100_000)),
        ("station_pa", lambda x: steady_vacuum_pa(0, 1, x)),
        ("pump_m3_s", lambda x: pump_free_air_m3_s(x, 0, 100_000)),
        ("vacuum_pa", lambda x: pump_free_air_m3_s(1, x, 100_000)),
        ("station_pa", lambda x: pump_free_air_m3_s(1, 0, x)),
        ("system_m3", lambda x: vented_pressure_pa(x, 0, 0, 100_000)),
        ("system_pa", lambda x: vented_pressure_pa(1, x, 0, 100_000)),
        ("chamber_m3", lambda x: vented_pressure_pa(1, 0, x, 100_000)),
        ("station_pa", lambda x: vented_pressure_pa(1, 0, 0, x)),
        ("vacuum_pa", yield_response_ratio),
        ("from_vacuum_pa", lambda x: yield_response_ratio(0, x)),
        ("station_pa", require_station),
    ],
)
def test_a_number_that_means_nothing_is_refused_by_name(argument, call, wrong):
    with pytest.raises(InvalidArgument) as refusal:
        call(wrong)
    assert refusal.value.argument == argument


@pytest.mark.parametrize(
    ("argument", "call", "last_good", "first_bad"),
    [
        ("elevation_m", standard_pressure_pa, 5000, 5000.1),
        ("elevation_m", standard_pressure_pa, -500, -500.1),
        ("altimeter_pa", lambda x: station_pressure_from_altimeter_pa(x, 0), 85_000, 84_999),
        ("altimeter_pa", lambda x: station_pressure_from_altimeter_pa(x, 0), 110_000, 110_001),
        ("elevation_m", lambda x: station_pressure_from_altimeter_pa(101_325, x), 5000, 5001),
        ("elevation_m", lambda x: station_pressure_from_altimeter_pa(101_325, x), -500, -501),
        ("vacuum_pa", lambda x: absolute_pressure_pa(100_000, x), 100_000, 100_001),
        ("vacuum_pa", lambda x: absolute_pressure_pa(100_000, x), -INHG_PA, -INHG_PA - 1),
        ("sap_temperature_c", lambda x: attainable_vacuum_pa(100_000, x), -10, -10.1),
        ("sap_temperature_c", lambda x: attainable_vacuum_pa(100_000, x), 40, 40.1),
        ("vacuum_pa", lambda x: vacuum_share_fraction(x, 100_000), 32 * INHG_PA, 32.1 * INHG_PA),
        ("vacuum_pa", lambda x: vacuum_share_fraction(x, 100_000), -INHG_PA, -1.1 * INHG_PA),
        ("attainable_pa", lambda x: vacuum_share_fraction(0, x), 25_000, 24_999),
        ("attainable_pa", lambda x: vacuum_share_fraction(0, x), 110_000, 110_001),
        ("height_m", sap_head_pa, 500, 501),
        ("height_m", sap_head_pa, -500, -501),
        ("density_kg_m3", lambda x: sap_head_pa(1, x), 990, 989),
        ("density_kg_m3", lambda x: sap_head_pa(1, x), 1400, 1401),
        ("volume_m3", lambda x: pump_down_s(x, 1, 2, 1), 0, -1),
        ("volume_m3", lambda x: pump_down_s(x, 1, 2, 1), 1e4, 10_001),
        ("pump_m3_s", lambda x: pump_down_s(1, x, 2, 1), 1e-6, 0),
        ("pump_m3_s", lambda x: pump_down_s(1, x, 2, 1), 100, 101),
        ("start_pa", lambda x: pump_down_s(1, 1, x, 1), 110_000, 110_001),
        ("start_pa", lambda x: pump_down_s(1, 1, x, 1), 1, 0.5),
        ("end_pa", lambda x: pump_down_s(1, 1, 2, x), 1, 0.5),
        ("end_pa", lambda x: pump_down_s(1, 1, 2, x), 2, 2.5),
        ("leak_free_air_m3_s", lambda x: steady_vacuum_pa(x, 1, 100_000), 0, -1),
        ("leak_free_air_m3_s", lambda x: steady_vacuum_pa(x, 1, 100_000), 100, 101),
        ("pump_m3_s", lambda x: steady_vacuum_pa(0, x, 100_000), 1e-6, 0),
        ("pump_m3_s", lambda x: steady_vacuum_pa(0, x, 100_000), 100, 101),
        ("pump_m3_s", lambda x: pump_free_air_m3_s(x, 0, 100_000), 1e-6, 0),
        ("pump_m3_s", lambda x: pump_free_air_m3_s(x, 0, 100_000), 100, 101),
        ("system_m3", lambda x: vented_pressure_pa(x, 0, 0, 100_000), 1e-6, 0),
        ("system_m3", lambda x: vented_pressure_pa(x, 0, 0, 100_000), 1e4, 10_001),
        ("system_pa", lambda x: vented_pressure_pa(1, x, 0, 100_000), 0, -1),
        ("system_pa", lambda x: vented_pressure_pa(1, x, 0, 100_000), 100_000, 100_001),
        ("chamber_m3", lambda x: vented_pressure_pa(1, 0, x, 100_000), 0, -1),
        ("chamber_m3", lambda x: vented_pressure_pa(1, 0, x, 100_000), 100, 101),
        ("vacuum_pa", yield_response_ratio, -INHG_PA, -1.1 * INHG_PA),
        ("vacuum_pa", yield_response_ratio, 32 * INHG_PA, 33 * INHG_PA),
        ("from_vacuum_pa", lambda x: yield_response_ratio(0, x), -INHG_PA, -1.1 * INHG_PA),
        ("from_vacuum_pa", lambda x: yield_response_ratio(0, x), 32 * INHG_PA, 33 * INHG_PA),
        ("per_inhg.low", lambda x: yield_response_ratio(0, 0, Contested(x, 0.1, 0.2)), 0, -0.01),
        ("per_inhg.high", lambda x: yield_response_ratio(0, 0, Contested(0, 0, x)), 0.2, 0.21),
        ("station_pa", require_station, 50_000, 49_999),
        ("station_pa", require_station, 110_000, 110_001),
    ],
)
def test_each_range_ends_where_it_says(argument, call, last_good, first_bad):
    call(last_good)
    with pytest.raises(InvalidArgument) as refusal:
        call(first_bad)
    assert refusal.value.argument == argument
