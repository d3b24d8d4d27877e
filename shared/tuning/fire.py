"""Tuning of the rules about the fire."""

from pydantic import Field

from shared.tuning.section import RuleTuning


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


class FireUnattended(RuleTuning):
    """A fire burns with nothing left to boil, or while nobody is logged as boiling.

    A quarter of an hour: an inch of sap in the pans lasts longer, and a fire that is let burn down has sunk by then
    (from memory). The log counts only where the start of a boil was logged in the last seven days; half an hour to
    write it down, and an hour and a half for the bed to burn down once the boil is logged as stopped (common
    practice, no source).
    """

    clear_hold_s: float = Field(default=600.0, ge=0)
    empty_for_s: float = Field(default=900.0, ge=0)
    unlogged_for_s: float = Field(default=1800.0, ge=0)
    burn_down_s: float = Field(default=5400.0, ge=0)
