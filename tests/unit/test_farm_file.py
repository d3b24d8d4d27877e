"""The farm file: what is understood, and that each mistake names key, value and fix."""

from pathlib import Path

import pytest

from shared.errors import FarmFileError
from shared.farm_file import parse_farm
from shared.physics.tanks import capacity_m3
from shared.readings import Quantity
from shared.tuning import effective
from shared.units import from_si, to_si

DEMO = Path("sample_streams/juniper-knob.toml").read_text()

MINIMAL = """
[farm]
id = "small"
name = "Small"
timezone = "America/New_York"
elevation_ft = 1000
"""


def test_the_demo_farm_is_the_one_the_design_describes():
    farm = parse_farm(DEMO)
    assert farm.taps == 3200
    assert farm.elevation_m == pytest.approx(1450 * 0.3048)
    volumes_gal = {tank.id: from_si(capacity_m3(tank.geometry), "gal") for tank in farm.tanks}
    assert volumes_gal == pytest.approx(
        {"upper": 2800, "lower": 1600, "concentrate": 400, "permeate": 900}, rel=0.015
    )


def test_a_farm_with_nothing_on_it_is_a_farm():
    assert parse_farm(MINIMAL).sensors == ()


@pytest.mark.parametrize(
    ("written", "instead", "key", "value", "fix"),
    [
        ("bore_in = 2.5", "boree_in = 2.5", 'line "conductor": boree_in', 2.5, "did you mean bore_in"),
        ("bore_in = 2.5", "bore_in = -1", 'line "conductor": bore_in', -1, "greater than 0"),
        ("bore_in = 2.5", "", 'line "conductor": bore_ft', None, "is required"),
        ('id = "brook"', 'id = "ledge"', "farm.toml", "juniper-knob", "line id ledge is used twice"),
        (
            'gateway = "woods-gateway"',
            'gateway = "stack"',
            "farm.toml",
            "juniper-knob",
            "gateway stack is a sensor's id as well",
        ),
        (
            'drains_to = "upper"',
            'drains_to = "uper"',
            "farm.toml",
            "juniper-knob",
            "'uper' is not on this farm",
        ),
        ("diameter_in = 84", "", 'tank "lower"', "lower", "diameter_m is None"),
        ('shape = "box"', 'shape = "cube"', 'tank "concentrate": shape', "cube", "'box' or 'dipstick'"),
        ("height_in = 67", "height_in = 67\nwidth_in = 3", 'tank "lower"', "lower", "has no width_m"),
        ('unit = "inHg"', 'unit = "degF"', 'sensor "pump-vacuum"', "pump-vacuum", "degF does not fit vacuum"),
        ('unit = "inHg"', 'unit = "inches"', 'sensor "pump-vacuum": unit', "inches", "not a unit we know"),
        ("feed_gal_h = 500", 'feed_gal_h = "lots"', "ro", "", "feed_gal_h must be a number, found 'lots'"),
        ("heel_gal = 40", "heel_gal = 40\nheel_l = 9", 'tank "upper"', "upper", "say the same thing"),
        (
            "joins_at_ft = 350",
            "joins_at_ft = 3500",
            "farm.toml",
            "juniper-knob",
            "beyond the end of conductor",
        ),
        ('timezone = "America/New_York"', 'timezone = "Vermont"', "timezone", "Vermont", "no such time zone"),
        ("[ro]", "[ro]\npump = 1", "ro.pump", 1, "unknown key"),
        ("span = [0, 60]", "", 'sensor "permeate-level"', "permeate-level", "needs span and span_unit"),
        ('tank = "lower"', 'tank = "cellar"', "farm.toml", "juniper-knob", "'cellar' is not on this farm"),
        ('line = "pump"', 'line = "pimp"', "farm.toml", "juniper-knob", "'pimp' is not on this farm"),
        (
            'parent = "conductor"\njoins_at_ft = 350',
            'parent = "ledge-top"\njoins_at_ft = 350',
            "farm.toml",
            "juniper-knob",
            "lead back to itself",
        ),
        ("[farm]", "[fram]", "[farm]", None, "add a [farm] table"),
        ("[farm]", "[farm", "farm.toml", "", "not valid TOML"),
    ],
)
def test_a_mistake_names_key_value_and_fix(written, instead, key, value, fix):
    assert written in DEMO
    with pytest.raises(FarmFileError) as raised:
        parse_farm(DEMO.replace(written, instead, 1))
    found = [(mistake.key, mistake.value) for mistake in raised.value.mistakes if fix in mistake.fix]
    assert (key, value) in found


@pytest.mark.parametrize(
    ("rule", "fix"),
    [
        ("vacuum_lost]\ntrip_drop_inhg = 1", "clear_drop must be smaller"),
        ("tank_nearly_full]\ntrip_full_percent = 90", "clear_full must be less"),
        ("tank_nearly_full]\ntrip_time_to_full_h = 3", "clear_time_to_full must be longer"),
        ("sap_held_too_long]\nwake_age_h = 2", "wake_age must be longer"),
    ],
)
def test_a_threshold_the_wrong_way_round_is_refused(rule, fix):
    with pytest.raises(FarmFileError, match=fix):
        parse_farm(f"{MINIMAL}\n[rules.{rule}\n")


def test_all_mistakes_are_told_at_once():
    with pytest.raises(FarmFileError) as raised:
        parse_farm(DEMO.replace('unit = "degF"', 'unit = "warm"'))
    assert len(raised.value.mistakes) > 1


def test_a_key_says_its_unit_and_the_model_holds_si():
    farm = parse_farm(DEMO)
    assert farm.line_by_id["conductor"].bore_m == pytest.approx(0.0635)
    assert farm.ro.feed_m3_s == pytest.approx(500 * 0.003785411784 / 3600)
    assert farm.evaporator.over_fire_c == pytest.approx(537.78, abs=0.01)


def test_a_sensors_own_tuning_leaves_the_farms_where_it_says_nothing():
    farm = parse_farm(
        DEMO.replace('id = "ledge-far"', 'id = "ledge-far"\nrules.vacuum_lost.trip_drop_inhg = 5', 1)
        + "\n[rules.vacuum_lost]\nraise_hold_min = 9\n"
    )
    own = effective(farm.rules, farm.sensor_by_id["ledge-far"].rules, "vacuum_lost")
    assert own.trip_drop_pa == pytest.approx(to_si(5, "inHg"))
    assert own.raise_hold_s == 540
    elsewhere = effective(farm.rules, farm.sensor_by_id["brook-far"].rules, "vacuum_lost")
    assert elsewhere.trip_drop_pa == pytest.approx(to_si(3, "inHg"))


def test_sensors_are_found_by_quantity_and_tank():
    farm = parse_farm(DEMO)
    assert [s.id for s in farm.sensors_of(Quantity.LEVEL, tank="lower")] == ["lower-level"]
    assert farm.topic_of(farm.sensor_by_id["ledge-far"]) == "woods/ledge-far/up"
    assert farm.topic_of(farm.sensor_by_id["air"]) == "lantern/juniper-knob/air"
