"""The sugarhouse for the plan, from levels alone: what runs in, what is there, and what is not known."""

from math import inf

import pytest

from shared.estimates.frost import Frost, Turn
from shared.estimates.house_tonight import hold_limit_s, run_ends_s, sugarhouse_tonight
from shared.estimates.picture import new_picture
from shared.farm_file import parse_farm
from shared.readings import Band, Unknown
from shared.units import from_si
from tests.fakes.small_house import NOW, SMALL_HOUSE, lived

UNTOLD = Unknown("no air thermometer in the farm file")


def house(levels, farm=None, found=UNTOLD, hours=2.0):
    farm = farm or parse_farm(SMALL_HOUSE)
    return sugarhouse_tonight(lived(farm, levels, hours), farm, found, NOW)


def tank_of(made, name):
    return next(tank for tank in made.tanks if tank.id == name)


def gal_h(flow_m3_s):
    return from_si(flow_m3_s, "gal/h")


STILL = {"lower": lambda _hour: 500.0, "upper": lambda _hour: 800.0, "concentrate": lambda _hour: 100.0}


def test_levels_become_tanks_with_room_and_sap():
    made = house(STILL)
    lower, upper = tank_of(made, "lower"), tank_of(made, "upper")
    assert from_si(lower.volume_m3, "gal") == pytest.approx(500, abs=3)
    assert from_si(lower.capacity_m3, "gal") == pytest.approx(
        1496, abs=2
    )  # 5 x 5 x 8 ft, 7.4805 gal a cubic foot
    assert (lower.drains_to, upper.drains_to) == ("upper", None)
    assert gal_h(lower.inflow_m3_s.high) < 30
    assert made.ro.tank.id == "concentrate"
    assert made.run_ends_s == inf


def test_a_rising_tank_fills_at_its_rise():
    inflow = tank_of(house(STILL | {"lower": lambda hour: 500 + 142 * hour}), "lower").inflow_m3_s
    assert gal_h(inflow.middle) == pytest.approx(142, rel=0.05)
    assert gal_h(inflow.low) < 142 < gal_h(inflow.high)


def test_during_a_transfer_sap_runs_in_as_it_did_before():
    """Lower rises by 142 gal/h, and from half an hour ago on is pumped into upper at 2,000."""

    def moved(hour):
        return max(0.0, hour + 0.5) * 2000

    made = house(
        STILL
        | {"lower": lambda hour: 1300 + 142 * hour - moved(hour), "upper": lambda hour: 300 + moved(hour)}
    )
    assert gal_h(tank_of(made, "lower").inflow_m3_s.middle) == pytest.approx(142, rel=0.1)
    assert gal_h(tank_of(made, "upper").inflow_m3_s.high) < 30


ALONE = SMALL_HOUSE.replace('drains_to = "upper"\n', "")
"""Lower goes to the RO by itself, and so nothing drains into upper."""


def test_while_the_ro_draws_the_inflow_is_what_it_takes_less_the_fall():
    made = house(STILL | {"upper": lambda hour: 800 - 380 * hour}, parse_farm(ALONE))
    inflow = tank_of(made, "upper").inflow_m3_s
    assert gal_h(inflow.middle) == pytest.approx(120, abs=10)
    assert gal_h(inflow.low) < 30
    assert gal_h(inflow.high) > 215


@pytest.mark.parametrize(("fall_gal_h", "inflow_gal_h"), [(470, 0), (330, 170)])
def test_what_an_ro_takes_more_or_less_is_no_inflow_where_other_tanks_bring_the_sap(fall_gal_h, inflow_gal_h):
    made = house(STILL | {"upper": lambda hour: 800 - fall_gal_h * hour})
    assert gal_h(tank_of(made, "upper").inflow_m3_s.middle) == pytest.approx(inflow_gal_h, abs=10)


def test_a_tank_that_has_been_emptied_all_the_time_does_not_tell_its_inflow():
    made = house(STILL | {"lower": lambda hour: 200 - 300 * hour}, hours=3.2)
    assert made == Unknown("lower is being emptied: how fast sap runs in is not known")


def test_a_tank_that_is_silent_or_has_no_sensor_is_named():
    assert house({name: STILL[name] for name in ("lower", "concentrate")}) == Unknown(
        "upper: its level is not known"
    )
    without = parse_farm(
        SMALL_HOUSE.replace(
            'id = "upper-level"\nquantity = "level"\nunit = "in"\ntank = "upper"',
            'id = "upper-level"\nquantity = "level"\nunit = "in"\ntank = "lower"',
        )
    )
    assert house({"lower": STILL["lower"], "concentrate": STILL["concentrate"]}, without) == Unknown(
        "upper: no level sensor"
    )


