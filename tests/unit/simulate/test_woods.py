import pytest

from collector.simulate.moment import Moment
from collector.simulate.woods import (
    Hole,
    Pump,
    advance_woods,
    choke_ratio,
    choked_air_m3_s,
    lay_lines,
    node_at,
)
from shared.farm_file import parse_farm
from shared.physics.air import pump_down_s, steady_vacuum_pa
from shared.units import CFM_M3_S, FOOT_M, INCH_M, INHG_PA
from tests.fakes.seasons import farm

STATION_PA = 28.4 * INHG_PA


def one_line(bore_in: float, length_ft: float, taps: int = 0):
    return parse_farm(
        f"""
        [farm]
        id = "test"
        name = "Test"
        timezone = "America/New_York"
        elevation_ft = 1450
        [[line]]
        id = "main"
        kind = "mainline"
        length_ft = {length_ft}
        bore_in = {bore_in}
        taps = {taps}
        """
    )


def laid(farm_, places=None, tap_air_cfm=0.0):
    woods = lay_lines(farm_, places or {}, tap_air_m3_s=tap_air_cfm * CFM_M3_S, station_pa=STATION_PA)
    woods.tight_air_m3_s[0] = 0.0
    return woods


def settle(woods, pump, hours=1.0, shut=frozenset(), frozen=frozenset(), station_pa=STATION_PA):
    moment = Moment(0.0, 10.0, 2.0, station_pa, 5.0, 12.0, ())
    for _ in range(int(hours * 360)):
        advance_woods(woods, moment, pump, shut=set(shut), frozen=set(frozen))
    return [(station_pa - pressure) / INHG_PA for pressure in woods.pressure_pa]


@pytest.mark.parametrize(("leak_cfm", "speed_cfm"), [(5.0, 40.0), (2.0, 60.0), (12.0, 30.0)])
def test_the_pump_holds_the_vacuum_of_the_published_balance(leak_cfm, speed_cfm):
    """P = q P_atm / S: 5 CFM of free air on a 40 CFM pump leaves 26.18 inHg at 29.92 (continuity)."""
    station_pa = 29.92 * INHG_PA
    woods = laid(one_line(3.0, 100, taps=100), tap_air_cfm=leak_cfm / 100)
    vacuum_inhg = settle(woods, Pump(speed_cfm * CFM_M3_S, 0.0), station_pa=station_pa)[0]
    expected_pa = steady_vacuum_pa(leak_cfm * CFM_M3_S, speed_cfm * CFM_M3_S, station_pa)
    assert vacuum_inhg == pytest.approx(expected_pa / INHG_PA, abs=0.01)
    if leak_cfm == 5.0:
        assert vacuum_inhg == pytest.approx(26.18, abs=0.02)


def test_an_eighth_inch_hole_takes_two_cfm():
    """2.033 CFM at sea level and 20 °C with a discharge ratio of 0.61 (isentropic nozzle)."""
    assert choked_air_m3_s(INCH_M / 8, 101_325.0, 20.0) / CFM_M3_S == pytest.approx(2.033, rel=0.01)


@pytest.mark.parametrize(
    ("ratio", "area_ratio"), [(0.5283, 1.0), (0.7840, 1.1882), (0.8956, 1.5901), (0.9725, 2.9635)]
)
def test_a_hole_passes_less_once_its_line_has_filled(ratio, area_ratio):
    """NACA Report 1135, table of subsonic flow at Mach 1, 0.6, 0.4 and 0.2: flow against choked is A*/A."""
    assert choke_ratio(ratio) == pytest.approx(1 / area_ratio, abs=0.0005)
    assert choke_ratio(0.1) == 1.0
    assert choke_ratio(1.0) == 0.0


def test_an_inch_line_of_a_thousand_feet_passes_about_eight_cfm():
    """Behind a 60-CFM pump, enough for 800 taps (Ohio State University Extension): one still taps at what is
    left at its end, and not at what twice the air would leave."""
    woods = laid(one_line(1.049, 1000), {"main": {1000 * FOOT_M}})
    pump = Pump(60.0 * CFM_M3_S, 0.0)
    woods.holes = [Hole(woods.nodes["main"][-1], 0.0, 8.0 * CFM_M3_S)]
    vacuum_inhg = settle(woods, pump)
    assert vacuum_inhg[0] == pytest.approx(28.4 * (1 - 8 / 60), abs=0.05)
    assert 12.0 < vacuum_inhg[-1] < 18.0
    woods.holes[0].choked_m3_s *= 2
    assert settle(woods, pump)[-1] < 8.0


