"""Sensors as they are in the woods: with a last digit, and with what can go wrong with them."""

import re
from random import Random

from collector.evaluator import plan_for
from collector.rules import RULES
from collector.watch import on_reject
from shared.readings import Reject
from tests.fakes.night import KNOLL, Night

SENSOR_RULES = tuple(rule for rule in RULES if rule.id.startswith(("sensor_", "battery_")))
FINE = {"inHg": 2, "ft": 3, "degF": 1, "V": 2}

MORE = """
[[sensor]]
id = "stack"
quantity = "stack_temperature"
unit = "degF"
interval_s = 30
[[sensor]]
id = "ledge-battery"
quantity = "battery"
unit = "V"
interval_s = 60
topic = "woods/ledge"
field = "/battery"
[[sensor]]
id = "ledge-spare"
quantity = "shed_temperature"
unit = "degF"
interval_s = 60
topic = "woods/ledge"
field = "/shed"
"""


def noise(hour, seed):
    """Within 0.15 either way, as dice fall; the same in every run."""
    return Random(round(hour * 3600) * 100 + seed).uniform(-0.15, 0.15)


CALM = {
    "pump-vacuum": lambda hour: 26.0 + noise(hour, 1),
    "ledge-far": lambda hour: 25.0 + noise(hour, 2),
    "brook-far": lambda hour: 25.2 + noise(hour, 3),
    "upper-level": lambda hour: 1.0 + 0.02 * noise(hour, 4),
    "lower-level": lambda hour: 1.5 + 0.02 * noise(hour, 5),
    "air": lambda hour: 40.0 + 3 * noise(hour, 6),
    "stack": lambda hour: 50.0 + 3 * noise(hour, 7),
    "ledge-battery": lambda hour: 3.6 + 0.1 * noise(hour, 8),
    "ledge-spare": lambda hour: 45.0 + 3 * noise(hour, 9),
}
"""Good vacuum, a thaw, tanks that are still, no fire."""


def with_digits(night, digits=FINE):
    """Every sensor says no more digits than those of its unit."""
    for sensor in night.farm.sensors:
        if sensor.id in night.show:
            before, count = night.show[sensor.id], digits[sensor.unit]
            night.show[sensor.id] = lambda hour, before=before, count=count: (
                None if before(hour) is None else round(before(hour), count)
            )
    return night


def farm_night(text=KNOLL + MORE, *, every_s=None, rules=SENSOR_RULES, **show):
    """A calm night; `show` replaces what is shown, `every_s` how often all speak (long nights need no more)."""
    night = Night(text if every_s is None else re.sub(r"interval_s = \d+", f"interval_s = {every_s}", text))
    night.plan = plan_for(night.farm, rules)
    night.show |= CALM | {name.replace("_", "-"): shown for name, shown in show.items()}
    return with_digits(night)


def sticks(shown, from_hour, until_hour=1e9):
    """What the sensor shows if it stays at its value of that hour."""
    return lambda hour: shown(from_hour if from_hour <= hour < until_hour else hour)


def refused_while(night, sensor, kind, from_hour, until_hour):
    """Run until that hour while what the sensor says is refused, a message at each of its intervals."""
    night.run_until(from_hour)
    before = night.show[sensor]
    night.show[sensor] = lambda _hour: None
    step_s = night.farm.sensor_by_id[sensor].interval_s
    while night.at_s < until_hour * 3600:
        topic = night.farm.topic_of(night.farm.sensor_by_id[sensor])
        on_reject(night.watch, night.plan, Reject(night.now_ms, topic, b"?", "why", kind, sensor))
        night.run_until((night.at_s + step_s) / 3600)
    night.show[sensor] = before
