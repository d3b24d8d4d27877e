"""Tuning of the rules about sensors: what they watch is only as good as they are."""

from pydantic import Field

from shared.tuning.section import RuleTuning


class SensorSilent(RuleTuning):
    """A sensor has not been heard for several of its intervals.

    Five: one or two missed messages are ordinary on a radio link (from memory, design advice). Twenty minutes: a
    sensor that is heard now and then is one trouble, not one for each message that came through.
    """

    clear_hold_s: float = Field(default=1200.0, ge=0)
    missed_count: float = Field(default=5.0, gt=1)
    least_s: float = Field(default=300.0, ge=0)
    """Never call a sensor silent sooner than this, however short its interval."""
