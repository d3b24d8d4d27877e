"""How each rule is tuned: its thresholds and hold times, with their defaults and why.

A table `[rules.NAME]` of the farm file changes a rule for the whole farm; a sensor's or tank's own
`[sensor.rules.NAME]` changes it there.
"""

from typing import Self

from pydantic import Field, model_validator

from shared.farm_units import Section
from shared.units import HOUR_S, INHG_PA


class RuleTuning(Section):
    """What every rule has."""

    enabled: bool = True
    raise_hold_s: float = Field(default=0.0, ge=0)
    """How long the trouble must last, by the sensors' own time, before the alert is raised."""
    clear_hold_s: float = Field(default=600.0, ge=0)
    """How long it must be gone before the alert clears."""


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


class OverFire(RuleTuning):
    """The stack is over its limit.

    The limit stands in `[evaporator]`; the estimate asks for two minutes over it, or a rise of 100 °F a minute.
    """

    clear_hold_s: float = Field(default=300.0, ge=0)


class FireDying(RuleTuning):
    """The fire under the pan is dying.

    Ten minutes below the boil's usual, by the estimate: a door open for firing brings the stack back in one to
    three (from memory).
    """

    clear_hold_s: float = Field(default=120.0, ge=0)


class SensorSilent(RuleTuning):
    """A sensor has not been heard for several of its intervals.

    Five: one or two missed messages are ordinary on a radio link (from memory, design advice). Twenty minutes: a
    sensor that is heard now and then is one trouble, not one for each message that came through.
    """

    clear_hold_s: float = Field(default=1200.0, ge=0)
    missed_count: float = Field(default=5.0, gt=1)
    least_s: float = Field(default=300.0, ge=0)
    """Never call a sensor silent sooner than this, however short its interval."""


class Rules(Section):
    """The `[rules]` table: one section a rule."""

    vacuum_lost: VacuumLost = VacuumLost()
    tank_nearly_full: TankNearlyFull = TankNearlyFull()
    sap_held_too_long: SapHeldTooLong = SapHeldTooLong()
    over_fire: OverFire = OverFire()
    fire_dying: FireDying = FireDying()
    sensor_silent: SensorSilent = SensorSilent()


class OwnRules(Section):
    """A sensor's or tank's own `rules` table; what it leaves out follows the farm's."""

    vacuum_lost: VacuumLost | None = None
    tank_nearly_full: TankNearlyFull | None = None
    sap_held_too_long: SapHeldTooLong | None = None
    over_fire: OverFire | None = None
    fire_dying: FireDying | None = None
    sensor_silent: SensorSilent | None = None


def effective(rules: Rules, own: OwnRules | None, name: str) -> RuleTuning:
    """How that rule is tuned here: what the sensor or tank says itself, and the farm's for the rest."""
    section: RuleTuning = getattr(rules, name)
    mine: RuleTuning | None = None if own is None else getattr(own, name)
    if mine is None:
        return section
    said = {field: getattr(mine, field) for field in mine.model_fields_set}
    # Validated again: the mixture of two valid sections need not be valid.
    return type(section).model_validate(section.model_dump() | said)
