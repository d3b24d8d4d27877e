"""What the air allows: local pressure, the vacuum that can be had under it, and what a pump makes of it.

Vacuum is a positive number below the local air pressure, the *station pressure*: what a barometer on the
farm reads, never the sea-level figure of a weather report. A front that takes an inch of mercury off the
barometer takes an inch off the vacuum with no leak anywhere, so shares of the attainable are watched too.
"""

from enum import StrEnum
from math import log

from shared.physics.bounds import require_within
from shared.physics.contested import Contested
from shared.physics.heat import saturation_pressure_pa
from shared.units import INHG_PA

STANDARD_PRESSURE_PA = 101_325.0
"""Sea level. Source: US Standard Atmosphere 1976."""
GRAVITY_M_S2 = 9.80665
LEAST_STATION_PA = 50_000.0
MOST_STATION_PA = 110_000.0
"""Wider than the air anywhere trees grow: 50 kPa is 5,500 m, 110 kPa is above any barometer on record."""
BAROMETER_RATIO = Contested(0.93, 1.0, 1.045)
"""What weather makes of the standard pressure. At 1,450 ft a sea-level-reduced 30 inHg stands at 1.057: it is
caught there, and missed below about 1,200 ft. Common practice, no source."""
SAP_DENSITY_KG_M3 = 1007.9
"""Sap of 2 °Bx at 4 °C. Source: ICUMSA sucrose density polynomial."""
YIELD_PER_INHG = Contested(0.04, 0.05, 0.07)
"""Sap gained per inch of mercury, as a share of the gravity yield. Source: 5 % in Ohio State and Cornell
extension notes; 4 to 7 % by Centre ACER 2015 at second hand. Contested."""

_SEA_LEVEL_K = 288.15
_LAPSE_K_M = 0.0065
_EARTH_RADIUS_M = 6_356_766.0
_BAROMETRIC_EXPONENT = GRAVITY_M_S2 * 0.0289644 / (8.31432 * _LAPSE_K_M)
"""5.25588. Source: US Standard Atmosphere 1976, equation 33a and table 2."""
_ALTIMETER_K = 288.0
_ALTIMETER_EXPONENT = 0.190284
_ALTIMETER_OFFSET_PA = 30.0
"""The rounded constants an altimeter setting is made with; the offset is for a cabin 10 ft over the runway.
Source: Smithsonian Meteorological Tables, 6th edition, 1951, page 269."""
_GREATEST_VACUUM_PA = 32.0 * INHG_PA
"""Above what any gauge on a farm can truly say, so that a wrong gauge can still be spoken of."""


class Growth(StrEnum):
    """How the gain per inch adds up over many inches."""

    LINEAR = "linear"
    """Each inch gives the same share of the gravity yield. Alone agrees with "two to three times the yield
    of buckets" (UVM Extension)."""
    COMPOUNDING = "compounding"
    """Each inch gives a share of what the inches before it gave."""


def standard_pressure_pa(elevation_m: float) -> float:
    """Station pressure on a standard day, -500 to 5000 m: what to use when there is no barometer.

    Source: US Standard Atmosphere 1976, equation 33a.

    >>> round(standard_pressure_pa(304.8))
    97717
    """
    require_within("elevation_m", elevation_m, -500.0, 5000.0)
    geopotential_m = _EARTH_RADIUS_M * elevation_m / (_EARTH_RADIUS_M + elevation_m)
    cooling_ratio = 1.0 - _LAPSE_K_M * geopotential_m / _SEA_LEVEL_K
    return float(STANDARD_PRESSURE_PA * cooling_ratio**_BAROMETRIC_EXPONENT)


def station_pressure_from_barometer_pa(
    barometer_pa: float,
    barometer_elevation_m: float,
    elevation_m: float,
    ratio: Contested = BAROMETER_RATIO,
) -> float:
    """Station pressure at one elevation from a barometer at another, carried along the standard atmosphere.

    For the few hundred feet of a sugarbush the standard day's temperature costs under 0.05 inHg.

    Raises:
        InvalidArgument: the barometer is out of what weather can do there, as when it shows a
            sea-level-reduced figure.

    >>> round(station_pressure_from_barometer_pa(96_000.0, 442.0, 442.0))
    96000
    """
    standard_pa = standard_pressure_pa(barometer_elevation_m)
    require_within("barometer_pa", barometer_pa, ratio.low * standard_pa, ratio.high * standard_pa)
    return barometer_pa * standard_pressure_pa(elevation_m) / standard_pa


