"""Boiling point, draw-off, the syrup hydrometer, hot packing and colour classes."""

from functools import partial
from math import exp

from shared.physics.heat import (
    COLOUR_LEAST_FRACTION,
    FAHRENHEIT_STEP_C,
    PACK_LEAST_C,
    PACK_MOST_C,
    RISE_AT_66_9_C,
    ColourClass,
    boiling_point_c,
    draw_off_c,
    hydrometer_chart_brix,
    hydrometer_reading_brix,
    hydrometer_true_brix,
    saturation_pressure_pa,
)
from shared.units import INHG_PA, from_si, to_si
from tests.checks import Check, Status

ONE_ATMOSPHERE_PA = 101_325.0
COOLPROP = "CoolProp 8.0, PropsSI('T','P',P,'Q',0,'Water'); iapws 1.5 agrees to 0.0004 °F"
BOILING = (
    (24, 201.04),
    (26, 204.95),
    (27, 206.82),
    (28, 208.63),
    (29, 210.38),
    (29.5, 211.24),
    (29.921, 211.95),
    (30.5, 212.92),
    (31, 213.75),
)
CHART_SOURCE = "temperature chart issued with state-calibrated syrup hydrometers (66.9 °Bx)"
CHART = (
    *((50, 67.4), (60, 66.9), (70, 66.4), (80, 65.9), (90, 65.4), (100, 64.8), (110, 64.3), (120, 63.8)),
    *((130, 63.3), (140, 62.8), (149, 62.3), (158, 61.8), (167, 61.4), (176, 60.9), (185, 60.4)),
    *((193, 60.0), (202, 59.6), (209, 59.0)),
)
USDA = "USDA AMS, standards for grades of maple syrup, 2015"


def _boiling_f(pressure_inhg: float) -> float:
    return from_si(boiling_point_c(pressure_inhg * INHG_PA), "degF")


def _physics_brix(hot_f: float) -> float:
    return hydrometer_reading_brix(66.9, to_si(hot_f, "degF"))


def _chart_brix(hot_f: float) -> float:
    return hydrometer_chart_brix(to_si(hot_f, "degF"))


def _least_percent(colour: ColourClass) -> float:
    return 100 * COLOUR_LEAST_FRACTION[colour]


def _rise_f(brix: float) -> float:
    drawn_c = draw_off_c(ONE_ATMOSPHERE_PA, brix).usual
    return (drawn_c - boiling_point_c(ONE_ATMOSPHERE_PA)) / FAHRENHEIT_STEP_C


def _between_raoult_and_norrish_f() -> tuple[float, float]:
    """Middle and half-width of the two laws' boiling elevations of 66.0 °Bx sucrose, by bisection."""
    sugar_mol, water_mol = 66.0 / 342.30, 34.0 / 18.015
    sugar_share = sugar_mol / (sugar_mol + water_mol)
    raoult = 1.0 - sugar_share
    norrish = raoult * exp(-6.47 * sugar_share**2)
    rises = []
    for activity in (raoult, norrish):
        low, high = 100.0, 110.0
        for _ in range(60):
            middle = (low + high) / 2.0
            low, high = (
                (middle, high)
                if saturation_pressure_pa(middle) * activity < ONE_ATMOSPHERE_PA
                else (low, middle)
            )
        rises.append((low - boiling_point_c(ONE_ATMOSPHERE_PA)) / FAHRENHEIT_STEP_C)
    return sum(rises) / 2.0, (rises[1] - rises[0]) / 2.0


