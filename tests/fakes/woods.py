"""A sugarbush whose plumbing is known: air drawn by a pump through lines that leak a little at every tap.

Pressures come from compressible pipe flow with the friction of Swamee and Jain, not from the estimator's own
formulas; a hole is an orifice, choked or not; the pump moves a constant volume above its ultimate pressure.
"""

from dataclasses import dataclass, field
from math import exp, log10, pi, sqrt
from random import Random

from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.physics.leak_test import hole_free_air_m3_s
from shared.units import CFM_M3_S, INHG_PA

STEP_M = 50.0
AIR_KG_M3 = 1.27
AIR_PA_S = 1.75e-5
ATMOSPHERE_PA = 101_325.0
LAMINAR_REYNOLDS = 2300.0
SETTLED_PA = 1.0

Table = dict[str, object]


@dataclass(frozen=True, slots=True)
class Hole:
    line: str
    at_m: float
    diameter_m: float


@dataclass(frozen=True, slots=True)
class Woods:
    """One farm's plumbing.

    `wet` multiplies a line's friction, as sap takes its share of the bore; beyond `plug` (a line and a place)
    nothing flows to the pump any more.
    """

    farm: Farm
    pump_m3_s: float
    tap_air_m3_s: float
    station_pa: float = 96_000.0
    ultimate_pa: float = 1.0 * INHG_PA
    regulated_pa: float | None = None
    wet: dict[str, float] = field(default_factory=dict)
    holes: tuple[Hole, ...] = ()
    plug: tuple[str, float] | None = None

    def vacuums_pa(self) -> dict[str, float]:
        """Steady vacuum at each vacuum sensor."""
        places = self._pressures_pa()
        return {s.id: self.station_pa - places[where(self.farm, s.id)] for s in self.farm.sensors}

    def leak_m3_s(self) -> float:
        """Free air that the holes let in."""
        places = self._pressures_pa()
        return sum(_hole_m3_s(hole, self.station_pa, places[(hole.line, hole.at_m)]) for hole in self.holes)

    def _pressures_pa(self) -> dict[tuple[str, float], float]:
        points = _points(self)
        pressure = [self.station_pa * 0.2] * len(points)
        for _ in range(100):
            flow = [
                point.taps * self.tap_air_m3_s + sum(_hole_m3_s(h, self.station_pa, p) for h in point.holes)
                for point, p in zip(points, pressure, strict=True)
            ]
            for index in range(len(points) - 1, 0, -1):
                flow[points[index].below] += flow[index]
            at_pump_pa = self.ultimate_pa + self.station_pa * flow[0] / self.pump_m3_s
            if self.regulated_pa is not None:
                at_pump_pa = max(at_pump_pa, self.station_pa - self.regulated_pa)
            fresh = [min(at_pump_pa, self.station_pa)]
            for point, through in zip(points[1:], flow[1:], strict=True):
                squared = fresh[point.below] ** 2 + _friction_pa2(point, through)
                fresh.append(min(sqrt(squared), self.station_pa))
            # Half way: a hole that unchokes would make plain iteration ring.
            moved = max(abs(new - old) for old, new in zip(pressure, fresh, strict=True))
            pressure = [0.5 * (old + new) for old, new in zip(pressure, fresh, strict=True)]
            if moved < SETTLED_PA:
                break
        return {(point.line, point.at_m): p for point, p in zip(points, pressure, strict=True)}


@dataclass(slots=True)
class _Point:
    line: str
    at_m: float
    below: int
    length_m: float
    bore_m: float
    wet: float
    taps: float
    holes: tuple[Hole, ...]


def where(farm: Farm, name: str) -> tuple[str, float]:
    """Line and place of a sensor."""
    sensor = farm.sensor_by_id[name]
    assert sensor.line is not None
    if sensor.line == PUMP:
        return (PUMP, 0.0)
    return (sensor.line, farm.line_by_id[sensor.line].length_m if sensor.at_m is None else sensor.at_m)


def _hole_m3_s(hole: Hole, station_pa: float, line_pa: float) -> float:
    return hole_free_air_m3_s(hole.diameter_m, station_pa, max(0.0, station_pa - line_pa))


