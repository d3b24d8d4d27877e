"""Air through a hole, and the leak that a rising pressure tells of once the pump is valved off.

While the line stays below 0.528 of the outside pressure (above 14.1 inHg at sea level) a hole is choked:
its flow does not depend on the vacuum, so a pure leak raises the pressure along a straight line.
"""

from collections.abc import Iterable
from math import pi, sqrt

from shared.physics.air import absolute_pressure_pa, require_station
from shared.physics.bounds import require_within
from shared.physics.contested import Contested

ABSOLUTE_ZERO_C = -273.15
DISCHARGE_RATIO = Contested(0.6, 0.61, 1.0)
"""Sharp-edged hole 0.61; a choked one passes up to 0.84, a rounded nozzle 1. From memory."""

_GAMMA = 1.4
_AIR_J_KG_K = 287.05
"""Dry air. Source: US Standard Atmosphere 1976, R*/M."""
_GAS_J_MOL_K = 8.314472
"""Source: 40 CFR 1065.1005, the value its worked examples use."""
CHOKED_RATIO = (2.0 / (_GAMMA + 1.0)) ** (_GAMMA / (_GAMMA - 1.0))
"""0.52828: line pressure over outside pressure below which a hole is choked. Source: isentropic flow."""
_MOST_RISE_PA_S = 1e5
"""The whole atmosphere in a second: a burst line, no leak test."""
_LEAST_DRIVE_PA = 100.0
"""Below a millibar of vacuum no hole can be told from its flow."""


def hole_free_air_m3_s(
    diameter_m: float,
    station_pa: float,
    vacuum_pa: float,
    *,
    air_temperature_c: float = 20.0,
    discharge_ratio: float = DISCHARGE_RATIO.usual,
) -> float:
    """Outside air drawn through a round hole, as volume at outside pressure and temperature.

    Source: isentropic nozzle flow, choked or not; discharge ratio see `DISCHARGE_RATIO`.

    >>> round(hole_free_air_m3_s(0.0254 / 16, 101_325.0, 85_000.0) / (0.3048**3 / 60), 3)
    0.508
    """
    require_within("diameter_m", diameter_m, 0.0, 0.1)
    speed_m_s = _orifice_speed_m_s(station_pa, vacuum_pa, air_temperature_c, discharge_ratio)
    return pi / 4.0 * diameter_m**2 * speed_m_s


def hole_diameter_m(
    free_air_m3_s: float,
    station_pa: float,
    vacuum_pa: float,
    *,
    air_temperature_c: float = 20.0,
    discharge_ratio: float = DISCHARGE_RATIO.usual,
) -> float:
    """The one round hole that would leak as much: the inverse of `hole_free_air_m3_s`.

    >>> round(hole_diameter_m(0.000959, 101_325.0, 85_000.0) / 0.0254, 3)
    0.125
    """
    require_within("free_air_m3_s", free_air_m3_s, 0.0, 2.0)
    require_station(station_pa)
    require_within("vacuum_pa", vacuum_pa, _LEAST_DRIVE_PA, station_pa)
    speed_m_s = _orifice_speed_m_s(station_pa, vacuum_pa, air_temperature_c, discharge_ratio)
    return sqrt(4.0 * free_air_m3_s / (pi * speed_m_s))


def _orifice_speed_m_s(
    station_pa: float, vacuum_pa: float, air_temperature_c: float, discharge_ratio: float
) -> float:
    """Free-air volume flow through a unit of hole area."""
    require_station(station_pa)
    require_within("vacuum_pa", vacuum_pa, 0.0, station_pa)
    require_within("air_temperature_c", air_temperature_c, -60.0, 60.0)
    require_within("discharge_ratio", discharge_ratio, 0.1, 1.0)
    # Past choking the flow depends on the outside alone, so the line counts as no lower than critical.
    ratio = max(absolute_pressure_pa(station_pa, vacuum_pa) / station_pa, CHOKED_RATIO)
    expansion = ratio ** (2.0 / _GAMMA) - ratio ** ((_GAMMA + 1.0) / _GAMMA)
    air_k = air_temperature_c - ABSOLUTE_ZERO_C
    return discharge_ratio * sqrt(2.0 * _GAMMA / (_GAMMA - 1.0) * _AIR_J_KG_K * air_k * expansion)


def tubing_gas_volume_m3(
    runs_m: Iterable[tuple[float, float]], headspace_m3: float = 0.0, liquid_fraction: float = 0.0
) -> float:
    """Gas space of tubing given as (length, bore) in m, with the headspace of releaser and traps.

    Sap in the line takes gas space away, so at `liquid_fraction` 0 this is the most it can be, and so is
    any leak computed with it. The bores of plastic pipe vary by maker: measure them.

    Source: cylinder volume.

    >>> round(tubing_gas_volume_m3([(30.48, 0.0254 * 5 / 16)]) / 0.3048**3, 4)
    0.0533
    """
    require_within("headspace_m3", headspace_m3, 0.0, 1e3)
    require_within("liquid_fraction", liquid_fraction, 0.0, 0.99)
    tubing_m3 = 0.0
    for length_m, bore_m in runs_m:
        require_within("length_m", length_m, 0.0, 1e6)
        require_within("bore_m", bore_m, 0.0, 0.3)
        tubing_m3 += pi / 4.0 * bore_m**2 * length_m
    return tubing_m3 * (1.0 - liquid_fraction) + headspace_m3


def leak_free_air_m3_s(volume_m3: float, rise_pa_s: float, station_pa: float) -> float:
    """Free air leaking into a closed volume whose pressure rises at that rate, temperature constant.

    Source: ideal gas, Q = V (dP/dt) / P_atm.

    >>> leak_free_air_m3_s(2.0, 50.0, 100_000.0)
    0.001
    """
    require_within("volume_m3", volume_m3, 0.0, 1e4)
    require_within("rise_pa_s", rise_pa_s, -_MOST_RISE_PA_S, _MOST_RISE_PA_S)
    require_station(station_pa)
    return volume_m3 * rise_pa_s / station_pa


def leak_mol_s(
    volume_m3: float,
    start_pa: float,
    end_pa: float,
    duration_s: float,
    *,
    start_temperature_c: float,
    end_temperature_c: float,
) -> float:
    """Leak rate of a vacuum-decay test whose gas may change temperature, absolute pressures.

    Source: 40 CFR 1065.644, equation 1065.644-1.

    >>> round(leak_mol_s(0.002, 25_300, 50_600, 70, start_temperature_c=20, end_temperature_c=20) * 1e4, 4)
    2.9657
    """
    require_within("volume_m3", volume_m3, 0.0, 1e4)
    require_within("start_pa", start_pa, 0.0, 2e5)
    require_within("end_pa", end_pa, 0.0, 2e5)
    require_within("duration_s", duration_s, 1e-3, 1e6)
    require_within("start_temperature_c", start_temperature_c, -100.0, 200.0)
    require_within("end_temperature_c", end_temperature_c, -100.0, 200.0)
    start_pa_k = start_pa / (start_temperature_c - ABSOLUTE_ZERO_C)
    end_pa_k = end_pa / (end_temperature_c - ABSOLUTE_ZERO_C)
    return volume_m3 / _GAS_J_MOL_K * (end_pa_k - start_pa_k) / duration_s