def test_a_torn_line_settles_without_ringing():
    woods = laid(farm(), tap_air_cfm=0.002)
    pump = Pump(80 * CFM_M3_S, 1.2 * INHG_PA)
    settle(woods, pump)
    woods.holes = [Hole(node_at(woods, "ledge", None), INCH_M, choked_air_m3_s(INCH_M, STATION_PA, 2.0))]
    settle(woods, pump, hours=0.5)
    before = settle(woods, pump, hours=0.01)
    after = settle(woods, pump, hours=0.01)
    assert after == pytest.approx(before, abs=0.001)


def test_a_leak_is_deepest_on_its_own_line_and_nearest_its_place():
    woods = laid(farm(), {"ledge": {40 * FOOT_M, 1050 * FOOT_M}}, tap_air_cfm=0.002)
    pump = Pump(80 * CFM_M3_S, 1.2 * INHG_PA)
    calm = settle(woods, pump)
    torn_at = node_at(woods, "ledge", 1050 * FOOT_M)
    woods.holes = [Hole(torn_at, 0.19 * INCH_M, choked_air_m3_s(0.19 * INCH_M, STATION_PA, 2.0))]
    torn = settle(woods, pump)
    drops = {i: calm[i] - torn[i] for i in range(len(calm))}
    near, far = node_at(woods, "ledge", 40 * FOOT_M), node_at(woods, "ledge", None)
    assert drops[far] > 4.0
    assert 0.5 < drops[near] < 3.0
    for line in ("brook", "north-face", "saddle"):
        assert drops[node_at(woods, line, None)] < drops[near]


def test_a_shut_valve_keeps_the_pump_high_and_loses_its_line():
    woods = laid(farm(), tap_air_cfm=0.002)
    pump = Pump(80 * CFM_M3_S, 1.2 * INHG_PA)
    calm = settle(woods, pump)
    shut = settle(woods, pump, hours=0.5, shut={woods.first_node["ledge"]})
    assert shut[0] > calm[0]
    assert shut[node_at(woods, "ledge", None)] < 3.0
    assert shut[node_at(woods, "saddle", None)] > calm[node_at(woods, "saddle", None)]


def test_a_frozen_line_fades_over_tens_of_minutes():
    """Vacuum dropped to 0 whenever sap froze in the mainlines (Cornell taphole research, 2017), slower than by
    any leak."""
    woods = laid(farm(), tap_air_cfm=0.002)
    pump = Pump(80 * CFM_M3_S, 1.2 * INHG_PA)
    settle(woods, pump)
    ice = {"shut": {woods.first_node["ledge"]}, "frozen": {"ledge", "ledge-top"}}
    far = node_at(woods, "ledge", None)
    assert settle(woods, pump, hours=1 / 6, **ice)[far] > 15.0
    assert settle(woods, pump, hours=2.0, **ice)[far] < 1.0


def test_the_pump_draws_a_tight_system_down_in_the_published_time():
    """t = (V/S) ln(P1/P2), isothermal emptying."""
    woods = laid(one_line(2.5, 1000))
    volume_m3, speed_m3_s = woods.volume_m3, 20.0 * CFM_M3_S
    due_s = pump_down_s(volume_m3, speed_m3_s, STATION_PA, 5.0 * INHG_PA)
    moment = Moment(0.0, 1.0, 2.0, STATION_PA, 5.0, 12.0, ())
    for _ in range(round(due_s)):
        advance_woods(woods, moment, Pump(speed_m3_s, 0.0), shut=set(), frozen=set())
    assert woods.pressure_pa[0] == pytest.approx(5.0 * INHG_PA, rel=0.02)


def test_without_a_pump_the_vacuum_leaks_away():
    woods = laid(farm(), tap_air_cfm=0.002)
    settle(woods, Pump(80 * CFM_M3_S, 1.2 * INHG_PA))
    assert max(settle(woods, Pump(0.0, 0.0), hours=1.0)) < 1.0
