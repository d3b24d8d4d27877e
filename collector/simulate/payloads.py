"""Payloads as sensors speak them, one template for each topic.

The formats are those the collector reads: a bare number, an object with value, unit and time, a SenML array
(RFC 8428), or any JSON in which a `field` of the farm file points at the value. Sensors that share a topic
speak in one message.
"""

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from collector.simulate.sensors import Probe
from collector.simulate.story import Story
from shared.farm import Farm
from shared.requests import LogKind, WriteLog, encode

SENML_UNITS = {"degC": "Cel", "C": "Cel"}
"""Symbols of ours that SenML spells otherwise."""


@dataclass(frozen=True, slots=True)
class Template:
    """The text of a topic's payloads with a slot for each number and each time."""

    text: str
    times: tuple[str, ...]
    """How each time is written: iso or unix."""
    order: tuple[int, ...] | None
    """Which number, then which time, fills which slot; None: in turn."""


def template_of(farm: Farm, story: Story, group: tuple[Probe, ...]) -> Template:
    """How the sensors of one topic speak."""
    sensor = group[0].sensor
    if sensor.field is not None:
        return _firmware(story, group)
    unit = sensor.unit.replace("%", "%%")
    match story.payloads.get(sensor.id, "json"):
        case "bare" | "text":
            return Template("%s", (), None)
        case "senml":
            unit = SENML_UNITS.get(unit, unit)
            record = f'{{"bn":"{farm.id}/","n":"{sensor.id}","u":"{unit}","v":%s,"t":%s}}'
            return Template(f"[{record}]", ("unix",), None)
        case _:
            return Template(f'{{"value":%s,"unit":"{unit}","time":"%s"}}', ("iso",), None)


def filled(template: Template, parts: list[str], unix_s: int) -> str:
    """A payload with those numbers at that time."""
    filling = [*parts, *[iso(unix_s) if kind == "iso" else str(unix_s) for kind in template.times]]
    if template.order is not None:
        filling = [filling[i] for i in template.order]
    return template.text % tuple(filling)


def written(p: Probe, number: float) -> str:
    """A number as that sensor writes it, in JSON's own spelling: 24.5, not 24.50."""
    if p.words is not None:
        return p.words[round(number)]
    text = p.style % number
    if p.has_fraction:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def washed(tank_id: str, at_ms: int) -> str:
    """The crew's log entry that a tank has been washed."""
    entry = WriteLog(
        f"washed-{tank_id}-{at_ms}", "crew", at_ms, entry=LogKind.TANK_WASHED, happened_ms=at_ms, tank=tank_id
    )
    return json.dumps(json.loads(encode(entry)), separators=(",", ":"))


@lru_cache(maxsize=256)
def iso(unix_s: int) -> str:
    """RFC 3339 to the second."""
    return datetime.fromtimestamp(unix_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _firmware(story: Story, group: tuple[Probe, ...]) -> Template:
    """JSON of a firmware's own, built around the pointers of the farm file."""
    root: dict[str, Any] = {}
    slots: list[str] = []
    for i, p in enumerate(group):
        _put(root, p.sensor.field or "", f"@{i}@")
        slots.append('"%s"' if story.payloads.get(p.sensor.id) == "text" else "%s")
    pointers = sorted({p.sensor.time_field for p in group if p.sensor.time_field is not None})
    for i, pointer in enumerate(pointers, len(group)):
        _put(root, pointer, f"@{i}@")
        slots.append('"%s"')
    text = json.dumps(_listed(root), separators=(",", ":")).replace("%", "%%")
    order = sorted(range(len(slots)), key=lambda i: text.index(f'"@{i}@"'))
    for i, slot in enumerate(slots):
        text = text.replace(f'"@{i}@"', slot)
    return Template(text, ("iso",) * len(pointers), tuple(order))


def _put(root: dict[str, Any], pointer: str, value: str) -> None:
    tokens = [token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:]]
    at = root
    for token in tokens[:-1]:
        at = at.setdefault(token, {})
    at[tokens[-1]] = value


def _listed(node: Any) -> Any:
    """Objects whose keys are 0, 1, 2 … become arrays."""
    if not isinstance(node, dict):
        return node
    if list(node) == [str(i) for i in range(len(node))]:
        return [_listed(child) for child in node.values()]
    return {key: _listed(child) for key, child in node.items()}
