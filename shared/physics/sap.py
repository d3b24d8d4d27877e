"""Sugar in water: density, sap to a gallon of syrup, what RO parts, when it freezes, how fast it spoils.

Everything follows from one equation of state, the sucrose density polynomial, and from the fact that
neither a membrane nor a pan takes sugar away. Degrees Brix are percent sugar by mass throughout.
The trade's rule of 86 and its revisions stand beside the exact ratio so that a page can show both.
"""

from collections.abc import Iterable

from shared.physics.bounds import require_within
from shared.units import DAY_S

SYRUP_BRIX = 66.9
"""Vermont's legal minimum, 36 °Baumé at 60 °F. The US minimum is 66.0 (21 CFR 168.140)."""
LEAST_BRIX = 0.1
"""Thinnest liquid a ratio is made of, far below any sap worth boiling (common practice, no source)."""
TOP_BRIX = 70.0
"""End of the density polynomial's published range; syrup above it crystallises."""

RULE_OF_86 = 86.0
"""Gallons of 1 °Bx sap to a gallon of 65.5 °Bx syrup. Source: C. H. Jones, Vermont, 1946."""
RULE_FOR_66_0 = 87.1
RULE_FOR_66_9 = 88.2
"""Its revisions for today's syrup. Source: Perkins & Isselhardt, "The Jones Rule of 86 Revisited"."""

_COLDEST_C = -10.0
_HOTTEST_C = 105.0
"""The sugar terms are published for 0 to 80 °C. The water term holds from supercooled to boiling, and read
up to 99 °C the polynomial agrees with the hot-test mark of state hydrometers within 0.1 °Bx (59.0 v. 59.1).
"""

_WATER_NUMERATOR = (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)
_WATER_DENOMINATOR = 16.887236e-3
_SUGAR_TERMS = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
"""Row j multiplies ((t - 20) / 100)^j, column i multiplies (mass fraction)^(i + 1)."""

NEUM_MINIMUM_C = -7.7
"""Notional no-growth temperature of spoilage pseudomonads in broth. Source: Neumeyer, Ross & McMeekin 1997,
Int. J. Food Microbiol. 38:45-54."""
FU_MINIMUM_C = -7.85
"""The same for P. fragi in milk. Source: Fu, Taoukis & Labuza 1991, J. Food Sci. 56:1209-1215."""
_LONGEST_SPELL_S = 366 * DAY_S
"""A longer one is a clock gone wrong."""

_AIR_KG_M3 = 1.2
"""Air displaced by what is weighed in it, at 20 °C. Source: OIML R 111 conventional air density."""
_SUCROSE_KG_MOL = 0.342297
"""Source: C12H22O11 with IUPAC 2021 atomic weights."""
_CRYOSCOPIC_K_KG_MOL = 1.86
"""Freezing-point depression of water per mole per kilogram. Source: CRC Handbook of Chemistry and Physics."""


def water_density_kg_m3(temperature_c: float) -> float:
    """Density of air-free water at one atmosphere, -10 to 105 °C.

    Source: Kell 1975, J. Chem. Eng. Data 20:97-105, as used by the ICUMSA sucrose polynomial.

    >>> round(water_density_kg_m3(20.0), 2)
    998.2
    """
    require_within("temperature_c", temperature_c, _COLDEST_C, _HOTTEST_C)
    numerator = sum(term * temperature_c**power for power, term in enumerate(_WATER_NUMERATOR))
    return numerator / (1.0 + _WATER_DENOMINATOR * temperature_c)


def sucrose_density_kg_m3(brix: float, temperature_c: float = 20.0) -> float:
    """Density of sap, concentrate or syrup taken as sugar and water, 0 to 70 °Bx, -10 to 105 °C.

    Source: ICUMSA sucrose density polynomial (SPS-4); published for 0 to 80 °C, extrapolated beyond.

    >>> round(sucrose_density_kg_m3(66.9), 2)
    1328.19
    """
    require_within("brix", brix, 0.0, TOP_BRIX)
    water_kg_m3 = water_density_kg_m3(temperature_c)
    mass_fraction = brix / 100.0
    warmth = (temperature_c - 20.0) / 100.0
    return water_kg_m3 + sum(
        term * warmth**j * mass_fraction ** (i + 1)
        for j, terms in enumerate(_SUGAR_TERMS)
        for i, term in enumerate(terms)
    )


