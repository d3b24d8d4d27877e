"""Sap, concentrate, water and syrup as kilograms of water and of sugar, so that nothing is made or lost."""

from dataclasses import dataclass
from functools import lru_cache

from shared.physics.sap import sucrose_density_kg_m3

SAP_C = 4.0
"""Temperature at which volumes are reckoned from mass; over 0 to 10 °C water's density changes by 0.03 %."""

Parcel = list[float]
"""[kg, when gathered in s from the start]; tanks keep them oldest first."""


@dataclass(slots=True)
class Liquid:
    """An amount."""

    water_kg: float = 0.0
    sugar_kg: float = 0.0

    @property
    def kg(self) -> float:
        """All of it."""
        return self.water_kg + self.sugar_kg

    @property
    def brix(self) -> float:
        """Percent sugar by mass; 0 of nothing."""
        total_kg = self.water_kg + self.sugar_kg
        return 100.0 * self.sugar_kg / total_kg if total_kg > 0.0 else 0.0

    def part(self, share: float) -> "Liquid":
        """A share of it, of the same strength."""
        return Liquid(self.water_kg * share, self.sugar_kg * share)


def book(account: Liquid, amount: Liquid, share: float = 1.0) -> None:
    """Add a share of an amount to an account; a negative share takes it away."""
    account.water_kg += amount.water_kg * share
    account.sugar_kg += amount.sugar_kg * share


def liquid_of(volume_m3: float, brix: float) -> Liquid:
    """That volume at that strength."""
    total_kg = volume_m3 * density_kg_m3(brix)
    return Liquid(total_kg * (1.0 - brix / 100.0), total_kg * brix / 100.0)


def density_kg_m3(brix: float) -> float:
    """At `SAP_C`, to 0.01 °Bx, which is 0.004 % of it."""
    return _density_kg_m3(round(brix, 2))


@lru_cache(maxsize=512)
def _density_kg_m3(brix: float) -> float:
    return sucrose_density_kg_m3(brix, SAP_C)
