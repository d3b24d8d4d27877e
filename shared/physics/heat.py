"""Boiling, draw-off, the hydrometer, packing and colour: what temperature and light say about syrup.

Syrup is drawn off a fixed rise above the boiling point of water, and that point moves 1.7 °F for each inch
of mercury the barometer moves: a passing front shifts draw-off by about a degree, worth 3 °Bx.
"""

from enum import StrEnum
from itertools import pairwise
from math import sqrt

from shared.physics.bounds import require_within
from shared.physics.contested import Contested
from shared.physics.sap import SYRUP_BRIX, TOP_BRIX, sucrose_density_kg_m3
from shared.units import UNITS, to_si

FAHRENHEIT_STEP_C = UNITS["degF"].factor
"""Size of one °F, for rises and differences."""


def _rise_c(low_f: float, usual_f: float, high_f: float) -> Contested:
    return Contested(low_f * FAHRENHEIT_STEP_C, usual_f * FAHRENHEIT_STEP_C, high_f * FAHRENHEIT_STEP_C)


RISE_AT_66_0_C = _rise_c(7.0, 7.1, 7.3)
"""Above boiling water for 66.0 °Bx. Source: trade hydrometer chart headed "66.0 syrup, elevation 7.1"; other
texts 7.0 to 7.3 °F. Contested."""
RISE_AT_66_9_C = _rise_c(7.3, 7.4, 7.5)
"""Above boiling water for 66.9 °Bx: 7.3 to 7.5 °F. From memory; state texts vary. Contested."""
_MOST_RISE_C = 10.0
MOST_BRIX = 68.9
"""Grade A maximum (USDA 2015); the least is `SYRUP_BRIX`."""
TARGET_BRIX = 67.4
"""Half a degree over the least, so that a small error stays lawful (common practice, no source)."""
TARGET_WITHIN_BRIX = 0.3
"""How closely a good house holds its target (common practice, no source)."""

PACK_LEAST_C = to_si(180.0, "degF")
"""Kills mould and yeast on cap and wall. Source: repeated extension advice."""
PACK_TARGET_C = to_si(185.0, "degF")
"""What producers hold (common practice, no source)."""
PACK_CAUTION_C = to_si(190.0, "degF")
PACK_MOST_C = to_si(195.0, "degF")
"""Above 190 to 195 °F after filtering sugar sand drops out and colour darkens. Source: extension advice."""

COLOUR_CAUTION = "Colour alone never makes Grade A: flavour, clarity and density count too."

_SATURATION = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
"""n1 to n10. Source: IAPWS-IF97, table 34."""
_KELVIN_C = 273.15
_MEGAPASCAL_PA = 1e6

_HYDROMETER_C = to_si(60.0, "degF")
_GLASS_PER_C = 25e-6
"""Volume expansion of soda glass (from memory)."""
_CHART_F = (50, 60, 70, 80, 90, 100, 110, 120, 130, 140, 149, 158, 167, 176, 185, 193, 202, 209)
_CHART_BRIX = (
    *(67.4, 66.9, 66.4, 65.9, 65.4, 64.8, 64.3, 63.8, 63.3),
    *(62.8, 62.3, 61.8, 61.4, 60.9, 60.4, 60.0, 59.6, 59.0),
)
"""Reading that means 66.9 °Bx. Source: temperature chart issued with state-calibrated syrup hydrometers."""
_CHART = tuple((to_si(hot_f, "degF"), brix) for hot_f, brix in zip(_CHART_F, _CHART_BRIX, strict=True))
_CHART_MEANS_BRIX = (60.0, 69.5)
"""How far from 66.9 the chart is leaned on: there physics still agrees within 0.35 °Bx."""
_BISECTIONS = 50
"""Halvings of 70 °Bx that leave nothing a float can hold."""


class HotPack(StrEnum):
    """What a filling temperature does to the syrup in the jug."""

    TOO_COOL = "too cool"
    """Below the least: mould and yeast may live."""
    LOW = "low"
    """Allowed, under the target: a cold jug takes it below the least."""
    GOOD = "good"
    HOT = "hot"
    """Sugar sand begins to fall out."""
    TOO_HOT = "too hot"
    """Sugar sand and darkening."""


