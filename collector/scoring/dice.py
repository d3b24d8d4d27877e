"""Nights drawn by dice for scoring: the same farm and seed give the same night.

More than half are calm: nothing happens but weather, sap and a crew at work. On the others one or two troubles
come, some of them no reason to get up. What is due is not known here: it is read off the truth (due.py).
"""

from dataclasses import dataclass
from random import Random
from typing import Any

from collector.simulate.story import Story
from shared.farm import Farm
from shared.farm_parts import Holds, LineKind, Sensor
from shared.readings import Quantity
from shared.units import GALLON_M3, HOUR_S, INCH_M, INHG_PA, UNITS, from_si

CALM_SHARE = 0.6
SECOND_TROUBLE_SHARE = 0.25
NIGHT_H = 14.0
LONG_NIGHT_H = 28.0
"""Sap that is held grows a day old."""
LEAST_INTERVAL_S = 60.0
"""Sensors speak no more often than this, so that many nights go by in minutes."""
FIRST_DAY_MS = 1_773_100_800_000
"""2026-03-10T00:00:00Z."""
SEASON_DAYS = 33
EVENINGS_UTC_H = (19.0, 24.0)
"""Three to eight in the evening on the farm's clock, in the east of North America."""
QUIET_H = 2.0
"""Nothing happens before: every sensor's usual takes its half hour."""

Told = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A night to be simulated; `troubles` are its events' kinds, none on a calm night."""

    story: Story
    start_ms: int
    days: float
    troubles: tuple[str, ...]


def slowed(farm: Farm) -> Farm:
    """The farm with sensors that speak no more often than once a minute."""
    sensors = tuple(
        s.model_copy(update={"interval_s": max(s.interval_s, LEAST_INTERVAL_S)}) for s in farm.sensors
    )
    fields = {(field.alias or name): getattr(farm, name) for name, field in Farm.model_fields.items()}
    return Farm.model_validate(fields | {"sensor": sensors})


def draw(farm: Farm, seed: int) -> Drawn:
    """One night of that farm."""
    rng = Random(f"night {seed}")  # noqa: S311 - repeatable, not secret
    start_ms = FIRST_DAY_MS + rng.randrange(SEASON_DAYS) * 86_400_000
    start_ms += round(rng.uniform(*EVENINGS_UTC_H) * HOUR_S) * 1000
    events: list[Told] = []
    if rng.random() >= CALM_SHARE:
        for _ in range(1 + (rng.random() < SECOND_TROUBLE_SHARE)):
            events.extend(_trouble(farm, rng))
    hours = LONG_NIGHT_H if any(event["kind"] == "sap_held" for event in events) else NIGHT_H
    title = f"night {seed}: {', '.join(_name(event) for event in events) or 'calm'}"
    told = {
        "title": title,
        "duration_s": hours * HOUR_S,
        "seed": seed,
        "weather": _weather(rng),
        "plant": {"transfer_m3_s": rng.uniform(600, 1500) * GALLON_M3 / HOUR_S},
        "link": _link(rng),
        "tanks": _tanks(farm, rng),
        "event": events,
    }
    return Drawn(Story.model_validate(told), start_ms, hours / 24.0, tuple(_name(event) for event in events))


def _name(event: Told) -> str:
    return str(event.get("fault") or event["kind"])


def _weather(rng: Random) -> Told:
    fronts = [[-12, rng.uniform(-0.2, 0.3)], [4, rng.uniform(-0.3, 0.3)], [14, rng.uniform(-0.5, 0.3)]]
    told: Told = {"gust_kelvin": rng.uniform(0.05, 0.3), "barometer_inhg": fronts}
    before = [[-30, rng.uniform(34, 42)], [-13, rng.uniform(18, 28)], [-9, rng.uniform(22, 29)]]
    noon = [-4, rng.uniform(38, 48)]
    match rng.choices(("runs on", "freezes", "hovers", "thaws late", "drawn"), (40, 20, 10, 10, 20))[0]:
        case "runs on":
            told["air_f"] = [*before, noon, [4, rng.uniform(37, 45)], [14, rng.uniform(35, 42)]]
        case "freezes":
            frost_h = rng.uniform(2, 9)
            told["air_f"] = [*before, noon, [frost_h, 33], [frost_h + 3, rng.uniform(18, 29)], [30, 36]]
        case "hovers":
            told["air_f"] = [*before, noon, [3, rng.uniform(31, 35)], [8, rng.uniform(29.5, 34)], [14, 33]]
        case "thaws late":
            cold = [[-30, 33], [-6, rng.uniform(20, 29)], [1, rng.uniform(25, 31)]]
            told["air_f"] = [*cold, [rng.uniform(5, 8), rng.uniform(36, 42)], [14, rng.uniform(36, 46)]]
        case _:
            return {"first_day_of_season": rng.uniform(3, 38)}
    return told


def _link(rng: Random) -> Told:
    if rng.random() < 0.7:  # noqa: PLR2004 - seven links in ten are good
        return {}
    return {"duplicate_fraction": 0.01, "late_fraction": 0.01, "late_s": rng.uniform(20, 90)}


def _tanks(farm: Farm, rng: Random) -> dict[str, Told]:
    return {
        tank.id: {"volume_m3": rng.uniform(1.0, 3.0) * tank.heel_m3, "age_s": rng.uniform(0, 4) * HOUR_S}
        for tank in farm.tanks
        if tank.holds is Holds.SAP
    }


