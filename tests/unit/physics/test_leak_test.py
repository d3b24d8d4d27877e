from math import inf, nan, pi, sqrt

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument
from shared.physics.leak_test import (
    CHOKED_RATIO,
    DISCHARGE_RATIO,
    hole_diameter_m,
    hole_free_air_m3_s,
    leak_free_air_m3_s,
    leak_mol_s,
    tubing_gas_volume_m3,
)

STATION_PA = 101_325.0


def by_mach_number_m3_s(diameter_m, station_pa, line_pa, air_c, discharge_ratio):
    """The same flow by another road: Mach number, then temperature, density and speed in the throat."""
    mach = min(1.0, sqrt(5 * ((station_pa / line_pa) ** (1 / 3.5) - 1)))
    throat_ratio = 1 + mach**2 / 5
    speed_m_s = mach * sqrt(1.4 * 287.05 * (air_c + 273.15) / throat_ratio)
    return discharge_ratio * pi / 4 * diameter_m**2 * speed_m_s * throat_ratio**-2.5


@pytest.mark.parametrize("share", [0.01, 0.1, 0.3, 0.46, 0.48, 0.6, 0.9])
@pytest.mark.parametrize(("air_c", "discharge_ratio"), [(20.0, 0.61), (-10.0, 1.0)])
def test_hole_flow_agrees_with_the_mach_number_relations(share, air_c, discharge_ratio):
    theirs_m3_s = by_mach_number_m3_s(0.003, STATION_PA, STATION_PA * (1 - share), air_c, discharge_ratio)
    ours_m3_s = hole_free_air_m3_s(
        0.003, STATION_PA, STATION_PA * share, air_temperature_c=air_c, discharge_ratio=discharge_ratio
    )
    assert ours_m3_s == pytest.approx(theirs_m3_s, rel=1e-9)


def test_choking_begins_where_fluids_says():
    assert pytest.approx(fluids.P_critical_flow(1.0, 1.4)) == CHOKED_RATIO


@given(st.floats(0.5283, 0.999), st.floats(50_000, 110_000))
def test_a_choked_hole_does_not_feel_the_vacuum(share, station_pa):
    assert hole_free_air_m3_s(0.002, station_pa, share * station_pa) == pytest.approx(
        hole_free_air_m3_s(0.002, STATION_PA, 0.9 * STATION_PA)
    )


@given(st.floats(0.01, 0.46), st.floats(0.001, 0.01))
def test_below_choking_more_vacuum_draws_more_air(share, more_share):
    less_m3_s = hole_free_air_m3_s(0.002, STATION_PA, share * STATION_PA)
    assert hole_free_air_m3_s(0.002, STATION_PA, (share + more_share) * STATION_PA) > less_m3_s


def test_no_vacuum_draws_no_air():
    assert hole_free_air_m3_s(0.01, STATION_PA, 0.0) == 0.0


@given(st.floats(0, 0.1), st.floats(100, 50_000), st.floats(-60, 60), st.floats(0.1, 1.0))
def test_the_hole_that_would_leak_as_much_is_that_hole(diameter_m, vacuum_pa, air_c, discharge_ratio):
    how = {"air_temperature_c": air_c, "discharge_ratio": discharge_ratio}
    flow_m3_s = hole_free_air_m3_s(diameter_m, STATION_PA, vacuum_pa, **how)
    assert hole_diameter_m(flow_m3_s, STATION_PA, vacuum_pa, **how) == pytest.approx(diameter_m, abs=1e-9)


def test_a_hole_is_sharp_edged_and_the_air_mild_unless_told():
    told_m3_s = hole_free_air_m3_s(
        0.002, STATION_PA, 50_000.0, air_temperature_c=20.0, discharge_ratio=DISCHARGE_RATIO.usual
    )
    assert hole_free_air_m3_s(0.002, STATION_PA, 50_000.0) == told_m3_s
    assert hole_diameter_m(told_m3_s, STATION_PA, 50_000.0) == pytest.approx(0.002)
    assert (DISCHARGE_RATIO.low, DISCHARGE_RATIO.high) == (0.6, 1.0)


def test_gas_volume_is_tubing_without_its_liquid_and_all_of_the_headspace():
    """Cylinders by `fluids.geometry`."""
    tank_m3 = fluids.geometry.TANK(D=0.025, L=100.0).V_total
    assert tubing_gas_volume_m3([(100.0, 0.025)]) == pytest.approx(tank_m3)
    whole_m3 = tubing_gas_volume_m3([(100.0, 0.025), (50.0, 0.025)], 0.1, liquid_fraction=0.2)
    assert whole_m3 == pytest.approx(1.5 * tank_m3 * 0.8 + 0.1)
    assert tubing_gas_volume_m3([]) == 0.0


def test_leak_follows_volume_and_rise():
    assert leak_free_air_m3_s(1.0, 100.0, 100_000.0) == pytest.approx(0.001)
    assert leak_free_air_m3_s(3.0, -100.0, 100_000.0) == pytest.approx(-0.003)


@given(st.floats(-50, 50), st.floats(1, 1e5), st.floats(1, 1e5))
def test_the_molar_leak_is_the_free_air_leak_at_one_temperature(air_c, start_pa, end_pa):
    """Ideal gas with the constant of 40 CFR 1065.1005."""
    mol_s = leak_mol_s(2.0, start_pa, end_pa, 60.0, start_temperature_c=air_c, end_temperature_c=air_c)
    free_air_m3_s = mol_s * 8.314472 * (air_c + 273.15) / 100_000.0
    assert leak_free_air_m3_s(2.0, (end_pa - start_pa) / 60.0, 100_000.0) == pytest.approx(
        free_air_m3_s, abs=1e-9
    )