def _points(woods: Woods) -> list[_Point]:
    farm = woods.farm
    at_pump = tuple(hole for hole in woods.holes if hole.line == PUMP)
    points = [_Point(PUMP, 0.0, 0, 0.0, 1.0, 1.0, 0.0, at_pump)]
    index = {(PUMP, 0.0): 0}
    waiting = [line for line in farm.lines if line.parent == PUMP]
    while waiting:
        line = waiting.pop(0)
        children = [child for child in farm.lines if child.parent == line.id]
        marks = {i * STEP_M for i in range(int(line.length_m // STEP_M) + 1)} | {0.0, line.length_m}
        marks |= {child.joins_at_m for child in children}
        marks |= {at_m for name, at_m in (where(farm, s.id) for s in farm.sensors) if name == line.id}
        marks |= {hole.at_m for hole in woods.holes if hole.line == line.id}
        previous_m, below = 0.0, index[(line.parent, line.joins_at_m if line.parent != PUMP else 0.0)]
        for at_m in sorted(marks):
            length_m = at_m - previous_m
            holes = tuple(hole for hole in woods.holes if (hole.line, hole.at_m) == (line.id, at_m))
            taps = line.taps * length_m / line.length_m
            wet = woods.wet.get(line.id, 1.0)
            points.append(_Point(line.id, at_m, below, length_m, line.bore_m, wet, taps, holes))
            index[(line.id, at_m)] = below = len(points) - 1
            previous_m = at_m
        waiting += children
    if woods.plug is not None:
        _close(points, *woods.plug)
    return points


def _close(points: list[_Point], line: str, at_m: float) -> None:
    closed: set[int] = set()
    for index, point in enumerate(points):
        if index and (point.below in closed or (point.line == line and point.at_m > at_m)):
            closed.add(index)
            point.taps, point.holes = 0.0, ()


def _friction_pa2(point: _Point, free_air_m3_s: float) -> float:
    """Difference of squared pressures along a pipe. Source: isothermal flow; Swamee and Jain 1976."""
    if free_air_m3_s <= 0.0 or point.length_m <= 0.0:
        return 0.0
    mass_kg_s = AIR_KG_M3 * free_air_m3_s
    reynolds = 4.0 * mass_kg_s / (pi * point.bore_m * AIR_PA_S)
    roughness = 1.5e-6 / (3.7 * point.bore_m)
    turbulent = 0.25 / log10(roughness + 5.74 / reynolds**0.9) ** 2
    friction = 64.0 / reynolds if reynolds < LAMINAR_REYNOLDS else turbulent
    flux = mass_kg_s / (pi / 4.0 * point.bore_m**2)
    return point.wet * friction * point.length_m / point.bore_m * flux**2 * ATMOSPHERE_PA / AIR_KG_M3


def knob() -> Farm:
    """The invented farm in short: four mainlines on a conductor, a sensor at the pump and two on each."""
    mains = {"ledge": (150, 900), "brook": (270, 800), "north-face": (390, 950), "saddle": (500, 700)}
    lines: list[Table] = [{"id": "conductor", "kind": "conductor", "length_m": 500, "bore_in": 2.0}]
    sensors = [gauge("pump-vacuum", PUMP)]
    for name, (joins_at_m, length_m) in mains.items():
        lines.append(main(name, "conductor", joins_at_m, length_m, bore_in=1.25, taps=800))
        sensors += [gauge(f"{name}-near", name, 5), gauge(f"{name}-far", name)]
    return farm_of("juniper-knob", lines, sensors)


def any_farm(dice: Random) -> Farm:
    """A farm of any shape: some lack sensors at pump or joints, some branch twice or list laterals."""
    conductor_m = dice.uniform(150, 700)
    bore_in = dice.choice([1.5, 2.0, 2.0])
    lines: list[Table] = [
        {"id": "conductor", "kind": "conductor", "length_m": conductor_m, "bore_in": bore_in}
    ]
    sensors = [gauge("at-pump", PUMP)] if dice.random() < 0.9 else []
    near, with_laterals = dice.random() < 0.7, dice.random() < 0.3
    for number in range(dice.randint(2, 6)):
        name = f"main{number}"
        parent, reach_m = (
            ("main0", 300.0) if number > 1 and dice.random() < 0.2 else ("conductor", conductor_m)
        )
        joins_at_m = round(dice.uniform(0.2, 1.0) * reach_m, 1)
        length_m = dice.uniform(300, 1000)
        taps = round(dice.uniform(0.5, 1.2) * length_m)
        bore_in = dice.choice([1.0, 1.25, 1.25])
        lines.append(
            main(name, parent, joins_at_m, length_m, bore_in=bore_in, taps=0 if with_laterals else taps)
        )
        if with_laterals:
            count = dice.randint(3, 8)
            lines += [
                {
                    **main(f"{name}-lat{i}", name, round(length_m * (i + 0.5) / count, 1), 60.0, bore_in=0.5),
                    "kind": "lateral",
                    "taps": taps // count,
                }
                for i in range(count)
            ]
        sensors.append(gauge(f"{name}-far", name))
        if near:
            sensors.append(gauge(f"{name}-near", name, dice.choice([0.0, 5.0, 30.0])))
        if dice.random() < 0.25:
            sensors.append(gauge(f"{name}-mid", name, round(length_m / 2, 1)))
    return farm_of("any", lines, sensors)


def main(
    name: str, parent: str, joins_at_m: float, length_m: float, *, bore_in: float, taps: int = 0
) -> Table:
    """A mainline's table in a farm file."""
    place: Table = {"id": name, "kind": "mainline", "parent": parent, "joins_at_m": joins_at_m}
    return {**place, "length_m": length_m, "bore_in": bore_in, "taps": taps}


def gauge(name: str, line: str, at_m: float | None = None) -> Table:
    """A vacuum sensor's table in a farm file."""
    table: Table = {"id": name, "quantity": "vacuum", "unit": "inHg", "line": line}
    return table if at_m is None else {**table, "at_m": at_m}


def farm_of(name: str, lines: list[Table], sensors: list[Table]) -> Farm:
    """The farm with those lines and sensors."""
    head = {"id": name, "name": name, "timezone": "America/New_York", "elevation_ft": 1450}
    return Farm.model_validate({**head, "line": lines, "sensor": sensors})


def any_woods(dice: Random, farm: Farm) -> Woods:
    """That farm with a pump that suits it: 22 to 27 inHg at the pump, regulated on half of the farms."""
    tap_air_m3_s = dice.uniform(0.0015, 0.004) * CFM_M3_S
    station_pa = dice.uniform(92_000, 101_000)
    left_pa = dice.uniform(3.0, 6.0) * INHG_PA
    pump_m3_s = station_pa * farm.taps * tap_air_m3_s / (left_pa - INHG_PA)
    regulated_pa = None
    if dice.random() < 0.5:
        regulated_pa, pump_m3_s = station_pa - left_pa, pump_m3_s * dice.uniform(1.2, 2.0)
    wet = {line.id: exp(dice.gauss(0.2, 0.4)) for line in farm.lines}
    return Woods(farm, pump_m3_s, tap_air_m3_s, station_pa, regulated_pa=regulated_pa, wet=wet)