def apparent_sg_ratio(brix: float) -> float:
    """Apparent specific gravity 20/20, both weighed in air; what a hydrometer marked in SG shows.

    Source: ICUMSA densities; 1.01569 at 4 °Bx in the table of NBS Circular C440.

    >>> round(apparent_sg_ratio(4.0), 5)
    1.01567
    """
    return (sucrose_density_kg_m3(brix) - _AIR_KG_M3) / (water_density_kg_m3(20.0) - _AIR_KG_M3)


def specific_gravity_brix(apparent_sg_ratio: float) -> float:
    """Degrees Brix of a liquid from its apparent specific gravity 20/20, 1 to 1.179 (0 to 40 °Bx).

    Source: cubic fitted to the sucrose table of NBS Circular C440, root mean square error 0.0009 °Bx.

    >>> round(specific_gravity_brix(1.01569), 2)
    4.0
    """
    require_within("apparent_sg_ratio", apparent_sg_ratio, 1.0, 1.179)
    s = apparent_sg_ratio
    # At exactly 1 the fit gives -0.005; water has no sugar.
    return max(0.0, ((182.4601 * s - 775.6821) * s + 1262.7794) * s - 669.5622)


def sap_per_syrup_ratio(sap_brix: float, syrup_brix: float = SYRUP_BRIX) -> float:
    """Volumes of sap in one volume of syrup, both at 20 °C, exact by sugar balance; 0.1 to 70 °Bx.

    Source: sugar in = sugar out with ICUMSA densities; 87.12 at 1 °Bx for 66.0 °Bx syrup beside the
    trade's 87.1 (Perkins & Isselhardt, "The Jones Rule of 86 Revisited").

    >>> round(sap_per_syrup_ratio(2.0), 2)
    44.16
    """
    _require_rising("sap_brix", sap_brix, "syrup_brix", syrup_brix)
    return _volume_ratio(sap_brix, syrup_brix)


def rule_sap_per_syrup_ratio(sap_brix: float, rule: float = RULE_OF_86) -> float:
    """Volumes of sap in one of syrup by the trade's rule; for concentrate use the exact ratio.

    Source: Jones 1946 and its revisions, `RULE_FOR_66_0` and `RULE_FOR_66_9`. Plain 86/x is within 0.7 % of
    exact for 65.5 °Bx syrup from 1 to 4 °Bx and 6 % high at 20 °Bx.

    >>> rule_sap_per_syrup_ratio(2.0)
    43.0
    """
    require_within("sap_brix", sap_brix, LEAST_BRIX, TOP_BRIX)
    require_within("rule", rule, 80.0, 95.0)
    return rule / sap_brix


def ro_water_removed_fraction(feed_brix: float, concentrate_brix: float) -> float:
    """Share of the feed's mass that RO takes out as permeate, if no sugar passes the membrane.

    Source: sugar mass balance, 1 - x1/x2; "75 to 90 %" in University of Vermont Extension's RO talks.

    >>> ro_water_removed_fraction(2.0, 8.0)
    0.75
    """
    _require_rising("feed_brix", feed_brix, "concentrate_brix", concentrate_brix)
    return 1.0 - feed_brix / concentrate_brix


def ro_permeate_volume_ratio(feed_brix: float, concentrate_brix: float) -> float:
    """Volumes of permeate from one volume of feed, both at 20 °C.

    Source: sugar mass balance with ICUMSA densities. Permeate and concentrate together differ from the feed
    by less than 0.02 %, because sugar and water contract on mixing.

    >>> round(ro_permeate_volume_ratio(2.0, 8.0), 4)
    0.7558
    """
    removed_fraction = ro_water_removed_fraction(feed_brix, concentrate_brix)
    return removed_fraction * sucrose_density_kg_m3(feed_brix) / water_density_kg_m3(20.0)


