"""A sugarhouse that cannot be is refused by name when it is made."""

from dataclasses import replace
from math import inf, nan

import pytest

from shared.errors import InvalidArgument
from shared.estimates.sugarhouse import ConcentrateTank, Ro, SapTank, Sugarhouse
from shared.readings import Band

STILL = Band(0.0, 0.0, 0.0)
TANK = SapTank("lower", 4.0, 10.0, ((4.0, 0.0),), STILL)
CONCENTRATE = ConcentrateTank("concentrate", 0.2, 1.0, ((0.2, 0.0),))
RO = Ro(5e-4, 2.0, 8.0, CONCENTRATE)
HOUSE = Sugarhouse((TANK,), 1e-4, 86_400.0, RO)


@pytest.mark.parametrize(
    ("whole", "change", "argument"),
    [
        (TANK, {"volume_m3": -0.1}, "volume_m3"),
        (TANK, {"volume_m3": 10.1}, "volume_m3"),
        (TANK, {"volume_m3": nan}, "volume_m3"),
        (TANK, {"capacity_m3": inf}, "capacity_m3"),
        (TANK, {"capacity_m3": -1.0}, "capacity_m3"),
        (TANK, {"parcels": ()}, "parcels"),
        (TANK, {"parcels": ((0.0, 100.0),)}, "parcels"),
        (TANK, {"parcels": ((-1.0, 100.0),)}, "parcels"),
        (TANK, {"parcels": ((1.0, -1.0),)}, "parcels"),
        (TANK, {"parcels": ((1.0, nan),)}, "parcels"),
        (TANK, {"parcels": ((nan, 1.0),)}, "parcels"),
        (TANK, {"inflow_m3_s": Band(-1e-4, 0.0, 0.0)}, "inflow_m3_s"),
        (TANK, {"inflow_m3_s": Band(2e-4, 1e-4, 3e-4)}, "inflow_m3_s"),
        (TANK, {"inflow_m3_s": Band(1e-4, 2e-4, 1.5e-4)}, "inflow_m3_s"),
        (TANK, {"inflow_m3_s": Band(1e-4, nan, 2e-4)}, "inflow_m3_s"),
        (TANK, {"inflow_m3_s": Band(1e-4, 2e-4, inf)}, "inflow_m3_s"),
        (CONCENTRATE, {"volume_m3": 1.1}, "volume_m3"),
        (CONCENTRATE, {"parcels": ()}, "parcels"),
        (RO, {"feed_m3_s": 0.0}, "feed_m3_s"),
        (RO, {"feed_m3_s": 11.0}, "feed_m3_s"),
        (RO, {"feed_brix": 0.0}, "feed_brix"),
        (RO, {"concentrate_brix": 1.0}, "concentrate_brix"),
        (HOUSE, {"evaporator_m3_s": 0.0}, "evaporator_m3_s"),
        (HOUSE, {"evaporator_m3_s": inf}, "evaporator_m3_s"),
        (HOUSE, {"hold_limit_s": 0.0}, "hold_limit_s"),
        (HOUSE, {"hold_limit_s": inf}, "hold_limit_s"),
        (HOUSE, {"run_ends_s": -1.0}, "run_ends_s"),
        (HOUSE, {"run_ends_s": nan}, "run_ends_s"),
        (HOUSE, {"tanks": ()}, "tanks"),
        (HOUSE, {"tanks": (TANK, TANK)}, "tanks"),
        (HOUSE, {"tanks": (replace(TANK, id="concentrate"),)}, "tanks"),
        (HOUSE, {"tanks": (replace(TANK, drains_to="concentrate"),)}, "drains_to"),
        (HOUSE, {"tanks": (replace(TANK, drains_to="nowhere"),)}, "drains_to"),
        (HOUSE, {"tanks": (replace(TANK, drains_to="lower"),)}, "drains_to"),
        (
            HOUSE,
            {"tanks": (replace(TANK, drains_to="upper"), replace(TANK, id="upper", drains_to="lower"))},
            "drains_to",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(whole, change, argument):
    with pytest.raises(InvalidArgument) as refused:
        replace(whole, **change)
    assert refused.value.argument == argument


@pytest.mark.parametrize(
    ("whole", "change", "said"),
    [
        (TANK, {"parcels": ()}, "parcels is (); it must be given for a tank that is not empty"),
        (
            HOUSE,
            {"tanks": (), "ro": None},
            "tanks is []; it must be at least one, each with an id of its own",
        ),
        (
            HOUSE,
            {"tanks": (replace(TANK, drains_to="nowhere"),)},
            "drains_to is 'nowhere'; it must be another sap tank, and never back to the same",
        ),
    ],
)
def test_a_refusal_says_what_is_wrong_and_what_is_needed(whole, change, said):
    with pytest.raises(InvalidArgument) as refused:
        replace(whole, **change)
    assert str(refused.value) == said


def test_a_limit_of_a_second_is_a_limit():
    assert replace(HOUSE, hold_limit_s=1.0).hold_limit_s == 1.0


def test_an_empty_tank_needs_no_parcels_and_a_run_may_never_end():
    assert replace(TANK, volume_m3=0.0, parcels=()).volume_m3 == 0.0
    assert HOUSE.run_ends_s == inf


def test_tanks_may_drain_one_into_another_to_the_machines():
    upper = replace(TANK, id="upper", drains_to="lower")
    far = replace(TANK, id="far", drains_to="upper")
    assert len(replace(HOUSE, tanks=(TANK, upper, far)).tanks) == 3
