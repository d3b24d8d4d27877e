"""Tuning of the rule about the channels that texts go by."""

from pydantic import Field

from shared.tuning.section import RuleTuning


class ChannelFailing(RuleTuning):
    """A channel takes no texts any more.

    15 minutes: six tries have failed by then, which is more than a service that is being restarted (common practice,
    no source). Ten minutes without a failure before it counts as mended.
    """

    raise_hold_s: float = Field(default=900.0, ge=0)
    clear_hold_s: float = Field(default=600.0, ge=0)
