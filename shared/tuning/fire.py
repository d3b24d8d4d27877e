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