def test_a_level_that_has_just_been_heard_gives_no_plan_yet():
    assert house(STILL, hours=0.04) == Unknown("lower: too few level readings yet")


@pytest.mark.parametrize("missing", ["[evaporator]\nwater_gal_h = 90\n", None])
def test_a_farm_without_boil_or_sap_has_no_plan(missing):
    text = (
        SMALL_HOUSE.replace(missing, "")
        if missing
        else SMALL_HOUSE.replace('holds = "sap"', 'holds = "permeate"')
    )
    assert house(STILL, parse_farm(text)) is None


def test_what_stays_in_an_empty_tank_is_no_sap():
    upper = tank_of(house(STILL | {"upper": lambda _hour: 3.0}), "upper")
    assert (upper.volume_m3, upper.parcels) == (0.0, ())
    assert from_si(upper.capacity_m3, "gal") == pytest.approx(1496 - 3, abs=3)


def test_sap_keeps_its_age():
    lower = tank_of(house(STILL, hours=2.0), "lower")
    assert max(age_s for _, age_s in lower.parcels) == pytest.approx(7200, abs=120)


def test_the_evaporator_takes_more_than_it_boils_off():
    """90 gal of water are 751 lb at 1 g/cm3; 12 °Bx becomes 66.9 °Bx syrup, so 915 lb of feed at 1.0484 g/cm3."""
    assert gal_h(house(STILL).evaporator_m3_s) == pytest.approx(104.6, rel=0.01)


def test_without_an_ro_the_evaporator_takes_sap():
    text = SMALL_HOUSE.replace(SMALL_HOUSE[SMALL_HOUSE.index("[ro]") : SMALL_HOUSE.index("[evaporator]")], "")
    made = house(STILL, parse_farm(text))
    assert made.ro is None
    # By the rule of 86 one part in 43 stays as syrup.
    assert gal_h(made.evaporator_m3_s) == pytest.approx(92.1, rel=0.01)


def test_an_ro_without_a_concentrate_tank_goes_at_the_pace_of_the_boil():
    made = house(STILL, parse_farm(SMALL_HOUSE.replace('concentrate_to = "concentrate"\n', "")))
    assert (made.ro.tank.capacity_m3, made.ro.tank.volume_m3) == (0.0, 0.0)


def test_machines_that_cannot_be_give_a_reason_and_no_crash():
    made = house(STILL, parse_farm(SMALL_HOUSE.replace("concentrate_brix = 12", "concentrate_brix = 1")))
    assert isinstance(made, Unknown)
    assert made.reason.startswith("the farm file and the levels do not fit")


def test_the_limit_is_the_first_that_would_wake():
    assert hold_limit_s(parse_farm(SMALL_HOUSE)) == 24 * 3600
    short = SMALL_HOUSE.replace(
        'drains_to = "upper"', 'drains_to = "upper"\nrules.sap_held_too_long.wake_age_h = 18'
    )
    assert hold_limit_s(parse_farm(short)) == 18 * 3600
    off = SMALL_HOUSE + "[rules.sap_held_too_long]\nenabled = false\n"
    assert hold_limit_s(parse_farm(off)) > 300 * 86_400


FREEZES = Turn(10_000.0, 12_000.0, 15_000.0)


@pytest.mark.parametrize(
    ("found", "ends_s"),
    [
        (UNTOLD, inf),
        (Frost(4.0, 0.97, FREEZES, None, Band(-6.0, -4.0, -2.0)), 15_000 + 3600),
        (Frost(4.0, 0.85, FREEZES, None, Band(-6.0, -3.0, 0.5)), inf),
        (Frost(-2.0, 1.0, None, None, Band(-9.0, -7.0, -5.0)), 3600),
        (Frost(-0.1, 1.0, None, None, Band(-1.5, -0.6, -0.1)), inf),
    ],
)
def test_only_a_freeze_that_is_all_but_sure_ends_the_run(found, ends_s):
    assert run_ends_s(found) == ends_s


def test_a_farm_that_has_said_nothing_has_no_plan():
    farm = parse_farm(SMALL_HOUSE)
    assert sugarhouse_tonight(new_picture(farm), farm, UNTOLD, NOW) == Unknown(
        "lower: its level is not known"
    )
