"""Local pressure, the vacuum it allows, the head of sap, and what vacuum does to the yield."""

from functools import partial

from shared.physics.air import (
    YIELD_PER_INHG,
    Growth,
    absolute_pressure_pa,
    attainable_vacuum_pa,
    sap_head_pa,
    standard_pressure_pa,
    station_pressure_from_altimeter_pa,
    vacuum_share_fraction,
    yield_response_ratio,
)
from shared.units import FOOT_M, INHG_PA, from_si, to_si
from tests.checks import Check, Status

OSU = "Ohio State Univ. Extension, vacuum tubing system I to III, 2020 (after Childs, Cornell)"
UVM_316 = "Univ. of Vermont Proctor Center, The 3/16 phenomenon"
USSA = "US Standard Atmosphere 1976, printed table"
FLUIDS = "fluids 1.3, ATMOSPHERE_1976(feet × 0.3048).P"
PRINTED, COMPUTED = Status.PUBLISHED, Status.COMPUTED
STANDARD = (
    (0, 29.92, 0.01, "inHg", USSA, PRINTED, ""),
    (500, 29.385, 0.005, "inHg", FLUIDS, COMPUTED, ""),
    (1000, 14.175, 0.003, "psi", USSA, PRINTED, "From a rounded formula; the standard itself gives 14.173."),
    (1500, 28.335, 0.005, "inHg", FLUIDS, COMPUTED, ""),
    (2000, 27.82, 0.01, "inHg", USSA, PRINTED, ""),
    (3000, 26.817, 0.005, "inHg", FLUIDS, COMPUTED, ""),
    (4000, 25.84, 0.01, "inHg", USSA, PRINTED, ""),
    (5000, 12.230, 0.003, "psi", USSA, PRINTED, "Another printed table has 12.228."),
)
UVM_TWICE_TO_THRICE = (
    ("usual", "5 % per inHg, linear", lambda: yield_response_ratio(25 * INHG_PA).usual, 0.5, ""),
    ("high", "7 % per inHg, linear", lambda: yield_response_ratio(25 * INHG_PA).high, 0.5, ""),
    (
        "compounding",
        "5 % per inHg, compounding",
        lambda: yield_response_ratio(25 * INHG_PA, growth=Growth.COMPOUNDING).usual,
        1.0,
        "Outside what is reported, which is why linear is the default.",
    ),
)
STANDARD_PA = 29.92 * INHG_PA


def _inhg(pressure_pa: float) -> float:
    return from_si(pressure_pa, "inHg")


def _standard(feet: float, unit: str) -> float:
    return from_si(standard_pressure_pa(feet * FOOT_M), unit)


def _vapour_inhg(temperature_c: float) -> float:
    return _inhg(STANDARD_PA - attainable_vacuum_pa(STANDARD_PA, temperature_c))


