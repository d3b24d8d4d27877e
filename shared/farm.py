"""The farm as its owner describes it: lines, tanks, machines, sensors, contacts, and how rules are tuned.

Each part checks itself (farm_parts); here is checked that they fit together. Reading the file, and what it
says about mistakes, is in farm_file.
"""

from collections.abc import Iterable
from functools import cached_property
from typing import Annotated, Self, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, Field, model_validator

from shared.farm_contacts import Brief, Contact, Horn, WeeklyDrill
from shared.farm_parts import PUMP, Evaporator, Id, Line, ReverseOsmosis, Sensor, Tank
from shared.farm_units import Section
from shared.readings import Quantity
from shared.tuning import RULE_OF, Rules, effective
from shared.tuning.section import RuleTuning

Tuning = TypeVar("Tuning", bound=RuleTuning)


def _timezone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise ValueError("no such time zone; use a name such as America/New_York") from None
    return name


class Farm(Section):
    """Everything Lantern knows of a farm before the first reading."""

    id: Id
    name: str
    timezone: Annotated[str, AfterValidator(_timezone)]
    elevation_m: float = Field(ge=-100, le=4000)
    latitude_deg: float | None = Field(default=None, ge=-90, le=90)
    longitude_deg: float | None = Field(default=None, ge=-180, le=180)
    sap_brix: float = Field(default=2.0, gt=0, le=10)
    lines: tuple[Line, ...] = Field(default=(), alias="line")
    tanks: tuple[Tank, ...] = Field(default=(), alias="tank")
    sensors: tuple[Sensor, ...] = Field(default=(), alias="sensor")
    contacts: tuple[Contact, ...] = Field(default=(), alias="contact")
    ro: ReverseOsmosis | None = None
    evaporator: Evaporator | None = None
    drill: WeeklyDrill | None = None
    horn: Horn | None = None
    brief: Brief = Brief()
    rules: Rules = Rules()

    @property
    def taps(self) -> int:
        """Taps on all lines."""
        return sum(line.taps for line in self.lines)

    @property
    def zone(self) -> ZoneInfo:
        """The farm's time zone."""
        return ZoneInfo(self.timezone)

    @cached_property
    def line_by_id(self) -> dict[str, Line]:
        """The lines by id."""
        return {line.id: line for line in self.lines}

    @cached_property
    def tank_by_id(self) -> dict[str, Tank]:
        """The tanks by id."""
        return {tank.id: tank for tank in self.tanks}

    @cached_property
    def sensor_by_id(self) -> dict[str, Sensor]:
        """The sensors by id."""
        return {sensor.id: sensor for sensor in self.sensors}

    @cached_property
    def _sensors_by_quantity(self) -> dict[Quantity, tuple[Sensor, ...]]:
        return {q: tuple(s for s in self.sensors if s.quantity is q) for q in Quantity}

    @cached_property
    def _tunings(self) -> dict[tuple[str, type, str], RuleTuning]:
        items: list[Sensor | Tank] = [*self.sensors, *self.tanks]
        return {
            (rule, type(item), item.id): effective(self.rules, item.rules, rule)
            for rule in Rules.model_fields
            for item in items
        }

    def tuning(self, section: type[Tuning], item: Sensor | Tank | None = None) -> Tuning:
        """How the rule of that section is tuned for that sensor or tank, or for the farm as a whole."""
        rule = RULE_OF[section]
        found = getattr(self.rules, rule) if item is None else self._tunings[rule, type(item), item.id]
        assert isinstance(found, section)
        return found

    def topic_of(self, sensor: Sensor) -> str:
        """The MQTT topic on which that sensor speaks."""
        return sensor.topic if sensor.topic is not None else f"lantern/{self.id}/{sensor.id}"

    @cached_property
    def sensors_by_gateway(self) -> dict[str, tuple[Sensor, ...]]:
        """The sensors that speak through each gateway, in the file's order."""
        gateways = dict.fromkeys(sensor.gateway for sensor in self.sensors if sensor.gateway is not None)
        return {name: tuple(s for s in self.sensors if s.gateway == name) for name in gateways}

    def sensors_of(self, quantity: Quantity, *, tank: str | None = None) -> tuple[Sensor, ...]:
        """The sensors of that quantity, in the file's order; of one tank if named."""
        found = self._sensors_by_quantity.get(quantity, ())
        return found if tank is None else tuple(s for s in found if s.tank == tank)

    @model_validator(mode="after")
    def _everything_fits(self) -> Self:
        # One id means one thing everywhere: in texts, topics and the store.
        _need_unique("line", [PUMP, *(line.id for line in self.lines)])
        for kind, items in (("tank", self.tanks), ("sensor", self.sensors), ("contact", self.contacts)):
            _need_unique(kind, [item.id for item in items])
        taken = sorted({s.gateway for s in self.sensors if s.gateway is not None} & set(self.sensor_by_id))
        if taken:
            raise ValueError(f"gateway {taken[0]} is a sensor's id as well; give it another")
        for line in self.lines:
            self._need_parent(line)
        self._need_tree()
        for sensor in self.sensors:
            self._need_line(sensor)
        for place, tank_id in self._tanks_named():
            if tank_id not in self.tank_by_id:
                raise _missing(place, tank_id, self.tank_by_id)
        if self.contacts and all(c.quiet is not None and c.quiet.holds == "wake" for c in self.contacts):
            raise ValueError(
                'quiet: holds = "wake" for every contact leaves nobody to be woken; free one of them'
            )
        for contact_id in self.brief.contacts:
            if contact_id not in {contact.id for contact in self.contacts}:
                raise _missing("brief: contacts", contact_id, (contact.id for contact in self.contacts))
        _ = self._tunings  # refuses what does not fit together
        return self

    def _need_parent(self, line: Line) -> None:
        if line.parent == PUMP:
            return
        parent = self.line_by_id.get(line.parent)
        if parent is None:
            raise _missing(f"line {line.id}: parent", line.parent, [PUMP, *self.line_by_id])
        if line.joins_at_m > parent.length_m:
            raise ValueError(f"line {line.id}: joins_at is beyond the end of {parent.id}; measure again")

    def _need_line(self, sensor: Sensor) -> None:
        if sensor.line is None or sensor.line == PUMP:
            return
        line = self.line_by_id.get(sensor.line)
        if line is None:
            raise _missing(f"sensor {sensor.id}: line", sensor.line, [PUMP, *self.line_by_id])
        if sensor.at_m is not None and sensor.at_m > line.length_m:
            raise ValueError(f"sensor {sensor.id}: at is beyond the end of {line.id}; measure again")

    def _tanks_named(self) -> Iterable[tuple[str, str]]:
        """Every place in the file that names a tank, with the name."""
        for tank in self.tanks:
            if tank.drains_to is not None:
                yield f"tank {tank.id}: drains_to", tank.drains_to
        for sensor in self.sensors:
            if sensor.tank is not None:
                yield f"sensor {sensor.id}: tank", sensor.tank
        if self.ro is not None:
            for tank_id in self.ro.takes_from:
                yield "ro: takes_from", tank_id
            for place, target in (
                ("concentrate_to", self.ro.concentrate_to),
                ("permeate_to", self.ro.permeate_to),
            ):
                if target is not None:
                    yield f"ro: {place}", target
        if self.evaporator is not None and self.evaporator.takes_from is not None:
            yield "evaporator: takes_from", self.evaporator.takes_from

    def _need_tree(self) -> None:
        for line in self.lines:
            seen = {line.id}
            up = line.parent
            while up != PUMP:
                if up in seen:
                    raise ValueError(
                        f"line {line.id}: its parents lead back to itself; one must join the pump"
                    )
                seen.add(up)
                up = self.line_by_id[up].parent


def _need_unique(kind: str, ids: list[str]) -> None:
    double = sorted({i for i in ids if ids.count(i) > 1})
    if double:
        raise ValueError(f"{kind} id {', '.join(double)} is used twice; give each its own")


def _missing(place: str, name: str, known: Iterable[str]) -> ValueError:
    return ValueError(f"{place} = {name!r} is not on this farm; known: {', '.join(known) or 'none'}")
