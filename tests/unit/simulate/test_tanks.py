import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.simulate.liquids import Liquid, density_kg_m3, liquid_of
from collector.simulate.tanks import draw, drift_temperature, fill, level_m, oldest_s, vessel
from shared.physics.tanks import capacity_m3, volume_m3
from shared.units import GALLON_M3, HOUR_S
from tests.fakes.seasons import farm

TANKS = farm().tank_by_id


def gathered(v, gallons, hour, brix=2.0):
    sap = liquid_of(gallons * GALLON_M3, brix)
    fill(v, sap, [[sap.kg, hour * HOUR_S]], 4.0)


@pytest.mark.parametrize("tank_id", list(TANKS))
@settings(deadline=None, max_examples=25)
@given(share=st.floats(0.001, 0.999))
def test_the_level_is_that_of_the_volume(tank_id, share):
    v = vessel(TANKS[tank_id])
    fill(v, liquid_of(share * v.capacity_m3, 2.0), [], 4.0)
    assert volume_m3(v.tank.geometry, level_m(v)) == pytest.approx(v.volume_m3, abs=2e-4 * v.capacity_m3)


@settings(deadline=None)
@given(st.lists(st.tuples(st.booleans(), st.floats(0.0, 900.0)), max_size=40))
def test_nothing_is_made_or_lost_by_filling_and_drawing(moves):
    v = vessel(TANKS["lower"])
    poured, taken = Liquid(), Liquid()
    for hour, (filling, gallons) in enumerate(moves):
        if filling:
            sap = liquid_of(gallons * GALLON_M3, 2.0 + 0.1 * hour)
            fill(v, sap, [[sap.kg, hour * HOUR_S]], 4.0)
            poured.water_kg += sap.water_kg
            poured.sugar_kg += sap.sugar_kg
        else:
            out, _ = draw(v, gallons * GALLON_M3)
            taken.water_kg += out.water_kg
            taken.sugar_kg += out.sugar_kg
    for part in ("water_kg", "sugar_kg"):
        rest = sum(getattr(account, part) for account in (v.held, v.spilled, taken))
        assert rest == pytest.approx(getattr(poured, part), abs=1e-6)
    assert v.volume_m3 <= capacity_m3(v.tank.geometry) * 1.000001
    assert sum(kg for kg, _ in v.parcels) == pytest.approx(v.held.kg, abs=1e-6)


def test_the_oldest_sap_leaves_first():
    """300 gal at 8, 300 at 12, 200 at 16 h; 400 drawn at 18 h leave sap 6 h old (mass balance, by hand)."""
    v = vessel(TANKS["lower"])
    for hour, gallons in ((8, 300), (12, 300), (16, 200)):
        gathered(v, gallons, hour)
    draw(v, 400 * GALLON_M3)
    assert oldest_s(v, 18 * HOUR_S) == pytest.approx(6 * HOUR_S)
    weighted = sum(kg * (18 * HOUR_S - at_s) for kg, at_s in v.parcels) / v.held.kg
    assert weighted == pytest.approx(4.0 * HOUR_S, rel=1e-6)


def test_a_tank_at_its_heel_has_no_oldest_sap_and_gives_none():
    v = vessel(TANKS["lower"])
    gathered(v, 20, 0)
    assert oldest_s(v, HOUR_S) is None
    assert draw(v, 1.0) == (Liquid(), [])


def test_what_does_not_fit_is_spilled():
    v = vessel(TANKS["lower"])
    gathered(v, 2000, 0)
    spilled_m3 = v.spilled.kg / density_kg_m3(2.0)
    assert spilled_m3 == pytest.approx(2000 * GALLON_M3 - v.capacity_m3, rel=1e-4)
    assert v.full_fraction == pytest.approx(1.0)


def test_a_tank_follows_the_air_but_stays_at_freezing():
    v = vessel(TANKS["lower"])
    gathered(v, 800, 0)
    drift_temperature(v, 20.0, 6 * HOUR_S)
    assert 5.0 < v.temperature_c < 12.0
    for _ in range(200):
        drift_temperature(v, -15.0, HOUR_S)
    assert v.temperature_c == pytest.approx(-0.11, abs=0.01)