PRESSURE = (
    Check(
        "air-inhg",
        "inch of mercury",
        "1 inHg at 0 °C",
        lambda: to_si(1, "inHg"),
        3386.389,
        0.001,
        "Pa",
        "NIST SP 811, appendix B",
        Status.PUBLISHED,
    ),
    *(
        Check(
            f"air-25-{unit.lower()}",
            "25 inHg in other units",
            "25 inHg",
            partial(from_si, 25 * INHG_PA, unit),
            expected,
            0.001,
            unit,
            f"pint 0.25, 25 inHg to {unit}",
            Status.COMPUTED,
        )
        for unit, expected in (("kPa", 84.660), ("psi", 12.279), ("mmHg", 635.0))
    ),
    *(
        Check(
            f"air-{feet}ft",
            "standard pressure",
            f"{feet:,} ft",
            partial(_standard, feet, unit),
            expected,
            tolerance,
            unit,
            source,
            status,
            note,
        )
        for feet, expected, tolerance, unit, source, status, note in STANDARD
    ),
    Check(
        "air-altimeter",
        "station pressure from altimeter setting",
        "30.10 inHg, 365.76 m",
        lambda: _inhg(station_pressure_from_altimeter_pa(30.10 * INHG_PA, 365.76)),
        28.827,
        0.001,
        "inHg",
        "MetPy 1.7, altimeter_to_station_pressure",
        Status.COMPUTED,
    ),
    *(
        Check(
            f"air-vapour-{temperature_c}c",
            "vacuum lost to the vapour of sap",
            f"{temperature_c} °C",
            partial(_vapour_inhg, temperature_c),
            expected,
            0.005,
            "inHg",
            "CoolProp 8.0, PropsSI('P','T',T,'Q',0,'Water')",
            Status.COMPUTED,
        )
        for temperature_c, expected in ((0, 0.18), (5, 0.26), (10, 0.36), (20, 0.69))
    ),
    Check(
        "air-share",
        "share of the air taken out",
        "25 inHg at 29.92",
        lambda: 100 * vacuum_share_fraction(25 * INHG_PA, STANDARD_PA),
        85.0,
        2.0,
        "%",
        f'{OSU}: "approximately 85 %"',
        Status.PUBLISHED,
        "83.6 %: the text rounds up.",
    ),
    Check(
        "air-head-foot",
        "vacuum of a foot of sap",
        "1 ft",
        lambda: _inhg(sap_head_pa(FOOT_M)),
        0.88,
        0.02,
        "inHg",
        UVM_316,
        Status.PUBLISHED,
        "The source takes water; sap of 2 °Bx is 0.8 % heavier.",
    ),
    Check(
        "air-head-20ft",
        "vacuum of 20 feet of sap",
        "20 ft",
        lambda: _inhg(sap_head_pa(20 * FOOT_M)),
        17.7,
        0.2,
        "inHg",
        UVM_316,
        Status.PUBLISHED,
    ),
    Check(
        "air-head-inch",
        "fall that makes an inch of mercury",
        "1 inHg",
        lambda: 1 / _inhg(sap_head_pa(FOOT_M)),
        1.14,
        0.02,
        "ft",
        UVM_316,
        Status.PUBLISHED,
    ),
    Check(
        "air-absolute",
        "pressure left in a line",
        "25 inHg at 1450 ft standard",
        lambda: _inhg(absolute_pressure_pa(standard_pressure_pa(1450 * FOOT_M), 25 * INHG_PA)),
        3.386,
        0.005,
        "inHg",
        "fluids 1.3, ATMOSPHERE_1976(441.96).P less 25 inHg",
        Status.COMPUTED,
    ),
)

YIELDS = (
    Check(
        "yield-15",
        "sap at 15 inHg over gravity",
        "5 % per inHg, linear",
        lambda: yield_response_ratio(15 * INHG_PA).usual,
        2.0,
        0.3,
        "times",
        f'{OSU}: "15 in nearly doubles"',
        Status.PUBLISHED,
        "Linear gives 1.75; the same 5 % compounding gives 2.08.",
    ),
    *(
        Check(
            f"yield-25-{name}",
            "sap at 25 inHg over gravity",
            inputs,
            ours,
            2.5,
            tolerance,
            "times",
            'UVM Extension, vacuum videos: "two to three times the yield"',
            Status.PUBLISHED,
            note,
        )
        for name, inputs, ours, tolerance, note in UVM_TWICE_TO_THRICE
    ),
    Check(
        "yield-20-25",
        "sap at 25 over sap at 20 inHg",
        "5 % per inHg, linear",
        lambda: yield_response_ratio(25 * INHG_PA, 20 * INHG_PA).usual,
        1.125,
        1e-9,
        "times",
        "hand: 2.25/2.00",
        Status.COMPUTED,
    ),
    Check(
        "yield-slope",
        "sap gained per inHg",
        "default",
        lambda: 100 * YIELD_PER_INHG.usual,
        5.5,
        1.5,
        "%",
        "Centre ACER 2015: 4 to 7 % per inHg (at second hand)",
        Status.PUBLISHED,
    ),
)

CHECKS: tuple[Check, ...] = (*PRESSURE, *YIELDS)
