"""`lantern check`: says what the farm file means, and who is heard of those it names."""

import os
import threading
from collections import Counter, deque

from rich.console import Console
from rich.table import Table

from collector.alerting.brief import when_words
from collector.intake import Memory, take_in
from collector.topics import Router, router_of
from shared.alerts import Priority
from shared.clock import Clock
from shared.farm import Farm
from shared.farm_contacts import Contact, Horn, Quiet
from shared.farm_parts import PUMP, Sensor
from shared.physics.tanks import capacity_m3, full_height_m
from shared.publisher import Publisher
from shared.readings import PLAUSIBLE
from shared.settings import Settings
from shared.tuning import Rules, effective
from shared.tuning.section import RuleTuning
from shared.units import from_si
from shared.words import duration, gallons

SHOWN_UNITS = {"_pa": "inHg", "_fraction": "%", "_m": "ft", "_c": "degF"}


def print_farm(farm: Farm, console: Console) -> None:
    """The farm as tables: lines, tanks, sensors, how rules are tuned, and who is told."""
    console.print(
        f"[bold]{farm.name}[/bold]: {farm.taps:,} taps, {from_si(farm.elevation_m, 'ft'):,.0f} ft, {farm.timezone}"
    )
    lines = _table("Lines", "line", "kind", "joins", "at", "length", "bore", "taps")
    for line in farm.lines:
        at, length = (f"{from_si(m, 'ft'):,.0f} ft" for m in (line.joins_at_m, line.length_m))
        lines.add_row(
            line.id,
            line.kind,
            line.parent,
            at,
            length,
            f"{from_si(line.bore_m, 'in'):.3g} in",
            str(line.taps),
        )
    tanks = _table("Tanks", "tank", "shape", "holds", "capacity", "height", "drains to")
    for tank in farm.tanks:
        height = f"{from_si(full_height_m(tank.geometry), 'in'):.1f} in"
        tanks.add_row(
            tank.id, tank.shape, tank.holds, gallons(capacity_m3(tank.geometry)), height, tank.drains_to or ""
        )
    sensors = _table("Sensors", "sensor", "quantity", "unit", "where", "topic", "every")
    for sensor in farm.sensors:
        sensors.add_row(
            sensor.id,
            sensor.quantity,
            sensor.unit,
            _where(farm, sensor),
            farm.topic_of(sensor) + (sensor.field or ""),
            f"{sensor.interval_s:g} s",
        )
    rules = _table("Rules", "rule", "where", "how it is tuned")
    for name in Rules.model_fields:
        rules.add_row(name, "farm", tuned(effective(farm.rules, None, name)))
        own = {s.id: s.rules for s in farm.sensors} | {t.id: t.rules for t in farm.tanks}
        for place, theirs in own.items():
            if name in theirs.model_fields_set:
                rules.add_row("", place, tuned(effective(farm.rules, theirs, name)))
    for table in (lines, tanks, sensors, rules):
        if table.row_count:
            console.print(table)
    _print_told(farm, console)


def print_heard(settings: Settings, farm: Farm, seconds: float, console: Console, clock: Clock) -> int:
    """Listen to everything the broker lets us hear; returns 1 when a sensor of the file was not heard.

    Raises:
        BrokerError: the broker cannot be reached or refuses us.
    """
    router, memory = router_of(farm), Memory()
    heard: Counter[str] = Counter()
    refused: dict[str, str] = {}
    unclaimed: Counter[str] = Counter()
    console.print(f"Listening for {seconds:g} s ...")
    came: deque[tuple[str, bytes, bool]] = deque()
    with Publisher(settings, f"lantern-check-{os.getpid()}") as ear:
        ear.hear(("#",), lambda *message: came.append(message))
        threading.Event().wait(seconds)
    for topic, payload, retain in came:
        if not _claims(router, topic):
            unclaimed[topic] += 1
            continue
        intake = take_in(router, memory, topic, payload, clock(), retain=retain)
        heard.update(reading.sensor for reading in intake.readings)
        refused.update({reject.topic: reject.reason for reject in intake.rejects})
    found = _table("Heard", "sensor", "messages", "last value", "what is wrong")
    for sensor in farm.sensors:
        last = memory.by_sensor.get(sensor.id)
        said = "" if last is None or not heard[sensor.id] else _in_unit(sensor, last.value)
        wrong = refused.get(farm.topic_of(sensor), "" if heard[sensor.id] else "not heard")
        found.add_row(sensor.id, str(heard[sensor.id]), said, wrong)
    console.print(found)
    if unclaimed:
        strangers = _table("Unclaimed", "topic", "messages")
        for topic, count in unclaimed.most_common(50):
            strangers.add_row(topic, str(count))
        console.print(strangers)
    return int(any(not heard[sensor.id] for sensor in farm.sensors))


