"""What a level sensor says, as a level; where it cannot know, a named fault and never a number.

A fault is an answer here, not an error: ice on a face or a chewed wire is part of a night. Numbers that no
sensor can send, such as NaN, are refused.
"""

from enum import StrEnum
from math import sqrt

from shared.physics.air import GRAVITY_M_S2
from shared.physics.bounds import require_within
from shared.physics.sap import sucrose_density_kg_m3
from shared.physics.tanks import LEVEL_TOLERANCE_M

BLANKING_M = 0.25
"""An ultrasonic sensor hears nothing nearer than 0.2 to 0.3 m (from memory; the data sheet has it)."""

_ICE_POINT_C = 273.15
_SOUND_AT_0_C_M_S = 331.3
"""Dry air, as an ideal gas. Source: CRC Handbook of Chemistry and Physics."""
_LIVE_ZERO_A = 0.004
_SPAN_A = 0.016
_FAULT_BELOW_A, _SURE_FROM_A = 0.0036, 0.0038
_SURE_TO_A, _FAULT_FROM_A = 0.0205, 0.021
"""Source: NAMUR NE 43."""
_WIDEST_SPAN_SI = 1e9
_MOST_PRESSURE_PA = 1e6
_HIGHEST_M = 50.0
_FARTHEST_M = 200.0
"""Past these a number is no reading of any instrument on a farm (common practice, no source)."""


class LevelFault(StrEnum):
    """Why there is no level."""

    LOOP_LOW = "loop current too low: broken wire, no supply or a fault the transmitter signals"
    LOOP_HIGH = "loop current too high: short circuit or a fault the transmitter signals"
    LOOP_UNSURE = "loop current between measurement and fault"
    BELOW_EMPTY = "below the tank's floor: zero drift, an open vent or a loose sensor"
    TOO_CLOSE = "echo inside the blanking zone: foam, ice on the face, or a tank filled to the sensor"


def loop_value_si(current_a: float, at_4_ma_si: float, at_20_ma_si: float) -> float | LevelFault:
    """What a 4-20 mA transmitter measures, in the unit of the two ends of its span; either end may be larger.

    From 3.8 to 20.5 mA is measurement; the value may so lie a little outside the span.

    Source: NAMUR NE 43; 12 mA of 0 to 30 inHg is 15.

    >>> loop_value_si(0.012, 0.0, 30.0)
    15.0
    >>> loop_value_si(0.0035, 0.0, 30.0).name
    'LOOP_LOW'
    """
    require_within("current_a", current_a, -1.0, 1.0)
    require_within("at_4_ma_si", at_4_ma_si, -_WIDEST_SPAN_SI, _WIDEST_SPAN_SI)
    require_within("at_20_ma_si", at_20_ma_si, -_WIDEST_SPAN_SI, _WIDEST_SPAN_SI)
    if current_a <= _FAULT_BELOW_A:
        return LevelFault.LOOP_LOW
    if current_a >= _FAULT_FROM_A:
        return LevelFault.LOOP_HIGH
    if not _SURE_FROM_A <= current_a <= _SURE_TO_A:
        return LevelFault.LOOP_UNSURE
    return at_4_ma_si + (at_20_ma_si - at_4_ma_si) * (current_a - _LIVE_ZERO_A) / _SPAN_A


def hydrostatic_level_m(
    pressure_pa: float, brix: float = 2.0, temperature_c: float = 4.0, sensor_height_m: float = 0.0
) -> float | LevelFault:
    """Level above the tank's floor from gauge pressure at a sensor mounted some way above that floor.

    In a closed tank under vacuum the pressure is the difference between sensor and headspace. A frozen vent
    tube makes the barometer look like level, 0.1 m for each kPa, which no formula can see.

    Source: hydrostatics with ICUMSA density; 1 m of 2 °Bx sap at 20 °C is 9.8651 kPa.

    >>> round(hydrostatic_level_m(9865.1, temperature_c=20.0), 4)
    1.0
    """
    require_within("pressure_pa", pressure_pa, -_MOST_PRESSURE_PA, _MOST_PRESSURE_PA)
    require_within("sensor_height_m", sensor_height_m, -_HIGHEST_M, _HIGHEST_M)
    density_kg_m3 = sucrose_density_kg_m3(brix, temperature_c)
    level_m = pressure_pa / (density_kg_m3 * GRAVITY_M_S2) + sensor_height_m
    return level_m if level_m >= -LEVEL_TOLERANCE_M else LevelFault.BELOW_EMPTY


def sound_speed_m_s(air_temperature_c: float) -> float:
    """Speed of sound in dry air, -60 to 60 °C.

    Source: ideal gas from 331.3 m/s at 0 °C; CoolProp's air is 0.14 m/s faster throughout.

    >>> round(sound_speed_m_s(20.0), 2)
    343.21
    """
    require_within("air_temperature_c", air_temperature_c, -60.0, 60.0)
    return _SOUND_AT_0_C_M_S * sqrt(1.0 + air_temperature_c / _ICE_POINT_C)


def echo_distance_m(echo_s: float, air_temperature_c: float) -> float:
    """Distance to the surface from the time the echo took, there and back.

    >>> round(echo_distance_m(0.010, 0.0), 4)
    1.6565
    """
    require_within("echo_s", echo_s, 0.0, 1.0)
    return sound_speed_m_s(air_temperature_c) * echo_s / 2.0


def corrected_distance_m(shown_m: float, assumed_temperature_c: float, air_temperature_c: float) -> float:
    """True distance where a sensor reckons with a fixed air temperature.

    Source: distance goes with the speed of sound, 0.18 % per °C.

    >>> round(corrected_distance_m(2.091, 20.0, -5.0), 3)
    2.0
    """
    require_within("shown_m", shown_m, 0.0, _HIGHEST_M)
    return shown_m * sound_speed_m_s(air_temperature_c) / sound_speed_m_s(assumed_temperature_c)


def ultrasonic_level_m(
    distance_m: float, sensor_height_m: float, blanking_m: float = BLANKING_M
) -> float | LevelFault:
    """Level under a sensor that hangs some way above the tank's floor and looks down.

    >>> ultrasonic_level_m(1.0, 2.5)
    1.5
    """
    require_within("blanking_m", blanking_m, 0.0, _HIGHEST_M)
    require_within("sensor_height_m", sensor_height_m, blanking_m, _HIGHEST_M)
    require_within("distance_m", distance_m, 0.0, _FARTHEST_M)
    if distance_m < blanking_m:
        return LevelFault.TOO_CLOSE
    level_m = sensor_height_m - distance_m
    return level_m if level_m >= -LEVEL_TOLERANCE_M else LevelFault.BELOW_EMPTY
