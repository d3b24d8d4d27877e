"""A farm without what would tell whose it is: same pipes, tanks and sensors under neutral names; pure.

Kept are numbers, and words that mean the same on every farm (units, shapes, kinds, the time zone). Names are
replaced by their kind and place in the file. Everything else goes: contacts, coordinates, and any text that is
not known to be harmless, so that a new key of the farm file is left out until somebody has thought of it.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shared.farm import Farm
from shared.farm_file import parse_farm
from shared.farm_parts import PUMP, Sensor

FARM_ID = "farm-1"
_FARM_NAME = "A farm"
_HARMLESS = frozenset({"timezone", "kind", "shape", "holds", "heads", "quantity", "unit", "span_unit"})
_LINES = frozenset({"line", "parent"})
_TANKS = frozenset({"tank", "drains_to", "takes_from", "concentrate_to", "permeate_to"})
_LEFT_OUT = frozenset({"contact", "drill", "brief", "horn", "latitude_deg", "longitude_deg"})


@dataclass(frozen=True, slots=True)
class Names:
    """Old name to new, of each kind; a topic of a sensor's own has a new one too."""

    lines: Mapping[str, str]
    tanks: Mapping[str, str]
    sensors: Mapping[str, str]
    topics: Mapping[str, str]

    @property
    def subjects(self) -> dict[str, str]:
        """Whatever an alert may be about."""
        return {**self.sensors, **self.lines, **self.tanks}


def names_of(farm: Farm) -> Names:
    """The neutral names of a farm's parts."""
    own_topics = dict.fromkeys(sensor.topic for sensor in farm.sensors if sensor.topic is not None)
    topics = {topic: f"topics/topic-{number}" for number, topic in enumerate(own_topics, start=1)}
    sensors = _numbered("sensor", (sensor.id for sensor in farm.sensors))
    for sensor in farm.sensors:
        if sensor.topic is None:
            topics[farm.topic_of(sensor)] = f"lantern/{FARM_ID}/{sensors[sensor.id]}"
    return Names(
        lines={PUMP: PUMP} | _numbered("line", (line.id for line in farm.lines)),
        tanks=_numbered("tank", (tank.id for tank in farm.tanks)),
        sensors=sensors,
        topics=topics,
    )


def neutral_farm_text(farm: Farm, names: Names) -> str:
    """The farm file of the same farm under neutral names, SI throughout.

    Raises:
        FarmFileError: a text that the farm cannot do without is not known to be harmless.
    """
    tree = farm.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    neutral = _table(tree, names)
    neutral |= {"id": FARM_ID, "name": _FARM_NAME}
    for kind, new in (("line", names.lines), ("tank", names.tanks), ("sensor", names.sensors)):
        for was, now in zip(tree.get(kind, ()), neutral.get(kind, ()), strict=True):
            now["id"] = new[was["id"]]
    gateways = _numbered("gateway", farm.sensors_by_gateway)
    for sensor, now in zip(farm.sensors, neutral.get("sensor", ()), strict=True):
        now.update(_places(sensor, names))
        if sensor.gateway is not None:
            now["gateway"] = gateways[sensor.gateway]
    text = farm_text(neutral)
    parse_farm(text)
    return text


def time_key(sensor: str) -> str:
    """Where a neutral payload has the time of a sensor that had a `time_field`."""
    return f"{sensor}-time"


def farm_text(tree: Mapping[str, Any]) -> str:
    """The TOML of a farm file, from the farm as plain lists, tables and values."""
    head = {key: value for key, value in tree.items() if not _is_section(value)}
    parts = [_section("[farm]", head)]
    for key, value in tree.items():
        if _is_section(value):
            tables, title = ([value], f"[{key}]") if isinstance(value, dict) else (value, f"[[{key}]]")
            parts += [_section(title, table) for table in tables]
    return "\n".join(parts)


def _numbered(kind: str, names: Any) -> dict[str, str]:
    return {name: f"{kind}-{number}" for number, name in enumerate(names, start=1)}


def _places(sensor: Sensor, names: Names) -> dict[str, str]:
    new = names.sensors[sensor.id]
    places = {}
    if sensor.topic is not None:
        places["topic"] = names.topics[sensor.topic]
    if sensor.field is not None:
        places["field"] = f"/{new}" if sensor.field else sensor.field  # "" is the whole payload
    if sensor.time_field is not None:
        places["time_field"] = f"/{time_key(new)}"
    return places


def _table(table: Mapping[str, Any], names: Names) -> dict[str, Any]:
    kept = {key: _kept(key, value, names) for key, value in table.items() if key not in _LEFT_OUT}
    return {key: value for key, value in kept.items() if value is not None}


def _kept(key: str, value: Any, names: Names) -> Any:
    match value:
        case dict():
            return _table(value, names)
        case list():
            return [kept for item in value if (kept := _kept(key, item, names)) is not None]
        case str() if key in _LINES:
            return names.lines[value]
        case str() if key in _TANKS:
            return names.tanks[value]
        case str() if key not in _HARMLESS:
            return None
    return value


def _is_section(value: Any) -> bool:
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
    )


def _section(title: str, table: Mapping[str, Any]) -> str:
    lines = (f"{key} = {_value(value)}\n" for key, value in table.items())
    return f"{title}\n{''.join(lines)}"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    # Text, numbers and truth values are written in TOML as in JSON.
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
