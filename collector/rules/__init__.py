"""The whole list of what can wake, tell or note: one file a rule, one line here.

A rule is pure: it looks at the picture of the farm at one event time and says what it finds about one
subject. Thresholds and hold times come from the farm file; wording lives with the rule.
"""

from collector.rules import (
    battery_low,
    channel_failing,
    concentrate_waiting,
    fire_dying,
    fire_unattended,
    over_fire,
    overflow_certain,
    permeate_tank,
    pump_not_running,
    sap_held_too_long,
    sap_will_be_held_too_long,
    sensor_clock_wrong,
    sensor_drifting,
    sensor_jumping,
    sensor_out_of_range,
    sensor_silent,
    sensor_stuck,
    shed_near_freezing,
    tank_leaking,
    tank_nearly_full,
    vacuum_lost,
    vacuum_short_of_attainable,
    vacuum_slowly_falling,
)
from collector.rules.rule import Rule

RULES: tuple[Rule, ...] = (
    pump_not_running.RULE,
    vacuum_lost.RULE,
    vacuum_slowly_falling.RULE,
    vacuum_short_of_attainable.RULE,
    shed_near_freezing.RULE,
    overflow_certain.RULE,
    tank_nearly_full.RULE,
    tank_leaking.RULE,
    sap_held_too_long.RULE,
    sap_will_be_held_too_long.RULE,
    concentrate_waiting.RULE,
    permeate_tank.RULE,
    over_fire.RULE,
    fire_dying.RULE,
    fire_unattended.RULE,
    sensor_silent.RULE,
    sensor_stuck.RULE,
    sensor_drifting.RULE,
    sensor_out_of_range.RULE,
    sensor_jumping.RULE,
    sensor_clock_wrong.RULE,
    battery_low.RULE,
    channel_failing.RULE,
)