def _print_told(farm: Farm, console: Console) -> None:
    told = _table("Who is told, in this order", "contact", "name", "by what, in this order", "let sleep")
    for contact in farm.contacts:
        told.add_row(contact.id, contact.name, _channels(contact), _quiet(contact.quiet))
    if told.row_count:
        console.print(told)
    console.print(f"[bold]Night brief[/bold] {when_words(farm)}")
    if farm.horn is not None:
        console.print(f"[bold]Horn[/bold] {_horn(farm.horn, farm.id)}")


def _channels(contact: Contact) -> str:
    """`push, mail after 3 min`: a later one is used when none before it has taken the text by then."""
    waits_s = [(channel.id, channel.waits_s(place)) for place, channel in enumerate(contact.channels)]
    return ", ".join(
        f"{name} after {duration(wait_s)}" if wait_s else name + (" at once" if place else "")
        for place, (name, wait_s) in enumerate(waits_s)
    )


def _quiet(quiet: Quiet | None) -> str:
    if quiet is None:
        return ""
    held = "wake-ups too" if quiet.holds == "wake" else "but for wake-ups"
    return f"{quiet.begins:%H:%M}-{quiet.ends:%H:%M}, {held}"


def _horn(horn: Horn, farm_id: str) -> str:
    """When it sounds, and what is published for it."""
    unanswered = (
        "" if horn.unanswered_s is None else f", or answered by nobody for {duration(horn.unanswered_s)}"
    )
    when = f"when a wake-up was taken by no channel for {duration(horn.after_s)}{unanswered}"
    return f"{when}: {horn.on} or {horn.off} to {horn.topic_on(farm_id)}"


def _claims(router: Router, topic: str) -> bool:
    return topic in router.sensors_by_topic or topic.startswith(f"{router.root}/")


def _in_unit(sensor: Sensor, value: float) -> str:
    dimension = PLAUSIBLE[sensor.quantity].dimension
    unit = {"pressure": "inHg", "length": "in", "temperature": "degF", "voltage": "V", "flow": "gal/h"}.get(
        dimension
    )
    return f"{value:.3g}" if unit is None else f"{from_si(value, unit):.1f} {unit}"


def _where(farm: Farm, sensor: Sensor) -> str:
    if sensor.tank is not None:
        return sensor.tank
    if sensor.line is None or sensor.line == PUMP:
        return sensor.line or ""
    at_m = farm.line_by_id[sensor.line].length_m if sensor.at_m is None else sensor.at_m
    return f"{sensor.line}, {from_si(at_m, 'ft'):,.0f} ft up"


def tuned(tuning: RuleTuning) -> str:
    """A rule's thresholds and hold times in words: `trip drop 3 inHg, raise hold 2 min`."""
    if not tuning.enabled:
        return "off"
    capped = [] if tuning.at_most is Priority.WAKE else [f"at most {tuning.at_most}"]
    shown = (_said(field, value) for field, value in tuning if field not in ("enabled", "at_most"))
    return ", ".join([*shown, *capped])


def _said(field: str, value: float) -> str:
    """`trip_drop 3 inHg`: a threshold in the unit an owner would write it in."""
    if field.endswith("_s"):
        shown = f"{value / 3600:g} h" if value >= 3600 else f"{value / 60:g} min"  # noqa: PLR2004 - an hour
        return f"{field.removesuffix('_s').replace('_', ' ')} {shown}"
    for ending, unit in SHOWN_UNITS.items():
        if field.endswith(ending):
            return f"{field.removesuffix(ending).replace('_', ' ')} {from_si(value, unit):.3g} {unit}"
    return f"{field.replace('_', ' ')} {value:g}"


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False)
    for column in columns:
        table.add_column(column, header_style="italic")
    return table
