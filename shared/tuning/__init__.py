"""How each rule is tuned: its thresholds and hold times, with their defaults and why.

A table `[rules.NAME]` of the farm file changes a rule for the whole farm; a sensor's or tank's own
`[sensor.rules.NAME]` changes it there.
"""

from shared.farm_units import Section
from shared.tuning.fire import FireDying, OverFire
from shared.tuning.section import RuleTuning
from shared.tuning.sensors import SensorSilent
from shared.tuning.tanks import SapHeldTooLong, TankNearlyFull
from shared.tuning.vacuum import VacuumLost


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


RULE_OF: dict[type[RuleTuning], str] = {type(section): name for name, section in Rules()}
"""Which rule a section tunes."""


def effective(rules: Rules, own: OwnRules | None, name: str) -> RuleTuning:
    """How that rule is tuned here: what the sensor or tank says itself, and the farm's for the rest."""
    section: RuleTuning = getattr(rules, name)
    mine: RuleTuning | None = None if own is None else getattr(own, name)
    if mine is None:
        return section
    said = {field: getattr(mine, field) for field in mine.model_fields_set}
    # Validated again: the mixture of two valid sections need not be valid.
    return type(section).model_validate(section.model_dump() | said)