def test_gas_that_only_warms_does_not_leak():
    """Charles's law: pressure and temperature both 10 % up."""
    mol_s = leak_mol_s(1.0, 30_000, 33_000, 60, start_temperature_c=-23.15, end_temperature_c=1.85)
    assert mol_s == pytest.approx(0.0, abs=1e-12)


RANGES = [
    ("diameter_m", lambda x: hole_free_air_m3_s(x, STATION_PA, 0), 0, -0.001),
    ("diameter_m", lambda x: hole_free_air_m3_s(x, STATION_PA, 0), 0.1, 0.11),
    ("station_pa", lambda x: hole_free_air_m3_s(0.001, x, 0), 50_000, 49_000),
    ("station_pa", lambda x: hole_diameter_m(0, x, 5_000), 50_000, 49_000),
    ("vacuum_pa", lambda x: hole_free_air_m3_s(0.001, STATION_PA, x), 0, -1),
    ("vacuum_pa", lambda x: hole_free_air_m3_s(0.001, STATION_PA, x), STATION_PA, STATION_PA + 1),
    ("air_temperature_c", lambda x: hole_free_air_m3_s(0, STATION_PA, 0, air_temperature_c=x), -60, -61),
    ("air_temperature_c", lambda x: hole_free_air_m3_s(0, STATION_PA, 0, air_temperature_c=x), 60, 61),
    ("discharge_ratio", lambda x: hole_free_air_m3_s(0, STATION_PA, 0, discharge_ratio=x), 0.1, 0.09),
    ("discharge_ratio", lambda x: hole_free_air_m3_s(0, STATION_PA, 0, discharge_ratio=x), 1, 1.01),
    ("free_air_m3_s", lambda x: hole_diameter_m(x, STATION_PA, 50_000), 0, -1e-9),
    ("free_air_m3_s", lambda x: hole_diameter_m(x, STATION_PA, 50_000), 2, 2.1),
    ("vacuum_pa", lambda x: hole_diameter_m(0, STATION_PA, x), 100, 99),
    ("vacuum_pa", lambda x: hole_diameter_m(0, STATION_PA, x), STATION_PA, STATION_PA + 1),
    ("length_m", lambda x: tubing_gas_volume_m3([(x, 0.01)]), 0, -1),
    ("length_m", lambda x: tubing_gas_volume_m3([(x, 0.01)]), 1e6, 1e6 + 1),
    ("bore_m", lambda x: tubing_gas_volume_m3([(1, x)]), 0, -0.01),
    ("bore_m", lambda x: tubing_gas_volume_m3([(1, x)]), 0.3, 0.31),
    ("headspace_m3", lambda x: tubing_gas_volume_m3([], x), 0, -1),
    ("headspace_m3", lambda x: tubing_gas_volume_m3([], x), 1000, 1001),
    ("liquid_fraction", lambda x: tubing_gas_volume_m3([], 0, x), 0, -0.01),
    ("liquid_fraction", lambda x: tubing_gas_volume_m3([], 0, x), 0.99, 1),
    ("volume_m3", lambda x: leak_free_air_m3_s(x, 1, STATION_PA), 0, -1),
    ("volume_m3", lambda x: leak_free_air_m3_s(x, 1, STATION_PA), 1e4, 10_001),
    ("rise_pa_s", lambda x: leak_free_air_m3_s(1, x, STATION_PA), 1e5, 100_001),
    ("rise_pa_s", lambda x: leak_free_air_m3_s(1, x, STATION_PA), -1e5, -100_001),
    ("station_pa", lambda x: leak_free_air_m3_s(1, 1, x), 50_000, 49_000),
    ("volume_m3", lambda x: mol_s(volume_m3=x), 0, -1),
    ("volume_m3", lambda x: mol_s(volume_m3=x), 1e4, 10_001),
    ("start_pa", lambda x: mol_s(start_pa=x), 0, -1),
    ("start_pa", lambda x: mol_s(start_pa=x), 2e5, 200_001),
    ("end_pa", lambda x: mol_s(end_pa=x), 0, -1),
    ("end_pa", lambda x: mol_s(end_pa=x), 2e5, 200_001),
    ("duration_s", lambda x: mol_s(duration_s=x), 1e-3, 0),
    ("duration_s", lambda x: mol_s(duration_s=x), 1e6, 1e6 + 1),
    ("start_temperature_c", lambda x: mol_s(start_temperature_c=x), -100, -101),
    ("start_temperature_c", lambda x: mol_s(start_temperature_c=x), 200, 201),
    ("end_temperature_c", lambda x: mol_s(end_temperature_c=x), -100, -101),
    ("end_temperature_c", lambda x: mol_s(end_temperature_c=x), 200, 201),
]


def mol_s(**changed):
    usual = {
        "volume_m3": 1.0,
        "start_pa": 20_000.0,
        "end_pa": 30_000.0,
        "duration_s": 60.0,
        "start_temperature_c": 5.0,
        "end_temperature_c": 5.0,
    }
    return leak_mol_s(**(usual | changed))


@pytest.mark.parametrize(("argument", "call", "last_good", "first_bad"), RANGES)
def test_each_range_ends_where_it_says(argument, call, last_good, first_bad):
    call(last_good)
    for wrong in (first_bad, nan, inf, -inf):
        with pytest.raises(InvalidArgument) as refusal:
            call(wrong)
        assert refusal.value.argument == argument
