"""Tuning of the rules about vacuum, pump and releaser."""

from typing import Self

from pydantic import Field, model_validator

from shared.tuning.section import RuleTuning
from shared.units import INHG_PA


class VacuumLost(RuleTuning):
    """A line has lost vacuum against its own usual.

    3 inHg: above it trade advice says to look for leaks (from memory, trade advice). Two minutes:
    longer than a releaser's dump, which sags by 0.3 to 2 inHg for seconds (from memory).
    """

    raise_hold_s: float = Field(default=120.0, ge=0)
    clear_hold_s: float = Field(default=300.0, ge=0)
    trip_drop_pa: float = Field(default=3.0 * INHG_PA, gt=0)
    clear_drop_pa: float = Field(default=1.5 * INHG_PA, ge=0)

    @model_validator(mode="after")
    def _clear_is_less(self) -> Self:
        if self.clear_drop_pa >= self.trip_drop_pa:
            raise ValueError("clear_drop must be smaller than trip_drop, or the alert would never clear")
        return self