class ColourClass(StrEnum):
    """Grade A colour and taste classes. Source: USDA AMS, standards for grades of maple syrup, 2015."""

    GOLDEN = "Golden Color and Delicate Taste"
    AMBER = "Amber Color and Rich Taste"
    DARK = "Dark Color and Robust Taste"
    VERY_DARK = "Very Dark Color and Strong Taste"


COLOUR_LEAST_FRACTION = {ColourClass.GOLDEN: 0.75, ColourClass.AMBER: 0.50, ColourClass.DARK: 0.25}
"""Lightest first. Source: as `ColourClass`; the cut-offs before 2015 were others."""


def saturation_pressure_pa(temperature_c: float) -> float:
    """Vapour pressure of water, -10 to 120 °C; below 0 °C of supercooled water, by extrapolation.

    Source: IAPWS-IF97, region 4, equation 30.

    >>> round(saturation_pressure_pa(300.0 - 273.15), 4)
    3536.5894
    """
    require_within("temperature_c", temperature_c, -10.0, 120.0)
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _SATURATION
    kelvin = temperature_c + _KELVIN_C
    theta = kelvin + n9 / (kelvin - n10)
    a = theta**2 + n1 * theta + n2
    b = n3 * theta**2 + n4 * theta + n5
    c = n6 * theta**2 + n7 * theta + n8
    return float((2.0 * c / (sqrt(b**2 - 4.0 * a * c) - b)) ** 4 * _MEGAPASCAL_PA)


def boiling_point_c(station_pa: float) -> float:
    """Boiling point of water under the local air, 50 to 120 kPa.

    On today's temperature scale water boils at 99.97 °C (211.95 °F) under one atmosphere, not at 100.

    Source: IAPWS-IF97, region 4, equation 31.

    >>> round(boiling_point_c(1e5), 4)
    99.6059
    """
    require_within("station_pa", station_pa, 50_000.0, 120_000.0)
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _SATURATION
    beta = sqrt(sqrt(station_pa / _MEGAPASCAL_PA))
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2.0 * g / (-f - sqrt(f**2 - 4.0 * e * g))
    return (n10 + d - sqrt((n10 + d) ** 2 - 4.0 * (n9 + n10 * d))) / 2.0 - _KELVIN_C


def draw_off_c(
    station_pa: float,
    brix: float = TARGET_BRIX,
    rise_at_66_0_c: Contested = RISE_AT_66_0_C,
    rise_at_66_9_c: Contested = RISE_AT_66_9_C,
) -> Contested:
    """Temperature at which to draw off syrup of 65 to 69 °Bx, on the line through two contested rises.

    The band takes every line between the two, so it widens past 66.9.

    Source: see `RISE_AT_66_0_C` and `RISE_AT_66_9_C`; it lies between Raoult's law and Norrish's equation.

    >>> from shared.units import from_si
    >>> round(from_si(draw_off_c(101_325.0, 66.0).usual, "degF"), 2)
    219.05
    """
    require_within("brix", brix, 65.0, 69.0)
    for name, rise_c in (("rise_at_66_0_c", rise_at_66_0_c), ("rise_at_66_9_c", rise_at_66_9_c)):
        require_within(f"{name}.low", rise_c.low, 0.0, _MOST_RISE_C)
        require_within(f"{name}.high", rise_c.high, 0.0, _MOST_RISE_C)
    water_c = boiling_point_c(station_pa)
    far = (brix - 66.0) / 0.9
    near = 1.0 - far
    low_c = min(near * rise_at_66_0_c.low, near * rise_at_66_0_c.high)
    high_c = max(near * rise_at_66_0_c.low, near * rise_at_66_0_c.high)
    low_c += min(far * rise_at_66_9_c.low, far * rise_at_66_9_c.high)
    high_c += max(far * rise_at_66_9_c.low, far * rise_at_66_9_c.high)
    usual_c = near * rise_at_66_0_c.usual + far * rise_at_66_9_c.usual
    return Contested(water_c + low_c, water_c + usual_c, water_c + high_c)


