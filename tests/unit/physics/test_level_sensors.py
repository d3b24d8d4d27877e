"""Level sensors beside NAMUR NE 43, CoolProp's air and hydrostatics; tables are in tests/checks/tanks.py."""

from math import inf, nan

import pytest
from CoolProp.CoolProp import PropsSI

from shared.errors import InvalidArgument
from shared.physics.level_sensors import (
    BLANKING_M,
    LevelFault,
    corrected_distance_m,
    echo_distance_m,
    hydrostatic_level_m,
    loop_value_si,
    sound_speed_m_s,
    ultrasonic_level_m,
)
from shared.physics.tanks import LEVEL_TOLERANCE_M


@pytest.mark.parametrize(
    ("milliamperes", "expected"),
    [
        (-1000.0, LevelFault.LOOP_LOW),
        (0.0, LevelFault.LOOP_LOW),
        (3.6, LevelFault.LOOP_LOW),
        (3.61, LevelFault.LOOP_UNSURE),
        (3.79, LevelFault.LOOP_UNSURE),
        (3.8, -0.375),
        (4.0, 0.0),
        (12.0, 15.0),
        (20.0, 30.0),
        (20.5, 30.9375),
        (20.51, LevelFault.LOOP_UNSURE),
        (20.99, LevelFault.LOOP_UNSURE),
        (21.0, LevelFault.LOOP_HIGH),
        (1000.0, LevelFault.LOOP_HIGH),
    ],
)
def test_a_loop_is_measurement_or_fault_as_ne_43_says(milliamperes, expected):
    value = loop_value_si(milliamperes / 1000.0, 0.0, 30.0)
    if isinstance(expected, LevelFault):
        assert value is expected
    else:
        assert value == pytest.approx(expected, abs=1e-9)


def test_a_span_may_run_downwards_and_start_anywhere():
    assert loop_value_si(0.008, 100.0, -100.0) == pytest.approx(50.0)


@pytest.mark.parametrize(("brix", "kpa"), [(2.0, 9.8651), (8.0, 10.0999)])
def test_a_metre_of_sap_weighs_more_than_a_metre_of_water(brix, kpa):
    assert hydrostatic_level_m(kpa * 1000.0, brix, 20.0) == pytest.approx(1.0, abs=2e-5)


def test_an_unnamed_liquid_is_cold_sap():
    assert hydrostatic_level_m(10_000.0) == hydrostatic_level_m(10_000.0, 2.0, 4.0)


def test_a_sensor_above_the_floor_adds_its_height():
    assert hydrostatic_level_m(0.0, sensor_height_m=0.1) == 0.1
    assert hydrostatic_level_m(9884.3, sensor_height_m=-0.5) == pytest.approx(0.5, abs=1e-4)


def test_a_little_below_the_floor_is_drift_and_more_is_a_fault():
    assert hydrostatic_level_m(0.0, sensor_height_m=-LEVEL_TOLERANCE_M) == -LEVEL_TOLERANCE_M
    assert hydrostatic_level_m(0.0, sensor_height_m=-LEVEL_TOLERANCE_M - 1e-6) is LevelFault.BELOW_EMPTY
    assert hydrostatic_level_m(-1000.0) is LevelFault.BELOW_EMPTY


@pytest.mark.parametrize("temperature_c", [-40.0, -10.0, 0.0, 10.0, 20.0, 40.0])
def test_sound_is_as_fast_as_in_coolprops_air(temperature_c):
    theirs = PropsSI("A", "T", temperature_c + 273.15, "P", 101325, "Air")
    assert sound_speed_m_s(temperature_c) == pytest.approx(theirs, abs=0.2)


def test_a_sensor_set_to_a_warm_room_reads_too_far_in_the_cold():
    assert corrected_distance_m(2.091, 20.0, -5.0) == pytest.approx(2.0, abs=0.0005)
    assert corrected_distance_m(2.0, 20.0, 20.0) == 2.0
    assert corrected_distance_m(50.0, 20.0, 20.0) == 50.0


def test_an_echo_goes_there_and_back():
    assert echo_distance_m(0.010, 20.0) == pytest.approx(1.71607, abs=1e-5)
    assert echo_distance_m(0.0, 20.0) == 0.0
    assert echo_distance_m(1.0, 20.0) == pytest.approx(171.607, abs=1e-3)


