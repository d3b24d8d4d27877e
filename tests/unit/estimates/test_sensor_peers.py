from math import sin, tau
from random import Random

import pytest

from shared.estimates.sensor_health import SensorHealth
from shared.estimates.sensor_peers import can_drift, drift
from shared.units import INHG_PA
from tests.fakes.night import KNOLL
from tests.fakes.sick_sensors import MORE, farm_night

LIMIT_PA = 1.25 * INHG_PA
GAUGES = ("pump-vacuum", "ledge-far", "brook-far", "spare")
FARM = farm_night(
    KNOLL + '[[sensor]]\nid = "spare"\nquantity = "vacuum"\nunit = "inHg"\nline = "brook"\n'
).farm


def drifted(hours, sensor="ledge-far", **losses):
    """The drift of one of four gauges (inHg), whose loss by the hour of running is given."""
    dice, healths = Random(3), {}
    for gauge in GAUGES:
        loss = losses.get(gauge.replace("-", "_"), lambda _hour: 0.0)
        means = [(100 + h, (25.0 - loss(h) + dice.gauss(0.0, 0.03)) * INHG_PA, True) for h in range(hours)]
        healths[gauge] = SensorHealth(hours=means)
    return drift(healths, FARM, FARM.sensor_by_id[sensor], LIMIT_PA) / INHG_PA


@pytest.mark.parametrize("per_hour", [0.05, 0.15, 0.3, -0.15])
def test_a_slow_slide_is_measured(per_hour):
    slid = drifted(40, ledge_far=lambda hour: per_hour * max(0, hour - 5))
    assert slid == pytest.approx(per_hour * 34, abs=0.5)


@pytest.mark.parametrize(
    "losses",
    [
        {},
        {"ledge_far": lambda hour: 3.0 if hour > 20 else 0.0},  # a leak
        {"ledge_far": lambda hour: 3.0 if 20 < hour < 30 else 0.0},  # mended
        {"ledge_far": lambda hour: 0.4 * sin(tau * hour / 24)},  # the day's flow of sap
        {name.replace("-", "_"): lambda hour: 0.15 * hour for name in GAUGES},  # the pump wears
        {name: lambda hour: 0.15 * hour for name in ("ledge_far", "brook_far")},  # two alike: no gauge's own
    ],
)
def test_what_is_no_drift_stays_below_the_limit(losses):
    assert abs(drifted(40, **losses)) < 1.0


def test_a_gauge_is_not_accused_of_what_another_one_does():
    assert abs(drifted(40, "brook-far", ledge_far=lambda hour: 0.15 * hour)) < 1.0


def test_a_new_gauge_is_not_judged():
    assert drifted(3, ledge_far=lambda hour: 0.3 * hour) == 0.0


def test_two_gauges_cannot_tell_which_of_them_drifts():
    text = KNOLL.replace(
        'id = "brook-far"\nquantity = "vacuum"', 'id = "brook-far"\nquantity = "pan_temperature"'
    )
    farm = farm_night(text.replace('unit = "inHg"\nline = "brook"', 'unit = "degF"\nline = "brook"')).farm
    assert not can_drift(farm, farm.sensor_by_id["ledge-far"])


def test_thermometers_of_the_air_may_differ_by_sun_and_shade():
    farm = farm_night(
        KNOLL + MORE + '[[sensor]]\nid = "air-2"\nquantity = "air_temperature"\nunit = "degF"\n'
    ).farm
    air = SensorHealth(hours=[(hour, 4.0, True) for hour in range(48)])

    def second(shift):
        other = SensorHealth(hours=[(hour, 4.0 + shift(hour), True) for hour in range(48)])
        return drift({"air": air, "air-2": other}, farm, farm.sensor_by_id["air-2"], 2.8)

    assert second(lambda hour: 9.0 if 8 < hour % 24 < 16 else 0.2) == pytest.approx(-0.2)
    assert second(lambda _hour: -3.5) == pytest.approx(3.5)
    assert not can_drift(farm, farm.sensor_by_id["air"])
