"""A night on virtual time: sensors say, then the phone shows. The very functions of the collector, no wire."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from collector.evaluator import Changes, memory_of, new_watch, plan_for, restore_watch
from collector.people import on_request
from collector.watch import on_clock, on_reading, on_start
from shared.farm_file import parse_farm
from shared.readings import Reading
from shared.requests import Acknowledge
from shared.units import to_si

T0 = 1_774_310_400_000
"""2026-03-23 20:00 in New York."""

KNOLL = """
[farm]
id = "knoll"
name = "Knoll"
timezone = "America/New_York"
elevation_ft = 1450
[[line]]
id = "conductor"
kind = "conductor"
length_ft = 800
bore_in = 2
[[line]]
id = "ledge"
kind = "mainline"
parent = "conductor"
joins_at_ft = 300
length_ft = 1400
bore_in = 1.05
taps = 600
[[line]]
id = "brook"
kind = "mainline"
parent = "conductor"
joins_at_ft = 800
length_ft = 1100
bore_in = 1.05
taps = 500
[[tank]]
id = "upper"
shape = "box"
length_ft = 10
width_ft = 5
height_ft = 4
[[tank]]
id = "lower"
shape = "vertical"
diameter_ft = 7
height_ft = 5.5
drains_to = "upper"
[[sensor]]
id = "pump-vacuum"
quantity = "vacuum"
unit = "inHg"
line = "pump"
interval_s = 30
[[sensor]]
id = "ledge-far"
quantity = "vacuum"
unit = "inHg"
line = "ledge"
interval_s = 30
[[sensor]]
id = "brook-far"
quantity = "vacuum"
unit = "inHg"
line = "brook"
interval_s = 30
[[sensor]]
id = "upper-level"
quantity = "level"
unit = "ft"
tank = "upper"
interval_s = 60
[[sensor]]
id = "lower-level"
quantity = "level"
unit = "ft"
tank = "lower"
interval_s = 60
[[sensor]]
id = "air"
quantity = "air_temperature"
unit = "degF"
interval_s = 60
[[contact]]
id = "owner"
name = "Wren"
channel = [{ id = "phone", url = "terminal:" }]
[[contact]]
id = "neighbour"
name = "Abel"
channel = [{ id = "phone", url = "terminal:" }]
"""


@dataclass
class Night:
    """Tell what sensors show as functions of the hour, run, look at the phone.

    `show["ledge-far"] = lambda hour: 25.0` in the sensor's unit; None: it says nothing then.
    """

    farm_text: str = KNOLL
    show: dict = field(default_factory=dict)
    phone: list = field(default_factory=list)
    transitions: list = field(default_factory=list)
    at_s: int = 0

    def __post_init__(self):
        self.farm = parse_farm(self.farm_text)
        self.plan = plan_for(self.farm)
        self.watch = new_watch(self.plan)
        on_start(self.watch, T0)

    @property
    def now_ms(self):
        return T0 + self.at_s * 1000

    def run_until(self, hour, *, clock_every_s=10):
        """Let time pass; every sensor speaks at its interval, the clock is looked at every ten seconds."""
        while self.at_s < hour * 3600:
            changes = Changes()
            for sensor in self.farm.sensors:
                if self.at_s % round(sensor.interval_s) == 0:
                    shown = self.show.get(sensor.id, lambda _hour: None)(self.at_s / 3600)
                    if shown is not None:
                        value = to_si(shown, sensor.unit)
                        on_reading(
                            self.watch,
                            self.plan,
                            Reading(sensor.id, self.now_ms, value, self.now_ms),
                            changes,
                        )
            if self.at_s % clock_every_s == 0:
                on_clock(self.watch, self.plan, self.now_ms, changes)
            self._take(changes)
            self.at_s += 10

    def acknowledge(self, key, by="Wren"):
        changes = Changes()
        ask = Acknowledge(id=f"r{self.at_s}", by=by, asked_ms=self.now_ms, alert=key)
        on_request(self.watch, self.plan, ask, changes)
        self._take(changes)

    def restart(self):
        """The process dies and starts again from what the store holds."""
        memory = memory_of(self.watch, 0, 0, self.now_ms)
        changes = Changes()
        self.watch = restore_watch(memory, self.plan, changes)
        on_start(self.watch, self.now_ms)
        self._take(changes)

    def _take(self, changes):
        hour = round(self.at_s / 3600, 2)
        self.phone += [(hour, t.key, t.contact, t.body) for t in changes.texts]
        # What is told in company is news as well, unless the text says that it only still stands.
        self.phone += [
            (hour, key, t.contact, f"In company: {t.body}")
            for t in changes.texts
            for key in t.also
            if f"Still {key.split('/')[0].replace('_', ' ')}" not in t.body
        ]
        self.transitions += changes.transitions

    def texts(self, rule, *, repeats=False):
        """(hour, subject, body) of what the owner was told by that rule, the reminders left out."""
        return [
            (hour, key.split("/")[1], body)
            for hour, key, contact, body in self.phone
            if contact == "owner"
            and key.startswith(f"{rule}/")
            and (repeats or not body.startswith("Still: "))
        ]

    def local(self, hour):
        """A clock on the wall at that hour of the night, as texts write it."""
        at = datetime.fromtimestamp(T0 / 1000 + hour * 3600, UTC)
        return at.astimezone(ZoneInfo("America/New_York")).strftime("%H:%M")


def calm(night):
    """Everything as it should be: good vacuum, a thaw, tanks a third full and still."""
    night.show |= {
        "pump-vacuum": lambda hour: 26.0 + wobble(hour, 1),
        "ledge-far": lambda hour: 25.0 + wobble(hour, 2),
        "brook-far": lambda hour: 25.2 + wobble(hour, 3),
        "upper-level": lambda hour: 1.0 + 0.01 * wobble(hour, 4),
        "lower-level": lambda hour: 1.5 + 0.01 * wobble(hour, 5),
        "air": lambda _hour: 40.0,
    }
    return night


def wobble(hour, seed):
    """A gauge's last digit: within 0.15, never the same twice running, the same in every run."""
    return ((round(hour * 360) * 2654435761 + seed * 40503) % 1000) / 1000 * 0.3 - 0.15
