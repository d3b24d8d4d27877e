"""Heat up the stack and heat from the wood: a loss band, the temperatures to keep between, cords for a boil.

A stack thermometer alone cannot give the loss: it needs the carbon dioxide in the smoke too. Without a gas
sensor the answer is the band over what wood fires have, and the trend of the temperature.
"""

from dataclasses import dataclass
from enum import StrEnum

from shared.physics.bounds import require_within
from shared.physics.contested import Contested
from shared.physics.syrup import boil_water_kg_m3
from shared.units import BTU_J, FOOT_M, POUND_KG, to_si

CREOSOTE_C = to_si(250.0, "degF")
"""Keep the flue above it, or tar condenses. Source: Alaska DEC wood-heat leaflet."""
OVER_FIRE_C = to_si(1000.0, "degF")
"""Default limit: the continuous rating of factory-built chimneys (UL 103). Evaporator stacks are mostly
unlisted steel, to which the rating does not transfer: the maker's figure goes before this one."""
SIEGERT_WOOD = Contested(0.6375, 0.650, 0.689)
"""Percent loss per K and per percent CO2, dry wood. Source: solid-fuel engineers' tables 0.650; 0.6375 and
0.689 from BS 845, 255 C/Q on gross and net heat."""
CO2_LEAST_FRACTION = 0.06
CO2_MOST_FRACTION = 0.12
"""What wood-fired arches run at: wide open to well controlled (common practice, no source)."""
CO2_MAX_FRACTION = 0.2035
"""Dry smoke of wood (C 50, H 6, O 43 %) burnt with no air left over. Source: stoichiometry."""
AIR_OXYGEN_FRACTION = 0.2095

CORD_M3 = 128 * FOOT_M**3
"""Stacked, 4 by 4 by 8 ft. Source: NIST Handbook 130."""
ARCH_EFFICIENCY = Contested(0.40, 0.50, 0.60)
"""Share of the wood's heat that boils. Source: Ohio State Univ. Extension, maple fuel notes."""

_SMOKE_LIMIT_C = 1000.0
"""Past it the straight-line loss formula means nothing."""
_MBTU_J = 1e6 * BTU_J
_DRY_WOOD_J_KG = 8600.0 * BTU_J / POUND_KG
"""Source: wood fuel tables."""
_WOOD_HYDROGEN_FRACTION = 0.06
_WATER_PER_HYDROGEN = 9.0
_VAPOUR_J_KG = 1050.0 * BTU_J / POUND_KG
"""Heat to evaporate the water of the wood and of its hydrogen. From memory; water at 60 °F needs 1060."""


class Wood(StrEnum):
    """Firewood by the species that stacks are made of."""

    SUGAR_MAPLE = "sugar maple"
    RED_MAPLE = "red maple"
    BEECH = "beech"
    YELLOW_BIRCH = "yellow birch"
    ASH = "ash"
    HEMLOCK = "hemlock"


def _per_cord_j(air_dry_mbtu: float) -> Contested:
    """Tables for sugar maple run from 18.4 (green) to 29.7 around 21.3; the others are taken to as well."""
    low, high = air_dry_mbtu * 18.4 / 21.3, air_dry_mbtu * 29.7 / 21.3
    return Contested(low * _MBTU_J, air_dry_mbtu * _MBTU_J, high * _MBTU_J)


CORD_HEAT_J = {
    Wood.SUGAR_MAPLE: _per_cord_j(21.3),
    Wood.RED_MAPLE: _per_cord_j(18.8),
    Wood.BEECH: _per_cord_j(21.8),
    Wood.YELLOW_BIRCH: _per_cord_j(21.3),
    Wood.ASH: _per_cord_j(20.0),
    Wood.HEMLOCK: _per_cord_j(20.0),
}
"""Available heat of an air-dry cord. Source: US Forest Products Laboratory chart; hemlock from memory.
Other tables give sugar maple 24.0, 25.0, 26.2 and 29.7 MBtu. Contested."""


@dataclass(frozen=True, slots=True)
class StackLoss:
    """Share of the wood's heat that leaves up the stack, by the richest smoke and by the thinnest."""

    low_fraction: float
    high_fraction: float


def siegert_loss_fraction(
    stack_c: float, air_c: float, co2_fraction: float, siegert: float = SIEGERT_WOOD.usual
) -> float:
    """Share of the heat lost up the stack, for dry CO2 and a stack no hotter than 1000 °C.

    Source: Siegert's formula with a wood factor, see `SIEGERT_WOOD`.

    >>> round(siegert_loss_fraction(300.0, 20.0, 0.10), 3)
    0.182
    """
    require_within("air_c", air_c, -50.0, 60.0)
    require_within("stack_c", stack_c, air_c, _SMOKE_LIMIT_C)
    require_within("co2_fraction", co2_fraction, 0.01, 0.21)
    require_within("siegert", siegert, 0.1, 1.5)
    return siegert * (stack_c - air_c) / (co2_fraction * 100.0) / 100.0


