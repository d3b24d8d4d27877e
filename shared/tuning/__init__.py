"""How each rule is tuned: its thresholds and hold times, with their defaults and why.

A table `[rules.NAME]` of the farm file changes a rule for the whole farm; a sensor's or tank's own
`[sensor.rules.NAME]` changes it there.
"""

from shared.farm_units import Section
from shared.tuning.channels import ChannelFailing
from shared.tuning.fire import FireDying, FireUnattended, OverFire
from shared.tuning.section import RuleTuning
from shared.tuning.sensors import (
    BatteryLow,
    SensorClockWrong,
    SensorDrifting,
    SensorJumping,
    SensorOutOfRange,
    SensorSilent,
    SensorStuck,
)
from shared.tuning.tanks import (
    ConcentrateWaiting,
    OverflowCertain,
    PermeateTank,
    SapHeldTooLong,
    SapWillBeHeldTooLong,
    TankLeaking,
    TankNearlyFull,
)
from shared.tuning.vacuum import (
    PumpNotRunning,
    ShedNearFreezing,
    VacuumLost,
    VacuumShortOfAttainable,
    VacuumSlowlyFalling,
)


class Rules(Section):
    """The `[rules]` table: one section a rule."""

    vacuum_lost: VacuumLost = VacuumLost()
    vacuum_slowly_falling: VacuumSlowlyFalling = VacuumSlowlyFalling()
    vacuum_short_of_attainable: VacuumShortOfAttainable = VacuumShortOfAttainable()
    pump_not_running: PumpNotRunning = PumpNotRunning()
    shed_near_freezing: ShedNearFreezing = ShedNearFreezing()
    tank_nearly_full: TankNearlyFull = TankNearlyFull()
    overflow_certain: OverflowCertain = OverflowCertain()
    tank_leaking: TankLeaking = TankLeaking()
    sap_held_too_long: SapHeldTooLong = SapHeldTooLong()
    sap_will_be_held_too_long: SapWillBeHeldTooLong = SapWillBeHeldTooLong()
    concentrate_waiting: ConcentrateWaiting = ConcentrateWaiting()
    permeate_tank: PermeateTank = PermeateTank()
    over_fire: OverFire = OverFire()
    fire_dying: FireDying = FireDying()
    fire_unattended: FireUnattended = FireUnattended()
    sensor_silent: SensorSilent = SensorSilent()
    sensor_stuck: SensorStuck = SensorStuck()
    sensor_drifting: SensorDrifting = SensorDrifting()
    sensor_out_of_range: SensorOutOfRange = SensorOutOfRange()
    sensor_jumping: SensorJumping = SensorJumping()
    sensor_clock_wrong: SensorClockWrong = SensorClockWrong()
    battery_low: BatteryLow = BatteryLow()
    channel_failing: ChannelFailing = ChannelFailing()


class OwnRules(Section):
    """A sensor's or tank's own `rules` table; what it leaves out follows the farm's."""

    vacuum_lost: VacuumLost | None = None
    vacuum_slowly_falling: VacuumSlowlyFalling | None = None
    vacuum_short_of_attainable: VacuumShortOfAttainable | None = None
    pump_not_running: PumpNotRunning | None = None
    shed_near_freezing: ShedNearFreezing | None = None
    tank_nearly_full: TankNearlyFull | None = None
    overflow_certain: OverflowCertain | None = None
    tank_leaking: TankLeaking | None = None
    sap_held_too_long: SapHeldTooLong | None = None
    sap_will_be_held_too_long: SapWillBeHeldTooLong | None = None
    concentrate_waiting: ConcentrateWaiting | None = None
    permeate_tank: PermeateTank | None = None
    over_fire: OverFire | None = None
    fire_dying: FireDying | None = None
    fire_unattended: FireUnattended | None = None
    sensor_silent: SensorSilent | None = None
    sensor_stuck: SensorStuck | None = None
    sensor_drifting: SensorDrifting | None = None
    sensor_out_of_range: SensorOutOfRange | None = None
    sensor_jumping: SensorJumping | None = None
    sensor_clock_wrong: SensorClockWrong | None = None
    battery_low: BatteryLow | None = None
    channel_failing: ChannelFailing | None = None


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