def _trouble(farm: Farm, rng: Random) -> list[Told]:
    at_s = rng.uniform(QUIET_H, 0.75 * NIGHT_H) * HOUR_S
    drawn = rng.choices(tuple(_TROUBLES), tuple(weight for weight, _ in _TROUBLES.values()))[0]
    made = _TROUBLES[drawn][1](farm, rng)
    for event in made:
        event.setdefault("at_s", at_s)
        if rng.random() < 0.5:  # noqa: PLR2004 - half of them are mended in the night
            event.setdefault("for_s", rng.uniform(0.7, 6.0) * HOUR_S)
    return made


def _on_a_line(farm: Farm, rng: Random) -> Told:
    lines = [line for line in farm.lines if line.kind is LineKind.MAINLINE]
    line = rng.choices(lines, [line.length_m for line in lines])[0]
    return {"line": line.id, "place_m": rng.uniform(0.05, 0.97) * line.length_m}


def _small_leak(farm: Farm, rng: Random) -> list[Told]:
    return [{"kind": "leak", **_on_a_line(farm, rng), "hole_m": rng.uniform(0.03, 0.09) * INCH_M}]


def _leak(farm: Farm, rng: Random) -> list[Told]:
    return [{"kind": "leak", **_on_a_line(farm, rng), "hole_m": rng.uniform(0.12, 0.3) * INCH_M}]


def _limb(farm: Farm, rng: Random) -> list[Told]:
    hole_m = rng.uniform(0.18, 0.6) * INCH_M
    return [{"kind": "limb_down", **_on_a_line(farm, rng), "hole_m": hole_m, "sap_lost_fraction": 0.5}]


def _pump(_farm: Farm, _rng: Random) -> list[Told]:
    return [{"kind": "pump_stop"}]


def _releaser(_farm: Farm, rng: Random) -> list[Told]:
    hole_m = rng.uniform(0.25, 0.5) * INCH_M
    return [{"kind": "releaser_stuck", "way": rng.choice(("open", "closed")), "hole_m": hole_m}]


def _valve(farm: Farm, rng: Random) -> list[Told]:
    return [{"kind": "valve_closed", "line": _on_a_line(farm, rng)["line"]}]


def _tank(farm: Farm, rng: Random) -> list[Told]:
    tanks = [tank for tank in farm.tanks if tank.drains_to is not None] or list(farm.tanks)
    if not tanks:
        return []
    kind = rng.choice(("tank_unattended", "transfer_forgotten"))
    return [{"kind": kind, "tank": rng.choice(tanks).id, "at_s": rng.uniform(0, 4) * HOUR_S}]


def _held(farm: Farm, rng: Random) -> list[Told]:
    tanks = farm.ro.takes_from if farm.ro is not None else ()
    return [
        {"kind": "sap_held", "tank": tank, "at_s": 0.0, "for_s": rng.uniform(6, 28) * HOUR_S}
        for tank in tanks
    ]


def _outage(farm: Farm, rng: Random) -> list[Told]:
    told: Told = {"kind": "link_outage", "for_s": rng.uniform(0.1, 4) * HOUR_S, "lost": rng.random() < 0.3}  # noqa: PLR2004
    if rng.random() < 0.6:  # noqa: PLR2004 - mostly the woods' own link
        told["sensors"] = [s.id for s in farm.sensors_of(Quantity.VACUUM)]
    return [told]


def _faulty(farm: Farm, rng: Random) -> list[Told]:
    watched = (Quantity.VACUUM, Quantity.LEVEL, Quantity.SAP_TEMPERATURE, Quantity.AIR_TEMPERATURE)
    sensor = rng.choice([s for s in farm.sensors if s.quantity in watched])
    faults = ["stuck", "drifting", "spiking", "clock_off", "battery_dying", "dropout"]
    if sensor.quantity is Quantity.VACUUM:
        faults.append("wrong_unit")
    fault = rng.choice(faults)
    told: Told = {"kind": "sensor_fault", "sensor": sensor.id, "fault": fault}
    match fault:
        case "drifting":
            told["drift_per_h"] = rng.choice((-1, 1)) * rng.uniform(0.02, 0.15) * _own(sensor)
        case "spiking":
            told |= {"spike": rng.uniform(2, 15) * _own(sensor), "share_fraction": rng.uniform(0.01, 0.04)}
        case "clock_off":
            told["clock_off_s"] = rng.choice((-1, 1)) * rng.uniform(60, 5400)
        case "dropout":
            told["share_fraction"] = rng.choice((0.3, 0.7, 1.0))
        case "wrong_unit":
            told["unit"] = rng.choice([unit for unit in ("psi", "kPa", "inHg") if unit != sensor.unit])
        case _:
            pass
    return [told]


def _own(sensor: Sensor) -> float:
    """A change that matters, in the sensor's own unit: an inch of mercury, an inch, half a kelvin."""
    dimension = UNITS[sensor.unit].dimension
    match dimension.value:
        case "pressure":
            return from_si(INHG_PA if sensor.quantity is Quantity.VACUUM else INHG_PA / 13, sensor.unit)
        case "length":
            return from_si(INCH_M, sensor.unit)
        case _:
            return 0.5


_TROUBLES = {
    "small leak": (12, _small_leak),
    "leak": (18, _leak),
    "limb": (10, _limb),
    "pump": (7, _pump),
    "releaser": (6, _releaser),
    "valve": (4, _valve),
    "tank": (18, _tank),
    "held": (4, _held),
    "outage": (8, _outage),
    "faulty": (20, _faulty),
}
"""Weights: leaks and tanks are what wakes people; the rest must be seen often enough to count."""