def hydrometer_chart_brix(temperature_c: float) -> float:
    """What a hydrometer in 66.9 °Bx syrup reads, by the trade's chart, 50 to 209 °F.

    >>> round(hydrometer_chart_brix(85.0), 1)
    60.4
    """
    require_within("temperature_c", temperature_c, _CHART[0][0], _CHART[-1][0])
    cold, hot = next(rows for rows in pairwise(_CHART) if temperature_c <= rows[1][0])
    share = (temperature_c - cold[0]) / (hot[0] - cold[0])
    return cold[1] + share * (hot[1] - cold[1])


def hydrometer_reading_brix(brix: float, temperature_c: float) -> float:
    """What a hydrometer made for 60 °F reads in syrup of that sugar and temperature, by physics.

    Source: buoyancy, with ICUMSA sucrose density and the expansion of glass.

    >>> round(hydrometer_reading_brix(66.9, 60.0), 2)
    63.09
    """
    require_within("brix", brix, 0.0, TOP_BRIX)
    require_within("temperature_c", temperature_c, 0.0, 100.0)
    floated_kg_m3 = sucrose_density_kg_m3(brix, temperature_c) * _glass_ratio(temperature_c)
    return _brix_of_density(floated_kg_m3, _HYDROMETER_C)


def hydrometer_true_brix(reading_brix: float, temperature_c: float) -> Contested:
    """Sugar of syrup from a hydrometer reading, 50 to 209 °F: by the chart, with physics as the guard.

    `usual` is the chart's; the band reaches to what physics says. They agree within 0.35 °Bx.

    Raises:
        InvalidArgument: the reading means syrup outside 60 to 69.5 °Bx, where the chart says nothing.

    >>> round(hydrometer_true_brix(60.4, 85.0).usual, 1)
    66.9
    """
    thin_brix, thick_brix = _CHART_MEANS_BRIX
    shift_brix = SYRUP_BRIX - hydrometer_chart_brix(temperature_c)
    require_within("reading_brix", reading_brix, thin_brix - shift_brix, thick_brix - shift_brix)
    by_chart_brix = reading_brix + shift_brix
    floated_kg_m3 = sucrose_density_kg_m3(reading_brix, _HYDROMETER_C)
    by_physics_brix = _brix_of_density(floated_kg_m3 / _glass_ratio(temperature_c), temperature_c)
    return Contested(min(by_chart_brix, by_physics_brix), by_chart_brix, max(by_chart_brix, by_physics_brix))


def _glass_ratio(temperature_c: float) -> float:
    return 1.0 + _GLASS_PER_C * (temperature_c - _HYDROMETER_C)


def _brix_of_density(density_kg_m3: float, temperature_c: float) -> float:
    """Sugar at which syrup of that temperature has that density, by halving; 0 to 70 °Bx."""
    low, high = 0.0, TOP_BRIX
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        if sucrose_density_kg_m3(middle, temperature_c) < density_kg_m3:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def hot_pack(
    temperature_c: float,
    *,
    least_c: float = PACK_LEAST_C,
    target_c: float = PACK_TARGET_C,
    caution_c: float = PACK_CAUTION_C,
    most_c: float = PACK_MOST_C,
) -> HotPack:
    """Whether filtered syrup is at a good temperature to fill.

    Source: extension advice; see the defaults.

    >>> hot_pack(to_si(187.0, "degF")).value
    'good'
    """
    require_within("temperature_c", temperature_c, 0.0, 120.0)
    if temperature_c < least_c:
        return HotPack.TOO_COOL
    if temperature_c < target_c:
        return HotPack.LOW
    if temperature_c <= caution_c:
        return HotPack.GOOD
    return HotPack.HOT if temperature_c <= most_c else HotPack.TOO_HOT


def colour_class(transmittance_fraction: float) -> ColourClass:
    """Colour class from light passed at 560 nm through 10 mm, glycerol = 1. See `COLOUR_CAUTION`.

    Source: USDA AMS, standards for grades of maple syrup, 2015.

    >>> colour_class(0.62).name
    'AMBER'
    """
    require_within("transmittance_fraction", transmittance_fraction, 0.0, 1.0)
    for colour, least_fraction in COLOUR_LEAST_FRACTION.items():
        if transmittance_fraction >= least_fraction:
            return colour
    return ColourClass.VERY_DARK