def station_pressure_from_altimeter_pa(altimeter_pa: float, elevation_m: float) -> float:
    """Station pressure from an airfield's altimeter setting, the figure aviation weather reports give.

    Source: Smithsonian Meteorological Tables, 6th edition, 1951, page 269.

    >>> round(station_pressure_from_altimeter_pa(30.10 * INHG_PA, 365.76) / INHG_PA, 3)
    28.827
    """
    require_within("altimeter_pa", altimeter_pa, 85_000.0, MOST_STATION_PA)
    require_within("elevation_m", elevation_m, -500.0, 5000.0)
    n = _ALTIMETER_EXPONENT
    climb = STANDARD_PRESSURE_PA**n * _LAPSE_K_M * elevation_m / _ALTIMETER_K
    return float((altimeter_pa**n - climb) ** (1.0 / n) + _ALTIMETER_OFFSET_PA)


def absolute_pressure_pa(station_pa: float, vacuum_pa: float) -> float:
    """Pressure left in a line.

    >>> absolute_pressure_pa(100_000.0, 85_000.0)
    15000.0
    """
    require_station(station_pa)
    require_within("vacuum_pa", vacuum_pa, -INHG_PA, station_pa)
    return station_pa - vacuum_pa


def attainable_vacuum_pa(station_pa: float, sap_temperature_c: float = 0.0) -> float:
    """The most vacuum a line with sap in it can have: below this pressure the sap boils.

    Frozen-line temperatures down to -10 °C are taken as supercooled sap; it changes 0.1 inHg.

    Source: Dalton's law with the vapour pressure of water, IAPWS-IF97 region 4.

    >>> round(attainable_vacuum_pa(101_325.0, 5.0) / INHG_PA, 2)
    29.66
    """
    require_station(station_pa)
    require_within("sap_temperature_c", sap_temperature_c, -10.0, 40.0)
    return station_pa - saturation_pressure_pa(sap_temperature_c)


def vacuum_share_fraction(vacuum_pa: float, attainable_pa: float) -> float:
    """Share of the attainable vacuum; above 1 the gauge (or the barometer) is wrong.

    >>> round(vacuum_share_fraction(25 * INHG_PA, 101_325.0), 3)
    0.836
    """
    require_within("vacuum_pa", vacuum_pa, -INHG_PA, _GREATEST_VACUUM_PA)
    require_within("attainable_pa", attainable_pa, LEAST_STATION_PA / 2, MOST_STATION_PA)
    return vacuum_pa / attainable_pa


def sap_head_pa(height_m: float, density_kg_m3: float = SAP_DENSITY_KG_M3) -> float:
    """Vacuum that a standing column of sap makes (falling line) or costs (lift).

    Source: hydrostatics; extension text rounds to 0.88 inHg per foot.

    >>> round(sap_head_pa(0.3048) / INHG_PA, 2)
    0.89
    """
    require_within("height_m", height_m, -500.0, 500.0)
    require_within("density_kg_m3", density_kg_m3, 990.0, 1400.0)
    return density_kg_m3 * GRAVITY_M_S2 * height_m


def pump_down_s(volume_m3: float, pump_m3_s: float, start_pa: float, end_pa: float) -> float:
    """Time for a tight system to go from one absolute pressure to a lower one, pump volume flow constant.

    Source: isothermal emptying, t = (V/S) ln(P1/P2).

    >>> round(pump_down_s(33.5 * 0.0283168, 20 * 0.0283168 / 60, 29.92, 4.92) / 60, 2)
    3.02
    """
    require_within("volume_m3", volume_m3, 0.0, 1e4)
    require_within("pump_m3_s", pump_m3_s, 1e-6, 1e2)
    require_within("start_pa", start_pa, 1.0, MOST_STATION_PA)
    require_within("end_pa", end_pa, 1.0, start_pa)
    return volume_m3 / pump_m3_s * log(start_pa / end_pa)


