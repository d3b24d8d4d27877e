from itertools import pairwise
from random import Random

import pytest

from collector.simulate.fire import Fire, Firing, burn, cool, nominal_heat_w, water_boiled_kg
from collector.simulate.liquids import liquid_of
from collector.simulate.moment import Moment
from shared.physics.fire import ARCH_EFFICIENCY
from shared.physics.sap import SYRUP_BRIX, sucrose_density_kg_m3
from shared.units import BTU_J, GALLON_M3, HOUR_S, POUND_KG, to_si

WATER_M3_S = 90 * GALLON_M3 / HOUR_S
FED = Firing(7 * 60.0, to_si(700, "degF"))


def boil(hours, firing=FED, brix=2.0, fire=None, at_s=0.0):
    """A boil of so many hours: the fire, the stack's course, water and syrup."""
    fire = fire or Fire(nominal_heat_w(WATER_M3_S), stack_c=5.0, pan_c=5.0)
    rng, feed, stack_c, water_kg, heat_j = Random(5), liquid_of(1.0, brix), [], 0.0, 0.0
    moment = Moment(at_s, 10.0, 2.0, 101_325.0, 8.0, 20.0, ())
    for i in range(int(hours * 360)):
        moment.now_s = at_s + 10.0 * i
        heat = burn(fire, firing, moment, rng)
        boiled = water_boiled_kg(fire, heat, feed, 4.44, moment)
        water_kg += boiled
        heat_j += heat if boiled else 0.0
        stack_c.append(fire.stack_c)
    return fire, stack_c, water_kg, heat_j


def test_a_gallon_of_syrup_takes_400_000_btu():
    """Ohio State University Extension, maple fuel notes; 405,300 by heat balance from 2 °Bx at 40 °F."""
    _, _, water_kg, heat_j = boil(6)
    feed_kg = water_kg / (1 - 2.0 / SYRUP_BRIX)
    syrup_gal = feed_kg * 2.0 / SYRUP_BRIX / sucrose_density_kg_m3(SYRUP_BRIX) / GALLON_M3
    assert heat_j / syrup_gal / BTU_J == pytest.approx(400_000, rel=0.04)


def test_a_fire_kept_up_boils_what_the_evaporator_is_rated_for():
    _, _, warm_kg, _ = boil(1)
    _, _, water_kg, _ = boil(5)
    per_hour_gal = (water_kg - warm_kg) / 4 / 1000 / GALLON_M3
    assert per_hour_gal == pytest.approx(90, rel=0.1)


def test_wood_is_what_the_efficiency_says():
    """6,220 Btu/lb at 20 % moisture, half of it into the pans (fuel tables; Ohio State Univ. Extension)."""
    fire, _, _, heat_j = boil(6)
    wood_j = fire.wood_kg / POUND_KG * 6220 * BTU_J
    assert heat_j / wood_j == pytest.approx(ARCH_EFFICIENCY.usual, rel=0.12)  # the pans had to be warmed


def test_each_firing_is_a_dip_and_a_recovery():
    """100 to 300 °F down within a minute of the door opening, back in one to three minutes (from memory)."""
    fire, stack_c, _, _ = boil(3)
    late = [at_s for at_s in fire.firings_s if at_s > HOUR_S]
    assert len(late) == pytest.approx(2 * 60 / 7, abs=2)
    for at_s in late[:-1]:
        i = int(at_s / 10)
        fall_f = (stack_c[i - 1] - min(stack_c[i : i + 6])) * 1.8
        assert 60 < fall_f < 300
        assert max(stack_c[i + 6 : i + 18]) > stack_c[i - 1]


def test_a_fire_nobody_feeds_dies():
    fire, _, _, _ = boil(2)
    _, stack_c, _, _ = boil(0.5, None, fire=fire, at_s=2 * HOUR_S)
    assert stack_c[-1] < to_si(250, "degF")
    assert all(later <= before + 1.0 for before, later in pairwise(stack_c[6:]))


def test_over_fire_passes_the_limit_and_comes_back():
    fire, _, _, _ = boil(2)
    _, hot_c, _, _ = boil(0.2, Firing(7 * 60.0, FED.stack_c, to_si(1250, "degF")), fire=fire, at_s=2 * HOUR_S)
    assert max(hot_c) > to_si(1100, "degF")
    _, after_c, _, _ = boil(0.3, fire=fire, at_s=2.2 * HOUR_S)
    assert after_c[-1] < to_si(800, "degF")


def test_the_pan_boils_at_draw_off_temperature():
    """7.3 to 7.5 °F over boiling water at 66.9 °Bx (from memory), 211.95 °F at sea level (IAPWS-95)."""
    fire = Fire(nominal_heat_w(WATER_M3_S))
    boil(1.0, fire=fire)
    pans_f = []
    for i in range(30):
        boil(0.01, fire=fire, at_s=HOUR_S + 60.0 * i)
        pans_f.append(fire.pan_c * 1.8 + 32)
    assert max(pans_f) == pytest.approx(211.95 + 7.4, abs=0.6)
    assert min(pans_f) > 215.0


def test_a_cold_arch_comes_to_the_sugarhouse_temperature():
    fire, _, _, _ = boil(1)
    moment = Moment(HOUR_S, 10.0, 2.0, 101_325.0, 8.0, 22.0, ())
    for _ in range(6 * 360):
        cool(fire, moment)
    assert fire.stack_c == pytest.approx(8.0, abs=1.0)
    assert fire.pan_c == pytest.approx(8.0, abs=1.5)
