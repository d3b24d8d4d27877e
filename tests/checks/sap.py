"""Sugar, density, ratios, RO, the cost of boiling and spoilage beside published and computed figures."""

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

from shared.physics.sap import (
    FU_MINIMUM_C,
    RULE_FOR_66_0,
    RULE_FOR_66_9,
    RULE_OF_86,
    apparent_sg_ratio,
    equivalent_age_s,
    relative_spoilage_rate,
    ro_concentrate_volume_ratio,
    ro_permeate_volume_ratio,
    ro_water_removed_fraction,
    rule_sap_per_syrup_ratio,
    sap_freezing_point_c,
    sap_per_syrup_ratio,
    specific_gravity_brix,
    sucrose_density_kg_m3,
)
from shared.physics.syrup import (
    GRAVITY_SAP_PER_TAP_M3,
    boil_heat_j_m3,
    boil_water_kg_m3,
    expected_season_sap_m3,
    expected_syrup_m3,
)
from shared.units import BTU_J, GALLON_M3, HOUR_S, INHG_PA, POUND_KG, to_si
from tests.checks import Check, Status

_ICUMSA = "ICUMSA sucrose density polynomial, worked separately"
_NBS = "NBS Circular C440 (1942), table of Brix and weight"
_BALANCE = "sugar balance with separately worked ICUMSA densities"
_JONES_RULE = '"The Jones Rule of 86 Revisited" (Perkins & Isselhardt) and extension texts'
_NEUM = "Neumeyer, Ross & McMeekin 1997, Int. J. Food Microbiol. 38:45-54: sqrt(k) = 0.03346 (T + 7.7)"
_FU = "Fu, Taoukis & Labuza 1991, J. Food Sci. 56:1209-1215: sqrt(mu) = 0.0306 (T + 7.85)"
_VERMONT = "State of Vermont and USDA 2015 grade texts: 66.9 °Bx is 36 °Baumé, 68.9 is 37"


def _pounds_per_gallon(brix: float) -> float:
    """Weighed in air of 1.2 kg/m3 against weights of 8000 kg/m3 (OIML R 111), as the printed tables are."""
    in_air_kg_m3 = (sucrose_density_kg_m3(brix) - 1.2) / (1.0 - 1.2 / 8000.0)
    return in_air_kg_m3 * GALLON_M3 / POUND_KG


def _solids_pounds_per_gallon(brix: float) -> float:
    return _pounds_per_gallon(brix) * brix / 100.0


def _baume(brix: float) -> float:
    return 145.0 * (1.0 - sucrose_density_kg_m3(0.0) / sucrose_density_kg_m3(brix))


class _Table(NamedTuple):
    """What others give for a range of one input."""

    id: str
    what: str
    input: str
    ours: Callable[[float], float]
    rows: dict[float, float]
    tolerance: float
    unit: str
    source: str
    status: Status = Status.COMPUTED
    note: str = ""