def stack_loss(
    stack_c: float,
    air_c: float,
    co2_least_fraction: float = CO2_LEAST_FRACTION,
    co2_most_fraction: float = CO2_MOST_FRACTION,
    siegert: float = SIEGERT_WOOD.usual,
) -> StackLoss:
    """The loss where the CO2 is not measured: a band, never one figure; the high end stops at all of it.

    Source: Siegert's formula over `CO2_LEAST_FRACTION` to `CO2_MOST_FRACTION`.

    >>> loss = stack_loss(300.0, 20.0)
    >>> round(loss.low_fraction, 3), round(loss.high_fraction, 3)
    (0.152, 0.303)
    """
    require_within("co2_most_fraction", co2_most_fraction, co2_least_fraction, 0.21)
    return StackLoss(
        min(1.0, siegert_loss_fraction(stack_c, air_c, co2_most_fraction, siegert)),
        min(1.0, siegert_loss_fraction(stack_c, air_c, co2_least_fraction, siegert)),
    )


def co2_from_oxygen_fraction(oxygen_fraction: float, co2_max_fraction: float = CO2_MAX_FRACTION) -> float:
    """Dry CO2 of the smoke from its oxygen, for owners of a cheap oxygen sensor.

    Source: dilution by excess air, CO2max (1 - O2/20.95).

    >>> round(co2_from_oxygen_fraction(0.11, 0.203), 4)
    0.0964
    """
    require_within("oxygen_fraction", oxygen_fraction, 0.0, AIR_OXYGEN_FRACTION)
    require_within("co2_max_fraction", co2_max_fraction, 0.1, 0.25)
    return co2_max_fraction * (1.0 - oxygen_fraction / AIR_OXYGEN_FRACTION)


def excess_air_ratio(oxygen_fraction: float) -> float:
    """Air let in over air needed, from the oxygen left in the smoke, up to 20 %.

    Source: dilution, 20.95/(20.95 - O2).

    >>> round(excess_air_ratio(0.11), 3)
    2.106
    """
    require_within("oxygen_fraction", oxygen_fraction, 0.0, 0.20)
    return AIR_OXYGEN_FRACTION / (AIR_OXYGEN_FRACTION - oxygen_fraction)


def wood_heat_j_kg(moisture_fraction: float) -> float:
    """Net heat of wood as fired; moisture as a share of the wet wood, 0 to 60 %.

    Source: 8600 Btu/lb dry, less the vapour of its own and of its hydrogen's water.

    >>> round(wood_heat_j_kg(0.20) * POUND_KG / BTU_J)
    6216
    """
    require_within("moisture_fraction", moisture_fraction, 0.0, 0.6)
    dry_j_kg = _DRY_WOOD_J_KG - _WATER_PER_HYDROGEN * _WOOD_HYDROGEN_FRACTION * _VAPOUR_J_KG
    return (1.0 - moisture_fraction) * dry_j_kg - moisture_fraction * _VAPOUR_J_KG


def wood_volume_m3(
    heat_j: float,
    wood: Wood = Wood.SUGAR_MAPLE,
    efficiency: Contested = ARCH_EFFICIENCY,
    cord_heat_j: Contested | None = None,
) -> Contested:
    """Stacked wood to put that much heat into the pans; `cord_heat_j` overrides the species' figure.

    Source: see `CORD_HEAT_J` and `ARCH_EFFICIENCY`.

    >>> round(1.0 / (wood_volume_m3(400_000 * BTU_J).usual / CORD_M3), 1)
    26.6
    """
    require_within("heat_j", heat_j, 0.0, 1e15)
    require_within("efficiency.low", efficiency.low, 0.05, efficiency.high)
    require_within("efficiency.high", efficiency.high, efficiency.low, 1.0)
    per_cord_j = cord_heat_j or CORD_HEAT_J[wood]
    require_within("cord_heat_j.low", per_cord_j.low, _MBTU_J, per_cord_j.high)
    require_within("cord_heat_j.high", per_cord_j.high, per_cord_j.low, 100.0 * _MBTU_J)
    return Contested(
        CORD_M3 * heat_j / (per_cord_j.high * efficiency.high),
        CORD_M3 * heat_j / (per_cord_j.usual * efficiency.usual),
        CORD_M3 * heat_j / (per_cord_j.low * efficiency.low),
    )


def wood_left_fraction(sap_brix: float, concentrate_brix: float, syrup_brix: float) -> float:
    """Share of the wood still burnt when RO concentrates the sap first: the share of the water left to boil.

    Source: mass balance, `boil_water_kg_m3`.

    >>> round(wood_left_fraction(2.0, 8.0, 66.0), 3)
    0.227
    """
    require_within("concentrate_brix", concentrate_brix, sap_brix, syrup_brix)
    return boil_water_kg_m3(concentrate_brix, syrup_brix) / boil_water_kg_m3(sap_brix, syrup_brix)
