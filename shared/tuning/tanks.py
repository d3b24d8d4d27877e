"""Tuning of the rules about tanks and the sap in them."""

from typing import Self

from pydantic import Field, model_validator

from shared.tuning.section import RuleTuning
from shared.units import GALLON_M3, HOUR_S, to_si


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


class OverflowCertain(RuleTuning):
    """A tank runs over, or will within the horizon even if everything that can take sap is started now.

    Three hours: time to fetch a tank or a truck (common practice, no source). What runs in is taken at the low end of
    its band. Two minutes: foam stands under a sensor for up to two or so (from memory). The horizon is the farm's,
    not a tank's.
    """

    raise_hold_s: float = Field(default=120.0, ge=0)
    clear_hold_s: float = Field(default=1800.0, ge=0)
    horizon_s: float = Field(default=3 * HOUR_S, ge=600, le=24 * HOUR_S)
    least_spill_m3: float = Field(default=20 * GALLON_M3, ge=0)
    """Less than this is not foreseen well enough to wake anybody (our choice)."""
    clear_full_fraction: float = Field(default=0.96, gt=0, lt=1)


class TankLeaking(RuleTuning):
    """A tank loses sap that nothing takes: no transfer, RO or boil.

    60 gal/h: 400 gal by the morning, nine of syrup, worth getting up for; 15 gal/h is a leak to look at by day (our
    choice, no source). Ten minutes: sensors of two tanks need not speak at the same time.
    """

    raise_hold_s: float = Field(default=600.0, ge=0)
    clear_hold_s: float = Field(default=3600.0, ge=0)
    tell_loss_m3_s: float = Field(default=to_si(15, "gal/h"), gt=0)
    wake_loss_m3_s: float = Field(default=to_si(60, "gal/h"), gt=0)

    @model_validator(mode="after")
    def _wake_is_more(self) -> Self:
        if self.wake_loss_m3_s < self.tell_loss_m3_s:
            raise ValueError("wake_loss must not be less than tell_loss")
        return self


class SapWillBeHeldTooLong(RuleTuning):
    """Sap will pass the limit that wakes (see sap_held_too_long) if RO and boil start no sooner than the next morning.

    Ten hours: from nine in the evening to seven in the morning. It begins to speak only between four and ten in the
    evening, when there is still somebody to start them (our choice, no source).
    """

    raise_hold_s: float = Field(default=900.0, ge=0)
    clear_hold_s: float = Field(default=1800.0, ge=0)
    next_start_s: float = Field(default=10 * HOUR_S, ge=0, le=24 * HOUR_S)
    """How far off the next start is taken to be, while nothing runs."""
    speaks_from_hour: float = Field(default=16.0, ge=0, le=24)
    speaks_until_hour: float = Field(default=22.0, ge=0, le=24)

    @model_validator(mode="after")
    def _speaks_at_all(self) -> Self:
        if self.speaks_until_hour <= self.speaks_from_hour:
            raise ValueError("speaks_until_hour must be later than speaks_from_hour")
        return self


class ConcentrateWaiting(RuleTuning):
    """Concentrate has stood for too long since it left the RO.

    It is more sugar, warmed by the pump, and keeps for hours where sap keeps for a day (trade habit, from memory,
    contested): told after 4 h. After 12 h, a whole night, a hundred gallons of it wake: some fifteen of syrup.
    """

    clear_hold_s: float = Field(default=1800.0, ge=0)
    tell_age_s: float = Field(default=4 * HOUR_S, gt=0)
    wake_age_s: float = Field(default=12 * HOUR_S, gt=0)
    wake_volume_m3: float = Field(default=100 * GALLON_M3, ge=0)

    @model_validator(mode="after")
    def _wake_is_later(self) -> Self:
        if self.wake_age_s <= self.tell_age_s:
            raise ValueError("wake_age must be longer than tell_age")
        return self


class PermeateTank(RuleTuning):
    """The permeate tank is nearly full while the RO runs, or holds too little to wash the RO with after an hour of it.

    Half an hour: time to open a drain (common practice, no source). 50 gal: a farm RO's rinse takes 50 to 100 (from
    memory).
    """

    raise_hold_s: float = Field(default=300.0, ge=0)
    clear_hold_s: float = Field(default=1800.0, ge=0)
    may_run_over: bool = False
    """It has an overflow into a drain: full is as it should be."""
    trip_time_to_full_s: float = Field(default=30 * 60.0, gt=0)
    trip_full_fraction: float = Field(default=0.95, gt=0, le=1)
    clear_full_fraction: float = Field(default=0.9, gt=0, le=1)
    wash_m3: float = Field(default=50 * GALLON_M3, ge=0)

    @model_validator(mode="after")
    def _clear_is_calmer(self) -> Self:
        if self.clear_full_fraction >= self.trip_full_fraction:
            raise ValueError("clear_full must be less than trip_full")
        return self