def ro_concentrate_volume_ratio(feed_brix: float, concentrate_brix: float) -> float:
    """Volumes of concentrate from one volume of feed, both at 20 °C.

    Source: sugar mass balance with ICUMSA densities.

    >>> round(ro_concentrate_volume_ratio(2.0, 8.0), 4)
    0.2442
    """
    _require_rising("feed_brix", feed_brix, "concentrate_brix", concentrate_brix)
    return 1.0 / _volume_ratio(feed_brix, concentrate_brix)


def sap_freezing_point_c(brix: float) -> float:
    """Temperature at which sap begins to freeze, taken as sugar alone; 0 to 20 °Bx.

    Source: ideal depression of 1.86 K per mole of sucrose per kg of water; -0.11 °C at 2 °Bx. Minerals lower
    it by a few hundredths more.

    >>> round(sap_freezing_point_c(2.0), 2)
    -0.11
    """
    require_within("brix", brix, 0.0, 20.0)
    molality_mol_kg = brix / (100.0 - brix) / _SUCROSE_KG_MOL
    return -_CRYOSCOPIC_K_KG_MOL * molality_mol_kg


def relative_spoilage_rate(
    temperature_c: float, reference_c: float = 4.0, minimum_c: float = NEUM_MINIMUM_C
) -> float:
    """How many times faster sap spoils at a temperature than at the reference; 0 at or below `minimum_c`.

    For ranking and alarms, never for a verdict on whether sap is good: sap is leaner than the broth and milk
    the law was fitted on, and models differ 1.8-fold over 10 °C. Fitted 0 to 28 °C; accepted -60 to 60 °C,
    overstating above the optimum, which errs to the safe side.

    Source: square-root law, Ratkowsky et al. 1982, J. Bacteriol. 149:1-5.

    >>> round(relative_spoilage_rate(10.0, reference_c=0.0), 2)
    5.28
    """
    require_within("temperature_c", temperature_c, -60.0, 60.0)
    require_within("reference_c", reference_c, 0.0, 28.0)
    require_within("minimum_c", minimum_c, -30.0, -1.0)
    growth_span_ratio = (temperature_c - minimum_c) / (reference_c - minimum_c)
    return max(0.0, growth_span_ratio) ** 2


def equivalent_age_s(
    spells: Iterable[tuple[float, float]], reference_c: float = 4.0, minimum_c: float = NEUM_MINIMUM_C
) -> float:
    """Time at the reference temperature that ages sap as much as the (seconds, °C) spells it lived through.

    Source: `relative_spoilage_rate` summed; 6 h at 10 °C and 12 h at 2 °C are 21.98 h at 4 °C.

    >>> round(equivalent_age_s([(6 * 3600.0, 10.0), (12 * 3600.0, 2.0)]) / 3600, 2)
    21.98
    """
    age_s = 0.0
    for duration_s, temperature_c in spells:
        require_within("duration_s", duration_s, 0.0, _LONGEST_SPELL_S)
        age_s += duration_s * relative_spoilage_rate(temperature_c, reference_c, minimum_c)
    return age_s


def _volume_ratio(thin_brix: float, rich_brix: float) -> float:
    """Volumes of the thin liquid that hold as much sugar as one of the rich."""
    rich_kg_m3, thin_kg_m3 = sucrose_density_kg_m3(rich_brix), sucrose_density_kg_m3(thin_brix)
    return rich_kg_m3 * rich_brix / (thin_kg_m3 * thin_brix)


def _require_rising(thin_name: str, thin_brix: float, rich_name: str, rich_brix: float) -> None:
    require_within(thin_name, thin_brix, LEAST_BRIX, TOP_BRIX)
    require_within(rich_name, rich_brix, thin_brix, TOP_BRIX)
