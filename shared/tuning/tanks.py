"""Tuning of the rules about tanks and the sap in them."""

from typing import Self

from pydantic import Field, model_validator

from shared.tuning.section import RuleTuning
from shared.units import HOUR_S


class TankNearlyFull(RuleTuning):
    """A tank will be full soon at the present rate, or is nearly full whatever the rate.

    90 minutes: time to wake, dress, drive up and start a transfer or the RO (common practice, no source). Three
    minutes: foam stands under a sensor for up to two or so (from memory).
    """

    raise_hold_s: float = Field(default=180.0, ge=0)
    clear_hold_s: float = Field(default=600.0, ge=0)
    trip_time_to_full_s: float = Field(default=90 * 60.0, gt=0)
    clear_time_to_full_s: float = Field(default=120 * 60.0, gt=0)
    trip_full_fraction: float = Field(default=0.95, gt=0, le=1)
    clear_full_fraction: float = Field(default=0.92, gt=0, le=1)

    @model_validator(mode="after")
    def _clear_is_calmer(self) -> Self:
        if self.clear_time_to_full_s <= self.trip_time_to_full_s:
            raise ValueError("clear_time_to_full must be longer than trip_time_to_full")
        if self.clear_full_fraction >= self.trip_full_fraction:
            raise ValueError("clear_full must be less than trip_full")
        return self


class SapHeldTooLong(RuleTuning):
    """The oldest sap in a tank has waited past its limit.

    12 and 24 h: boil the same day, at most a day above 40 °F (common practice, no source; contested).
    """

    tell_age_s: float = Field(default=12 * HOUR_S, gt=0)
    wake_age_s: float = Field(default=24 * HOUR_S, gt=0)

    @model_validator(mode="after")
    def _wake_is_later(self) -> Self:
        if self.wake_age_s <= self.tell_age_s:
            raise ValueError("wake_age must be longer than tell_age")
        return self
