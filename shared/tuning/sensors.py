"""Tuning of the rules about sensors: what they watch is only as good as they are."""

from pydantic import Field

from shared.tuning.section import RuleTuning
from shared.units import DAY_S, HOUR_S, INHG_PA


class SensorSilent(RuleTuning):
    """A sensor has not been heard for several of its intervals.

    Five: one or two missed messages are ordinary on a radio link (from memory, design advice). Twenty minutes: a
    sensor that is heard now and then is one trouble, not one for each message that came through.
    """

    clear_hold_s: float = Field(default=1200.0, ge=0)
    missed_count: float = Field(default=5.0, gt=1)
    least_s: float = Field(default=300.0, ge=0)
    """Never call a sensor silent sooner than this, however short its interval."""


class SensorStuck(RuleTuning):
    """A sensor shows the very same value, to the last digit, while it should move: stuck, or frozen.

    An hour: a lively sensor does not do so for ten minutes (common practice, no source); of the stack's a quarter of
    it, for a fire is never still.
    """

    least_s: float = Field(default=HOUR_S, ge=600)


class SensorDrifting(RuleTuning):
    """A sensor drifts away, over hours, from others that it cannot truly differ from so.

    1.25 inHg: more than two good gauges differ by, and less than a loss that wakes. 2 in: foam aside, two levels in
    one tank agree within one (common practice, no source). 3 K (5 F) at every hour of a day is more than sun and
    shade.
    """

    clear_hold_s: float = Field(default=2 * HOUR_S, ge=0)
    trip_vacuum_pa: float = Field(default=1.25 * INHG_PA, gt=0)
    trip_level_m: float = Field(default=0.05, gt=0)
    trip_air_k: float = Field(default=3.0, gt=0)


class SensorOutOfRange(RuleTuning):
    """What a sensor says is refused, one after the other: beyond what can be, a fault, or not readable.

    Five: as many as make a sensor silent (from memory, design advice); fewer between good ones are jumps.
    """

    raise_hold_s: float = Field(default=300.0, ge=0)
    clear_hold_s: float = Field(default=1200.0, ge=0)
    least_count: int = Field(default=5, ge=1)


class SensorJumping(RuleTuning):
    """A sensor jumps and comes back, more often than chance.

    Three in six hours: one is a footstep on the tank (common practice, no source).
    """

    least_count: int = Field(default=3, ge=1, le=12)
    within_s: float = Field(default=6 * HOUR_S, gt=0)


class SensorClockWrong(RuleTuning):
    """A sensor's clock is wrong: its readings are refused, or stand at the wrong time.

    Five refused ones, as many as make a sensor silent. A clock that is only minutes off, so that its readings are
    taken, is told after an hour.
    """

    clear_hold_s: float = Field(default=1200.0, ge=0)
    least_count: int = Field(default=5, ge=1)


class BatteryLow(RuleTuning):
    """A battery is low, or will soon be at the rate at which it falls.

    0 V: by its kind, as far as its voltage tells it (see the rule); give a number for yours. A quarter of an hour,
    because sending takes it down for a moment; two days to get there by daylight (common practice, no source).
    """

    raise_hold_s: float = Field(default=900.0, ge=0)
    clear_hold_s: float = Field(default=6 * HOUR_S, ge=0)
    low_v: float = Field(default=0.0, ge=0)
    trip_left_s: float = Field(default=2 * DAY_S, ge=0)