@pytest.mark.parametrize(
    ("distance_m", "expected"),
    [
        (0.0, LevelFault.TOO_CLOSE),
        (BLANKING_M - 1e-6, LevelFault.TOO_CLOSE),
        (BLANKING_M, 2.0 - BLANKING_M),
        (1.5, 0.5),
        (2.0 + LEVEL_TOLERANCE_M - 1e-9, -LEVEL_TOLERANCE_M),
        (2.0 + LEVEL_TOLERANCE_M + 1e-6, LevelFault.BELOW_EMPTY),
        (150.0, LevelFault.BELOW_EMPTY),
    ],
)
def test_a_surface_is_seen_between_the_blanking_zone_and_the_floor(distance_m, expected):
    level_m = ultrasonic_level_m(distance_m, 2.0)
    if isinstance(expected, LevelFault):
        assert level_m is expected
    else:
        assert level_m == pytest.approx(expected, abs=1e-8)


def test_the_blanking_zone_is_the_sensors_own():
    assert ultrasonic_level_m(0.25, 2.0, blanking_m=0.3) is LevelFault.TOO_CLOSE
    assert ultrasonic_level_m(0.25, 2.0, blanking_m=0.0) == 1.75
    assert ultrasonic_level_m(LEVEL_TOLERANCE_M, 0.0, blanking_m=0.0) == -LEVEL_TOLERANCE_M


@pytest.mark.parametrize("wrong", [nan, inf, -inf, 1e12, -1e12])
@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda x: loop_value_si(x, 0.0, 1.0), "current_a"),
        (lambda x: loop_value_si(0.012, x, 1.0), "at_4_ma_si"),
        (lambda x: loop_value_si(0.012, 0.0, x), "at_20_ma_si"),
        (hydrostatic_level_m, "pressure_pa"),
        (lambda x: hydrostatic_level_m(1e4, brix=x), "brix"),
        (lambda x: hydrostatic_level_m(1e4, temperature_c=x), "temperature_c"),
        (lambda x: hydrostatic_level_m(1e4, sensor_height_m=x), "sensor_height_m"),
        (sound_speed_m_s, "air_temperature_c"),
        (lambda x: echo_distance_m(x, 0.0), "echo_s"),
        (lambda x: echo_distance_m(0.01, x), "air_temperature_c"),
        (lambda x: corrected_distance_m(x, 0.0, 0.0), "shown_m"),
        (lambda x: corrected_distance_m(1.0, x, 0.0), "air_temperature_c"),
        (lambda x: corrected_distance_m(1.0, 0.0, x), "air_temperature_c"),
        (lambda x: ultrasonic_level_m(x, 2.0), "distance_m"),
        (lambda x: ultrasonic_level_m(1.0, x), "sensor_height_m"),
        (lambda x: ultrasonic_level_m(1.0, 2.0, x), "blanking_m"),
    ],
)
def test_what_no_sensor_can_send_is_refused_by_name(call, argument, wrong):
    with pytest.raises(InvalidArgument) as refused:
        call(wrong)
    assert refused.value.argument == argument


@pytest.mark.parametrize(
    ("call", "lowest", "highest", "step"),
    [
        (lambda x: loop_value_si(x, 0.0, 1.0), -1.0, 1.0, 1e-6),
        (lambda x: loop_value_si(0.012, x, 1.0), -1e9, 1e9, 1.0),
        (lambda x: loop_value_si(0.012, 0.0, x), -1e9, 1e9, 1.0),
        (hydrostatic_level_m, -1e6, 1e6, 1.0),
        (lambda x: hydrostatic_level_m(1e4, sensor_height_m=x), -50.0, 50.0, 0.01),
        (sound_speed_m_s, -60.0, 60.0, 0.01),
        (lambda x: echo_distance_m(x, 0.0), 0.0, 1.0, 0.01),
        (lambda x: corrected_distance_m(x, 0.0, 0.0), 0.0, 50.0, 0.01),
        (lambda x: ultrasonic_level_m(x, 2.0), 0.0, 200.0, 0.01),
        (lambda x: ultrasonic_level_m(1.0, x), BLANKING_M, 50.0, 0.01),
        (lambda x: ultrasonic_level_m(1.0, 50.0, x), 0.0, 50.0, 0.01),
    ],
)
def test_each_range_ends_where_it_says(call, lowest, highest, step):
    call(lowest)
    call(highest)
    for outside in (lowest - step, highest + step):
        with pytest.raises(InvalidArgument):
            call(outside)