_TABLES = (
    _Table(
        "density", "density at 20 °C", "{:g} °Bx", sucrose_density_kg_m3,
        {0: 998.20, 1: 1002.07, 2: 1005.96, 3: 1009.88, 4: 1013.83, 5: 1017.81, 8: 1029.90, 12: 1046.44,
         20: 1080.98, 65.5: 1319.60, 66: 1322.66, 66.9: 1328.19, 68.9: 1340.59},
        0.006, "kg/m3", _ICUMSA,
    ),
    _Table(
        "weight", "weight in air", "{:g} °Bx, 20 °C", _pounds_per_gallon,
        {0: 8.322, 1: 8.354, 2: 8.387, 3: 8.419, 4: 8.452, 5: 8.486}, 0.002, "lb/gal", _NBS, Status.PUBLISHED,
    ),
    _Table(
        "sugar", "sugar in a gallon, weighed in air", "{:g} °Bx, 20 °C", _solids_pounds_per_gallon,
        {1: 0.084, 2: 0.168, 3: 0.253, 4: 0.338, 5: 0.424}, 0.002, "lb/gal", _NBS, Status.PUBLISHED,
    ),
    _Table(
        "sg", "apparent specific gravity 20/20", "{:g} °Bx", apparent_sg_ratio,
        {1: 1.00388, 2: 1.00778, 3: 1.01171, 4: 1.01567, 5: 1.01966, 8: 1.03180, 12: 1.04839, 20: 1.08302,
         65.5: 1.32237, 66: 1.32543, 66.9: 1.33098, 68.9: 1.34342},
        0.00001, "", _ICUMSA,
    ),
    _Table(
        "sg-usda", "apparent specific gravity 20/20", "{:g} °Bx", apparent_sg_ratio,
        {4: 1.01569}, 0.00003, "",
        "sugar-solution chart derived from a USDA table", Status.PUBLISHED,
    ),
    _Table(
        "baume", "Baumé, modulus 145", "{:g} °Bx", _baume, {66.9: 36.0, 68.9: 37.0}, 0.05, "°Bé", _VERMONT,
        Status.PUBLISHED, "The law's pairing is at 60 °F and rounded.",
    ),
    _Table(
        "sg-cubic", "Brix from apparent specific gravity", "SG {:.5f}", specific_gravity_brix,
        {1.00388: 0.996, 1.00778: 1.995, 1.01171: 2.995, 1.01567: 3.995, 1.04003: 10.001, 1.08302: 20.011},
        0.002, "°Bx", "the same cubic, worked separately",
    ),
    _Table(
        "sg-brix", "Brix from apparent specific gravity", "SG {:.5f}", specific_gravity_brix,
        {1.00388: 1, 1.00778: 2, 1.01171: 3, 1.01567: 4, 1.04003: 10, 1.08302: 20},
        0.02, "°Bx", _ICUMSA,
    ),
    _Table(
        "ratio-65.5", "sap to syrup, exact, 65.5 °Bx syrup", "{:g} °Bx",
        partial(sap_per_syrup_ratio, syrup_brix=65.5),
        {1: 86.26, 1.5: 57.39, 2: 42.96, 2.5: 34.30, 3: 28.53, 3.5: 24.41, 4: 21.31,
         8: 10.49, 12: 6.88, 20: 4.00},
        0.005, "", _BALANCE,
    ),
    _Table(
        "ratio-66.0", "sap to syrup, exact, 66.0 °Bx syrup", "{:g} °Bx",
        partial(sap_per_syrup_ratio, syrup_brix=66.0),
        {1: 87.12, 1.5: 57.96, 2: 43.39, 2.5: 34.64, 3: 28.81, 3.5: 24.65, 4: 21.53,
         8: 10.60, 12: 6.95, 20: 4.04},
        0.005, "", _BALANCE,
    ),
    _Table(
        "ratio-66.9", "sap to syrup, exact, 66.9 °Bx syrup", "{:g} °Bx", sap_per_syrup_ratio,
        {1: 88.67, 1.5: 59.00, 2: 44.16, 2.5: 35.26, 3: 29.33, 3.5: 25.09, 4: 21.91,
         8: 10.78, 12: 7.08, 20: 4.11},
        0.005, "", _BALANCE,
    ),
    _Table(
        "rule-of-86", "sap to syrup, rule of 86", "{:g} °Bx",
        partial(rule_sap_per_syrup_ratio, rule=RULE_OF_86),
        {2: 43.0, 2.5: 34.4, 3: 28.7}, 0.05, "", _JONES_RULE, Status.PUBLISHED,
    ),
    _Table(
        "rule-v-exact", "rule of 86 beside the exact ratio for 65.5 °Bx", "{:g} °Bx",
        partial(sap_per_syrup_ratio, syrup_brix=65.5), {1: 86.0, 2: 43.0, 3: 28.667, 4: 21.5}, 0.3, "",
        _JONES_RULE, Status.PUBLISHED, "86/x drops the small constant of the exact a/x - b; 0.9 % at 4 °Bx.",
    ),
    _Table(
        "rule-87.1", "revised rule beside the exact ratio for 66.0 °Bx, 1 °Bx sap", "{:g} °Bx",
        partial(sap_per_syrup_ratio, syrup_brix=66.0), {1: RULE_FOR_66_0}, 0.05, "",
        _JONES_RULE, Status.PUBLISHED,
    ),
    _Table(
        "rule-88.2", "revised rule beside the exact ratio for 66.9 °Bx, 1 °Bx sap", "{:g} °Bx",
        sap_per_syrup_ratio,
        {1: RULE_FOR_66_9}, 0.5, "", _JONES_RULE, Status.PUBLISHED,
        "Contested: 88.2 published, 88.67 by physics.",
    ),
    _Table(
        "membrane-mass", "RO from 2 °Bx, share of mass removed", "to {:g} °Bx",
        partial(ro_water_removed_fraction, 2.0),
        {8: 0.7500, 12: 0.8333, 15: 0.8667, 20: 0.9000, 35: 0.9429}, 0.00005, "", "1 - x1/x2",
    ),
    _Table(
        "membrane-permeate", "RO from 2 °Bx, permeate per feed by volume", "to {:g} °Bx",
        partial(ro_permeate_volume_ratio, 2.0),
        {8: 0.7558, 12: 0.8398, 15: 0.8734, 20: 0.9070, 35: 0.9502}, 0.00006, "", _BALANCE,
    ),
    _Table(
        "membrane-concentrate", "RO from 2 °Bx, concentrate per feed by volume", "to {:g} °Bx",
        partial(ro_concentrate_volume_ratio, 2.0),
        {8: 0.2442, 12: 0.1602, 15: 0.1266, 20: 0.0931, 35: 0.0499}, 0.00006, "", _BALANCE,
    ),
    _Table(
        "membrane-published", "RO from 2 °Bx, share of mass removed", "to {:g} °Bx",
        partial(ro_water_removed_fraction, 2.0),
        {8: 0.75, 20: 0.90}, 0.005, "",
        'University of Vermont Extension, RO talks: "75 to 90 %"', Status.PUBLISHED,
        "The talks name no target.",
    ),
    _Table(
        "boiled-heat", "heat for a gallon of 66 °Bx syrup from 40 °F", "{:g} °Bx",
        lambda brix: boil_heat_j_m3(brix, 66.0, to_si(40.0, "degF")) * GALLON_M3 / BTU_J,
        {2: 405_300, 8: 93_300, 12: 58_600}, 100, "Btu", f"{_BALANCE}, 970.1 Btu/lb",
    ),
    _Table(
        "sap-freezes", "freezing point of sap", "{:g} °Bx", sap_freezing_point_c,
        {2: -0.11, 8: -0.47}, 0.005, "°C",
        "1.86 K per mol/kg",
    ),
    _Table(
        "spoilage", "spoilage rate against 0 °C, default law", "{:g} °C",
        partial(relative_spoilage_rate, reference_c=0.0),
        {0: 1.000, 4: 2.309, 7: 3.645, 10: 5.284, 15: 8.691, 20: 12.94}, 0.005, "", _NEUM, Status.PUBLISHED,
        "Only the parameters are published; the rate's unit is not, so ratios alone are used.",
    ),
    _Table(
        "spoilage-milk", "spoilage rate against 0 °C, alternative law", "{:g} °C",
        partial(relative_spoilage_rate, reference_c=0.0, minimum_c=FU_MINIMUM_C),
        {4: 2.279, 7: 3.579, 10: 5.171, 15: 8.473, 20: 12.59}, 0.005, "", _FU, Status.PUBLISHED,
        "Only the parameters are published.",
    ),
)  # fmt: skip

