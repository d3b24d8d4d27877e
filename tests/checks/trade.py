"""What sugarmakers say among themselves, beside what the numbers say.

None of it has a source to cite. The tolerance says how loosely the trade means it, and the note says where
the computed value leaves the trade's range and why.
"""

from collections.abc import Callable
from functools import partial

from shared.physics.air import attainable_vacuum_pa, standard_pressure_pa, yield_response_ratio
from shared.physics.fire import wood_left_fraction
from shared.physics.heat import (
    FAHRENHEIT_STEP_C,
    MOST_BRIX,
    PACK_TARGET_C,
    TARGET_BRIX,
    TARGET_WITHIN_BRIX,
    draw_off_c,
)
from shared.physics.sap import (
    SYRUP_BRIX,
    relative_spoilage_rate,
    ro_water_removed_fraction,
    sap_per_syrup_ratio,
)
from shared.tuning.tanks import SapHeldTooLong
from shared.units import FOOT_M, HOUR_S, INHG_PA, from_si
from tests.checks import Check, Status

SAP, CONCENTRATE, SYRUP = 2.0, 19.0, SYRUP_BRIX
"""Sap of about 2, RO to "nearly 20", syrup at the legal least."""
RO_INPUTS = "2 to 19 °Bx, syrup 66.9 °Bx"
GRAVITY_SEASON_GAL = 10.0
"""What a tap gives on buckets in a season (usual planning figure)."""
RUN_DAY_SHARE = 0.74 / (0.20 * 33)
"""Of a season's sap in one run day: 74 % on 20 % of the days (iForest 17:323-330, 2024) of 33 (NASS 2016)."""


def _draw_off_per_brix_f() -> float:
    low_c, high_c = (draw_off_c(101_325.0, brix).usual for brix in (TARGET_BRIX - 0.5, TARGET_BRIX + 0.5))
    return (high_c - low_c) / FAHRENHEIT_STEP_C


def _ceiling_inhg(feet: float) -> float:
    return from_si(attainable_vacuum_pa(standard_pressure_pa(feet * FOOT_M)), "inHg")


def _run_day_gal(vacuum_inhg: float) -> float:
    return GRAVITY_SEASON_GAL * yield_response_ratio(vacuum_inhg * INHG_PA).usual * RUN_DAY_SHARE


_Row = tuple[str, str, str, Callable[[], float], float, float, str, str]

RO: tuple[_Row, ...] = (
    (
        "ro-water",
        "RO takes out 85 to 90 % of the water",
        RO_INPUTS,
        lambda: 100 * ro_water_removed_fraction(SAP, CONCENTRATE),
        87.5,
        2.5,
        "%",
        "True as a share of the sap. 85 % is 13.3 °Bx, 90 % is 20.",
    ),
    (
        "ro-boil-water",
        "RO takes out 85 to 90 % of the water to be boiled",
        RO_INPUTS,
        lambda: 100 * (1 - wood_left_fraction(SAP, CONCENTRATE, SYRUP)),
        87.5,
        5.0,
        "%",
        "Disagrees: 92 %. The saying is a share of the sap, part of which, the syrup, is never boiled away.",
    ),
    (
        "ro-boil-left",
        "water still boiled off per gallon of syrup after RO: two to three gallons",
        RO_INPUTS,
        lambda: sap_per_syrup_ratio(CONCENTRATE, SYRUP) - 1,
        2.5,
        1.0,
        "gal/gal",
        "Disagrees: 3.3 from 19 °Bx. Three takes 20.5 °Bx, two takes 26.6: the saying rounds down.",
    ),
    (
        "ro-wood",
        "with such an RO a farm burns a tenth of the wood (25 to 40 cords for 250 to 400)",
        RO_INPUTS,
        lambda: 100 * wood_left_fraction(SAP, CONCENTRATE, SYRUP),
        10.0,
        3.0,
        "%",
        "7.8 % by water alone; lighting up and holding the fire do not shrink with the sap.",
    ),
)

