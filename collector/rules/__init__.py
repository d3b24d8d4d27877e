"""The whole list of what can wake, tell or note: one file a rule, one line here.

A rule is pure: it looks at the picture of the farm at one event time and says what it finds about one
subject. Thresholds and hold times come from the farm file; wording lives with the rule.
"""

from collector.rules import (
    fire_dying,
    over_fire,
    sap_held_too_long,
    sensor_silent,
    tank_nearly_full,
    vacuum_lost,
)
from collector.rules.rule import Rule

RULES: tuple[Rule, ...] = (
    vacuum_lost.RULE,
    tank_nearly_full.RULE,
    sap_held_too_long.RULE,
    over_fire.RULE,
    fire_dying.RULE,
    sensor_silent.RULE,
)
