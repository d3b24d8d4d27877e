"""What every rule's tuning has."""

from pydantic import Field

from shared.alerts import RANK, Hold, Priority
from shared.farm_units import Section


class RuleTuning(Section):
    """What every rule has."""

    enabled: bool = True
    raise_hold_s: float = Field(default=0.0, ge=0)
    """How long the trouble must last, by the sensors' own time, before the alert is raised."""
    clear_hold_s: float = Field(default=600.0, ge=0)
    """How long it must be gone before the alert clears."""
    at_most: Priority = Priority.WAKE
    """No graver than this: `tell` lets a rule that would wake only tell."""

    @property
    def hold(self) -> Hold:
        """Both hold times."""
        return Hold(self.raise_hold_s, self.clear_hold_s)

    def capped(self, priority: Priority) -> Priority:
        """That priority, or the gravest that the owner lets this rule have."""
        return min(priority, self.at_most, key=RANK.__getitem__)