SYRUPS: tuple[_Row, ...] = (
    (
        "finish-target",
        "finish half a degree over the legal least",
        "66.9 °Bx",
        lambda: TARGET_BRIX - SYRUP_BRIX,
        0.5,
        1e-9,
        "°Bx",
        "",
    ),
    (
        "finish-low",
        "room under a target held within 0.3",
        "67.4 ± 0.3 °Bx, law 66.9",
        lambda: TARGET_BRIX - TARGET_WITHIN_BRIX - SYRUP_BRIX,
        0.2,
        1e-9,
        "°Bx",
        "Held so, no batch is unlawful; at the top it is 1.2 °Bx under the Grade A maximum of 68.9.",
    ),
    (
        "finish-high",
        "room over a target held within 0.3",
        "67.4 ± 0.3 °Bx, maximum 68.9",
        lambda: MOST_BRIX - TARGET_BRIX - TARGET_WITHIN_BRIX,
        1.2,
        1e-9,
        "°Bx",
        "",
    ),
    (
        "finish-by-heat",
        "rise of draw-off per °Bx",
        "66.9 to 67.9 °Bx",
        _draw_off_per_brix_f,
        0.4,
        0.1,
        "°F/°Bx",
        "So 0.3 °Bx is a tenth of a °F: a thermometer alone cannot hold it, a hydrometer must.",
    ),
    (
        "pack-185",
        "pack at 185 °F or above",
        "default target",
        lambda: from_si(PACK_TARGET_C, "degF"),
        185.0,
        1e-9,
        "°F",
        "",
    ),
)

SAPS: tuple[_Row, ...] = (
    (
        "hold-tell",
        "process sap within 12 to 24 h: first word",
        "default",
        lambda: SapHeldTooLong().tell_age_s / HOUR_S,
        18.0,
        6.0,
        "h",
        "",
    ),
    (
        "hold-wake",
        "process sap within 12 to 24 h: last word",
        "default",
        lambda: SapHeldTooLong().wake_age_s / HOUR_S,
        18.0,
        6.0,
        "h",
        "",
    ),
    (
        "hold-warm",
        "12 h for warm sap, 24 h for cold: 12 h at 50 °F as hours at 39 °F",
        "square-root law, -7.7 °C",
        lambda: 12 * relative_spoilage_rate(10.0, 4.0),
        24.0,
        6.0,
        "h",
        "27 h: the trade's 12 and 24 h are about the two ends of one law.",
    ),
    (
        "run-gravity",
        "a tap gives one to two gallons in a freeze-thaw run: buckets",
        "10 gal season, 11 % of it in a run day",
        lambda: _run_day_gal(0),
        1.5,
        0.5,
        "gal",
        "",
    ),
    (
        "run-vacuum",
        "a tap gives one to two gallons in a freeze-thaw run: 25 inHg",
        "22.5 gal season, 11 % of it in a run day",
        lambda: _run_day_gal(25),
        1.5,
        1.1,
        "gal",
        "Disagrees: 2.5. Under high vacuum two to three gallons are reported; the saying is from buckets.",
    ),
    *(
        (
            f"vacuum-30-{feet}ft",
            "vacuum of about 30 inHg",
            f"{feet:,} ft, standard day, sap at 0 °C",
            partial(_ceiling_inhg, feet),
            30.0,
            tolerance,
            "inHg",
            note,
        )
        for feet, tolerance, note in (
            (0, 0.5, ""),
            (
                1450,
                2.0,
                "Disagrees: the air allows 28.2 here. A gauge that reads above is a finding about the gauge.",
            ),
        )
    ),
)

CHECKS: tuple[Check, ...] = tuple(
    Check(id_, what, inputs, ours, expected, tolerance, unit, "said in the trade", Status.TRADE, note)
    for id_, what, inputs, ours, expected, tolerance, unit, note in (*RO, *SYRUPS, *SAPS)
)