def steady_vacuum_pa(leak_free_air_m3_s: float, pump_m3_s: float, station_pa: float) -> float:
    """Vacuum at which a pump of constant volume flow holds a leak; 0 when the leak is the larger.

    Source: continuity, P = q P_atm / S.

    >>> round(steady_vacuum_pa(5.0, 40.0, 29.92 * INHG_PA) / INHG_PA, 2)
    26.18
    """
    require_within("leak_free_air_m3_s", leak_free_air_m3_s, 0.0, 1e2)
    require_within("pump_m3_s", pump_m3_s, 1e-6, 1e2)
    require_station(station_pa)
    return station_pa * max(0.0, 1.0 - leak_free_air_m3_s / pump_m3_s)


def pump_free_air_m3_s(pump_m3_s: float, vacuum_pa: float, station_pa: float) -> float:
    """Free air that a pump of constant volume flow takes away at a vacuum, so the leaks it is holding.

    Source: continuity. Per extra inch it falls by 1/(P_atm - Vac): 8 % near 18 inHg, 20 % at 25.

    >>> pump_free_air_m3_s(40.0, 75_000.0, 100_000.0)
    10.0
    """
    require_within("pump_m3_s", pump_m3_s, 1e-6, 1e2)
    return pump_m3_s * absolute_pressure_pa(station_pa, vacuum_pa) / station_pa


def vented_pressure_pa(system_m3: float, system_pa: float, chamber_m3: float, station_pa: float) -> float:
    """Absolute pressure after a releaser's vented chamber opens to the system again.

    Source: Boyle's law.

    >>> round(vented_pressure_pa(33.5, 4.92 * INHG_PA, 10 / 7.48052, 29.92 * INHG_PA) / INHG_PA, 2)
    5.88
    """
    require_station(station_pa)
    require_within("system_m3", system_m3, 1e-6, 1e4)
    require_within("system_pa", system_pa, 0.0, station_pa)
    require_within("chamber_m3", chamber_m3, 0.0, 1e2)
    return (system_pa * system_m3 + station_pa * chamber_m3) / (system_m3 + chamber_m3)


def yield_response_ratio(
    vacuum_pa: float,
    from_vacuum_pa: float = 0.0,
    per_inhg: Contested = YIELD_PER_INHG,
    growth: Growth = Growth.LINEAR,
) -> Contested:
    """Sap at one vacuum over sap at another, all else equal, as a band over the contested gain per inch.

    Source: Ohio State and Cornell extension notes; see `YIELD_PER_INHG` and `Growth`.

    >>> yield_response_ratio(25 * INHG_PA).usual
    2.25
    """
    require_within("vacuum_pa", vacuum_pa, -INHG_PA, _GREATEST_VACUUM_PA)
    require_within("from_vacuum_pa", from_vacuum_pa, -INHG_PA, _GREATEST_VACUUM_PA)
    require_within("per_inhg.low", per_inhg.low, 0.0, per_inhg.high)
    require_within("per_inhg.high", per_inhg.high, per_inhg.low, 0.2)

    def ratio(gain: float) -> float:
        inches, from_inches = vacuum_pa / INHG_PA, from_vacuum_pa / INHG_PA
        if growth is Growth.LINEAR:
            return (1.0 + gain * inches) / (1.0 + gain * from_inches)
        return float((1.0 + gain) ** (inches - from_inches))

    # Sorted with the usual among them: between two equal vacuums the three differ by rounding alone.
    edges = ratio(per_inhg.low), ratio(per_inhg.usual), ratio(per_inhg.high)
    return Contested(min(edges), edges[1], max(edges))


def require_station(station_pa: float) -> None:
    """Refuse a station pressure that no farm has.

    Raises:
        InvalidArgument: naming `station_pa`.
    """
    require_within("station_pa", station_pa, LEAST_STATION_PA, MOST_STATION_PA)
