"""What syrup costs in water and heat, and how much of it a sugarbush may be expected to give.

Published yields disagree, so what rests on them is given as a range.
"""

from shared.physics.air import yield_response_ratio
from shared.physics.bounds import require_within
from shared.physics.contested import Contested
from shared.physics.sap import SYRUP_BRIX, sap_per_syrup_ratio, sucrose_density_kg_m3
from shared.units import GALLON_M3

GRAVITY_SAP_PER_TAP_M3 = 10.0 * GALLON_M3
"""A season by bucket or gravity line. Source: planning figure of several extension services."""
SYRUP_PER_TAP_M3 = Contested(0.219 * GALLON_M3, 0.342 * GALLON_M3, 0.370 * GALLON_M3)
"""A season's syrup: the US in a poor year (2008), the US in 2024, Vermont in 2024. Source: USDA NASS."""

_MOST_SAP_M3 = 1e6
"""A thousand times a large farm's season; more is a wrong unit (common practice, no source)."""
_MOST_TAPS = 10_000_000
_MOST_SAP_PER_TAP_M3 = 0.5
"""Five times the best published season (common practice, no source)."""
_WATER_HEAT_J_KG_K = 4186.8
"""Taken for sap too, which overstates its warming by 1 % at 2 °Bx. Source: the definition of the Btu."""
_EVAPORATION_J_KG = 2.2565e6
"""Water at 100 °C. Source: IAPWS-95, 970.1 Btu/lb."""
_BOILING_C = 99.97
"""Water at 101,325 Pa on the ITS-90 scale. Source: IAPWS-95."""
_COLDEST_FEED_C = -5.0
"""Supercooled; ice would take melting heat, which is not counted."""


def boil_water_kg_m3(sap_brix: float, syrup_brix: float = SYRUP_BRIX) -> float:
    """Water to boil away for one m3 of syrup, the syrup measured at 20 °C.

    Source: mass balance; 353.2 lb per gallon of 66.0 °Bx syrup from 2 °Bx.

    >>> round(boil_water_kg_m3(2.0, 66.0) * GALLON_M3 / 0.45359237, 1)
    353.2
    """
    sap_kg_m3 = sap_per_syrup_ratio(sap_brix, syrup_brix) * sucrose_density_kg_m3(sap_brix)
    return sap_kg_m3 - sucrose_density_kg_m3(syrup_brix)


def boil_heat_j_m3(sap_brix: float, syrup_brix: float = SYRUP_BRIX, feed_c: float = 4.0) -> float:
    """Heat into the pan for one m3 of syrup at sea level: warm the feed, boil the water; no losses.

    Source: mass and heat balance; "400,000 Btu" per gallon from 2 °Bx in Ohio State University Extension's
    maple fuel notes.

    >>> round(boil_heat_j_m3(2.0, 66.0) * GALLON_M3 / 1055.05585262, -3)
    406000.0
    """
    require_within("feed_c", feed_c, _COLDEST_FEED_C, _BOILING_C)
    water_kg_m3 = boil_water_kg_m3(sap_brix, syrup_brix)
    feed_kg_m3 = water_kg_m3 + sucrose_density_kg_m3(syrup_brix)
    return water_kg_m3 * _EVAPORATION_J_KG + feed_kg_m3 * _WATER_HEAT_J_KG_K * (_BOILING_C - feed_c)


def expected_syrup_m3(sap_m3: float, sap_brix: float, syrup_brix: float = SYRUP_BRIX) -> float:
    """Syrup that much sap makes if none is lost; spilt, spoilt and foamed-over sap makes less.

    Source: `sap_per_syrup_ratio`; 15.6 gal of 2 °Bx make 0.36 gal of 66.0 °Bx syrup.

    >>> round(expected_syrup_m3(15.6, 2.0, 66.0), 2)
    0.36
    """
    require_within("sap_m3", sap_m3, 0.0, _MOST_SAP_M3)
    return sap_m3 / sap_per_syrup_ratio(sap_brix, syrup_brix)


def expected_season_sap_m3(
    tap_count: int, vacuum_pa: float, gravity_sap_per_tap_m3: float = GRAVITY_SAP_PER_TAP_M3
) -> Contested:
    """Sap of a whole season at a usual vacuum, over the contested gain per inch.

    Source: `GRAVITY_SAP_PER_TAP_M3` and `yield_response_ratio`. Cornell (Childs 2010) had 15.6 gal a tap on
    new spouts at about 15 inHg, where this gives 16.0 to 20.5, and 7.9 on old spouts.

    >>> round(expected_season_sap_m3(100, 15 * 3386.389).low / GALLON_M3)
    1600
    """
    require_within("tap_count", tap_count, 0, _MOST_TAPS)
    require_within("gravity_sap_per_tap_m3", gravity_sap_per_tap_m3, 0.0, _MOST_SAP_PER_TAP_M3)
    gravity_m3 = tap_count * gravity_sap_per_tap_m3
    response = yield_response_ratio(vacuum_pa)
    return Contested(gravity_m3 * response.low, gravity_m3 * response.usual, gravity_m3 * response.high)