BOIL = (
    *(
        Check(
            f"boil-{inhg:g}",
            "boiling point of water",
            f"{inhg:g} inHg",
            partial(_boiling_f, inhg),
            expected,
            0.02,
            "°F",
            COOLPROP,
            Status.COMPUTED,
            "211.95, not 212.0: the ITS-90 scale." if inhg == 29.921 else "",
        )
        for inhg, expected in BOILING
    ),
    Check(
        "boil-if97",
        "boiling point of water",
        "0.1 MPa",
        lambda: boiling_point_c(1e5) + 273.15,
        372.755919,
        1e-6,
        "K",
        "IAPWS-IF97, table 36",
        Status.PUBLISHED,
    ),
    Check(
        "boil-if97-pressure",
        "vapour pressure of water",
        "300 K",
        lambda: saturation_pressure_pa(300.0 - 273.15),
        3536.58941,
        1e-5,
        "Pa",
        "IAPWS-IF97, table 35",
        Status.PUBLISHED,
    ),
    Check(
        "boil-slope",
        "shift of the boiling point per inch of mercury",
        "29.4 to 30.4 inHg",
        lambda: _boiling_f(30.4) - _boiling_f(29.4),
        1.69,
        0.02,
        "°F",
        COOLPROP,
        Status.COMPUTED,
    ),
    Check(
        "draw-off-66.0",
        "draw-off above boiling water",
        "66.0 °Bx",
        lambda: _rise_f(66.0),
        7.1,
        1e-9,
        "°F",
        'trade hydrometer chart headed "66.0 syrup, elevation 7.1"',
        Status.PUBLISHED,
        "Contested: texts give 7.0 to 7.5 °F.",
    ),
    Check(
        "draw-off-laws",
        "draw-off above boiling water",
        "66.0 °Bx; between Raoult's law and Norrish's equation",
        lambda: _rise_f(66.0),
        _between_raoult_and_norrish_f()[0],
        _between_raoult_and_norrish_f()[1],
        "°F",
        "hand: Raoult 4.95, Norrish (K = −6.47 at 25 °C) 7.81",
        Status.COMPUTED,
    ),
    Check(
        "draw-off-66.9",
        "draw-off above boiling water",
        "66.9 °Bx",
        lambda: RISE_AT_66_9_C.usual / FAHRENHEIT_STEP_C,
        7.4,
        0.1,
        "°F",
        "state texts, 7.3 to 7.5 °F",
        Status.MEMORY,
    ),
)

HYDROMETER = (
    *(
        Check(
            f"hydrometer-physics-{hot_f}",
            "hydrometer reading by physics, against the chart",
            f"66.9 °Bx at {hot_f} °F",
            partial(_physics_brix, hot_f),
            expected,
            0.35,
            "°Bx",
            CHART_SOURCE,
            Status.PUBLISHED,
            "The chart is nearly a straight line; physics bends." if hot_f == 120 else "",
        )
        for hot_f, expected in CHART
    ),
    *(
        Check(
            f"hydrometer-line-{hot_f}",
            "chart as we hold it, against a straight line",
            f"{hot_f} °F",
            partial(_chart_brix, hot_f),
            66.9 - 0.0521 * (hot_f - 60),
            0.145,
            "°Bx",
            "least-squares line through the chart's 18 rows",
            Status.COMPUTED,
        )
        for hot_f in (50, 75, 100, 125, 150, 180, 209)
    ),
    Check(
        "hydrometer-hot-test",
        "hot test mark for 66.9 °Bx",
        "211 °F",
        lambda: hydrometer_reading_brix(66.9, boiling_point_c(ONE_ATMOSPHERE_PA) - 0.53),
        59.1,
        0.15,
        "°Bx",
        "hot mark of state-calibrated syrup hydrometers, 59.1 °Bx (32.1 °Bé)",
        Status.PUBLISHED,
    ),
    Check(
        "hydrometer-corrected",
        "sugar from a hot reading",
        "59.6 °Bx at 202 °F",
        lambda: hydrometer_true_brix(59.6, to_si(202, "degF")).usual,
        66.9,
        1e-9,
        "°Bx",
        CHART_SOURCE,
        Status.PUBLISHED,
    ),
)

PACKING = (
    Check(
        "pack-least",
        "coolest hot pack",
        "default",
        lambda: from_si(PACK_LEAST_C, "degF"),
        180.0,
        1e-9,
        "°F",
        "extension advice, several states",
        Status.PUBLISHED,
    ),
    Check(
        "pack-most",
        "hottest pack before sugar sand and darkening",
        "default",
        lambda: from_si(PACK_MOST_C, "degF"),
        192.5,
        2.5,
        "°F",
        "extension advice, 190 to 195 °F",
        Status.PUBLISHED,
    ),
    *(
        Check(
            f"colour-{colour.name.lower().replace('_', '-')}",
            f"least light for {colour.value}",
            "560 nm, 10 mm, glycerol 100 %",
            partial(_least_percent, colour),
            expected,
            1e-9,
            "%",
            USDA,
            Status.PUBLISHED,
        )
        for colour, expected in (
            (ColourClass.GOLDEN, 75.0),
            (ColourClass.AMBER, 50.0),
            (ColourClass.DARK, 25.0),
        )
    ),
)

CHECKS: tuple[Check, ...] = (*BOIL, *HYDROMETER, *PACKING)