CHECKS: tuple[Check, ...] = (
    *(
        Check(
            f"{table.id}-{given:g}",
            table.what,
            table.input.format(given),
            partial(table.ours, given),
            expected,
            table.tolerance,
            table.unit,
            table.source,
            table.status,
            table.note,
        )
        for table in _TABLES
        for given, expected in table.rows.items()
    ),
    Check(
        "boiled-water",
        "water boiled for a gallon of syrup",
        "2 to 66 °Bx",
        lambda: boil_water_kg_m3(2.0, 66.0) * GALLON_M3 / POUND_KG,
        353.2,
        0.05,
        "lb",
        _BALANCE,
        Status.COMPUTED,
    ),
    Check(
        "boiled-heat-published",
        "heat for a gallon of syrup",
        "2 to 66 °Bx, 40 °F",
        lambda: boil_heat_j_m3(2.0, 66.0, to_si(40.0, "degF")) * GALLON_M3 / BTU_J,
        400_000,
        8_000,
        "Btu",
        "Ohio State University Extension, maple fuel notes",
        Status.PUBLISHED,
        "The published figure is rounded.",
    ),
    Check(
        "spoilage-age",
        "equivalent age at 4 °C",
        "6 h at 10 °C, 12 h at 2 °C",
        lambda: equivalent_age_s([(6 * HOUR_S, 10.0), (12 * HOUR_S, 2.0)]) / HOUR_S,
        21.98,
        0.01,
        "h",
        _NEUM,
        Status.COMPUTED,
    ),
    Check(
        "yield-syrup",
        "syrup from a tap's sap",
        "15.6 gal of 2 °Bx, 66.0 °Bx syrup",
        lambda: expected_syrup_m3(15.6, 2.0, 66.0),
        0.36,
        0.005,
        "gal",
        "Cornell maple program (Childs 2010), yields on about 15 inHg",
        Status.PUBLISHED,
    ),
    Check(
        "yield-15inhg",
        "sap of a tap in a season at 15 inHg, low end",
        "10 gal by gravity, 4 % per inHg",
        lambda: expected_season_sap_m3(1, 15 * INHG_PA).low / GALLON_M3,
        15.6,
        0.5,
        "gal",
        "Cornell maple program (Childs 2010), new spouts",
        Status.PUBLISHED,
        "Old spouts gave 7.9: the taphole matters as much as the pump.",
    ),
    Check(
        "yield-25inhg",
        "sap of a tap in a season at 25 inHg, against gravity",
        "5 % per inHg",
        lambda: expected_season_sap_m3(1, 25 * INHG_PA).usual / GRAVITY_SAP_PER_TAP_M3,
        2.5,
        0.5,
        "",
        'University of Vermont Extension: "two to three times"',
        Status.PUBLISHED,
    ),
)
