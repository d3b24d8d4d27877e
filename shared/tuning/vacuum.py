"""Tuning of the rules about vacuum, pump and releaser."""

from typing import Self

from pydantic import Field, model_validator

from shared.tuning.section import RuleTuning
from shared.units import HOUR_S, INHG_PA


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


class VacuumSlowlyFalling(RuleTuning):
    """A line or the pump has lost vacuum over a day or more, never enough at once for `vacuum_lost`.

    Against the best day of the last week. 1.5 inHg: half of what trade advice calls a leak, and 6 to 10 % of the sap
    (4 to 7 % of the gravity yield per inHg, contested); days differ by less (common practice, no source). Without a
    barometer 1.5 inHg more: the weather can take that.
    """

    raise_hold_s: float = Field(default=HOUR_S, ge=0)
    clear_hold_s: float = Field(default=HOUR_S, ge=0)
    trip_drop_pa: float = Field(default=1.5 * INHG_PA, gt=0)
    clear_drop_pa: float = Field(default=0.8 * INHG_PA, ge=0)

    @model_validator(mode="after")
    def _clear_is_less(self) -> Self:
        if self.clear_drop_pa >= self.trip_drop_pa:
            raise ValueError("clear_drop must be smaller than trip_drop, or the alert would never clear")
        return self


class VacuumShortOfAttainable(RuleTuning):
    """The pump stays far below the vacuum that the air allows, whatever its usual is.

    75 %: research plots run at 22 to 24 inHg (Cornell, 2017) and 25 is called high vacuum (University of Vermont at
    second hand); near sea level they are 74, 81 and 84 % of the air. Contested: a farm whose valve is set lower, or
    whose pump is made for less, sets its own. Half an hour: a pump-down after a thaw takes less.
    """

    raise_hold_s: float = Field(default=1800.0, ge=0)
    clear_hold_s: float = Field(default=1800.0, ge=0)
    trip_share_fraction: float = Field(default=0.75, gt=0, lt=1)
    clear_share_fraction: float = Field(default=0.78, gt=0, lt=1)

    @model_validator(mode="after")
    def _clear_is_more(self) -> Self:
        if self.clear_share_fraction <= self.trip_share_fraction:
            raise ValueError("clear_share must be larger than trip_share, or the alert would never clear")
        return self


class PumpNotRunning(RuleTuning):
    """The pump does not run although sap could flow.

    Three minutes: longer than a look at belt or oil with the pump stopped, or a blink of the mains (common practice,
    no source).
    """

    raise_hold_s: float = Field(default=180.0, ge=0)
    clear_hold_s: float = Field(default=300.0, ge=0)


class ShedNearFreezing(RuleTuning):
    """The shed of pump and releaser freezes soon, with sap in them.

    1.5 C: sap and seal water freeze at about 0 C, and by the door and on the floor it is colder than at the gauge. An
    hour: time to light a heater or to drain. Two hours after the pump has stopped the releaser has been drained, or
    left as it is on purpose (common practice, no source).
    """

    raise_hold_s: float = Field(default=600.0, ge=0)
    clear_hold_s: float = Field(default=1800.0, ge=0)
    trip_c: float = Field(default=1.5)
    clear_c: float = Field(default=3.0)
    ahead_s: float = Field(default=HOUR_S, ge=0)
    wet_s: float = Field(default=2 * HOUR_S, ge=0)

    @model_validator(mode="after")
    def _clear_is_warmer(self) -> Self:
        if self.clear_c <= self.trip_c:
            raise ValueError("clear must be warmer than trip, or the alert would never clear")
        return self
