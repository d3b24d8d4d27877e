"""The network of lines under vacuum: pump, line loss, holes, valves and ice.

Lines are cut at their joints, sensors and holes into nodes of a tree whose root is the releaser. Each step:

1. every node takes in air: what its taps leak, and what holes let in, choked or not;
2. flows are added up from the ends to the pump; a shut valve or ice cuts its branch off;
3. the root's pressure follows the balance of inflow and pump, within the time of volume over pump speed;
4. pressures go down the tree, the difference of squares by isothermal pipe flow;
5. a branch that is cut off fills with its own leaks.

Air is counted as free air, m3/s at station pressure.
"""

from dataclasses import dataclass, field
from math import exp, pi

from collector.simulate.moment import Moment
from shared.farm import Farm
from shared.farm_parts import PUMP, Line, LineKind
from shared.physics.leak_test import ABSOLUTE_ZERO_C, CHOKED_RATIO, hole_free_air_m3_s
from shared.units import CFM_M3_S, FOOT_M, INCH_M

FRICTION = 0.03
"""Darcy friction factor of a line that also carries sap: rough, never still (common practice, no source)."""
AIR_J_KG_K = 287.05
"""Dry air. Source: US Standard Atmosphere 1976, R*/M."""
TAP_TUBING_M3 = 18.0 * FOOT_M * pi / 4 * (5 / 16 * INCH_M) ** 2
"""Lateral and drop of one tap, 18 ft of 5/16 in (common practice, no source)."""
GAS_SHARE = 0.7
"""Of the tubing's volume; the rest is sap."""
MANIFOLD_M3 = 0.3
"""Gas space of releaser, traps and manifold (common practice, no source)."""
MANIFOLD_AIR_M3_S = 0.3 * CFM_M3_S
"""What leaks in there, by which the vacuum goes when the pump rests (common practice, no source)."""
FROZEN_LEAK_SHARE = 0.12
"""Ice closes most leaks too: a frozen line loses its vacuum over tens of minutes, not at once."""

_GAMMA = 1.4
_CHOKED_SHAPE = CHOKED_RATIO ** (2 / _GAMMA) - CHOKED_RATIO ** ((_GAMMA + 1) / _GAMMA)
_NUDGE = 1e-4


@dataclass(slots=True)
class Hole:
    """A leak at a node; `choked_m3_s` is what it passes while choked, 0 while it is not there."""

    node: int
    diameter_m: float
    choked_m3_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Pump:
    """A vacuum pump of constant swept volume down to its blind-flange pressure; speed 0: it stands."""

    speed_m3_s: float
    ultimate_pa: float


@dataclass(slots=True)
class Woods:
    """The tree of nodes, parents before children; node 0 is the pump."""

    parent: list[int] = field(default_factory=lambda: [0])
    line: list[str] = field(default_factory=lambda: [PUMP])
    along_m: list[float] = field(default_factory=lambda: [0.0])
    resistance: list[float] = field(default_factory=lambda: [0.0])
    """Between the node and its parent: times weight and flow squared it is a difference of Pa squared."""
    to_pump: list[float] = field(default_factory=lambda: [0.0])
    """The same, summed to the pump: what a hole's inflow works against."""
    tight_air_m3_s: list[float] = field(default_factory=lambda: [MANIFOLD_AIR_M3_S])
    """What a tight piece lets in: by its taps, at the root by releaser and traps."""
    gas_m3: list[float] = field(default_factory=lambda: [MANIFOLD_M3])
    """Of the node's own piece."""
    beyond_m3: list[float] = field(default_factory=list)
    """Gas volume of the node and all beyond it."""
    first_node: dict[str, int] = field(default_factory=lambda: {PUMP: 0})
    """Line -> its first node past the joint: shut there, the line is cut off."""
    nodes: dict[str, list[int]] = field(default_factory=lambda: {PUMP: [0]})
    pressure_pa: list[float] = field(default_factory=list)
    flow_m3_s: list[float] = field(default_factory=list)
    holes: list[Hole] = field(default_factory=list)

    @property
    def volume_m3(self) -> float:
        """Gas space of the whole system."""
        return self.beyond_m3[0]


def lay_lines(farm: Farm, places: dict[str, set[float]], *, tap_air_m3_s: float, station_pa: float) -> Woods:
    """The network of a farm, with a node at every place (line -> distances along it) that is asked for."""
    woods = Woods()
    cuts = {line.id: {line.length_m} | places.get(line.id, set()) for line in farm.lines}
    for line in farm.lines:
        if line.parent != PUMP:
            cuts[line.parent].add(line.joins_at_m)
    for line in _parents_first(farm.lines):
        _lay(woods, line, sorted(cuts[line.id]), tap_air_m3_s)
    woods.beyond_m3 = woods.gas_m3.copy()
    for i in range(len(woods.parent) - 1, 0, -1):
        woods.beyond_m3[woods.parent[i]] += woods.beyond_m3[i]
    woods.pressure_pa = [station_pa] * len(woods.parent)
    woods.flow_m3_s = [0.0] * len(woods.parent)
    return woods


def node_at(woods: Woods, line: str, along_m: float | None) -> int:
    """The node nearest to a place; the far end without one."""
    nodes = woods.nodes[line]
    if along_m is None:
        return nodes[-1]
    return min(nodes, key=lambda i: abs(woods.along_m[i] - along_m))


def choked_air_m3_s(diameter_m: float, station_pa: float, air_c: float) -> float:
    """Free air through a hole into a line under good vacuum."""
    return hole_free_air_m3_s(diameter_m, station_pa, 0.9 * station_pa, air_temperature_c=air_c)


def advance_woods(woods: Woods, moment: Moment, pump: Pump, *, shut: set[int], frozen: set[str]) -> None:
    """Move all pressures on by one step; nodes in `shut` are cut off from their parents."""
    parent, pressure, flow = woods.parent, woods.pressure_pa, woods.flow_m3_s
    station_pa, step_s = moment.station_pa, moment.step_s
    leaking = _let_air_in(woods, station_pa, frozen)
    for i in range(len(parent) - 1, 0, -1):
        if i not in shut:
            flow[parent[i]] += flow[i]
    volume_m3 = _open_m3(woods, shut)
    pressure[0] = min(_root_pa(woods, pump, volume_m3[0], station_pa, step_s), station_pa)
    # Mass flow is free air at the station's density; squared and times R T it weighs the line loss.
    kelvin = moment.air_c - ABSOLUTE_ZERO_C
    weight = (station_pa / (AIR_J_KG_K * kelvin)) ** 2 * kelvin
    resistance = woods.resistance
    for i in range(1, len(parent)):
        q = flow[i]
        if i in shut:
            pressure[i] = min(pressure[i] + q * station_pa * step_s / volume_m3[i], station_pa)
            continue
        above = pressure[parent[i]]
        reached = (above * above + resistance[i] * weight * q * q) ** 0.5
        if i in leaking:
            path = woods.to_pump[i] * weight * q
            reached = _towards(pressure[i], reached, station_pa, path, leaking[i])
        pressure[i] = min(reached, station_pa)


def choke_ratio(pressure_ratio: float) -> float:
    """Flow through a hole against choked flow, from line pressure over outside pressure.

    Source: isentropic nozzle flow.
    """
    if pressure_ratio <= CHOKED_RATIO:
        return 1.0
    if pressure_ratio >= 1.0:
        return 0.0
    shape = pressure_ratio ** (2 / _GAMMA) - pressure_ratio ** ((_GAMMA + 1) / _GAMMA)
    return float((shape / _CHOKED_SHAPE) ** 0.5)


def _let_air_in(woods: Woods, station_pa: float, frozen: set[str]) -> dict[int, float]:
    """What every node takes in; the holes among them, with what they would pass choked."""
    pressure, flow = woods.pressure_pa, woods.flow_m3_s
    flow[:] = woods.tight_air_m3_s
    if frozen or max(pressure) > CHOKED_RATIO * station_pa:
        for i, line in enumerate(woods.line):
            flow[i] *= choke_ratio(pressure[i] / station_pa)
            if line in frozen:
                flow[i] *= FROZEN_LEAK_SHARE
    leaking = {}
    for hole in woods.holes:
        if hole.choked_m3_s > 0.0:
            leaking[hole.node] = hole.choked_m3_s
            flow[hole.node] += hole.choked_m3_s * choke_ratio(pressure[hole.node] / station_pa)
    return leaking


def _open_m3(woods: Woods, shut: set[int]) -> list[float]:
    """Gas volume of each node and all beyond it that it can reach."""
    if not shut:
        return woods.beyond_m3
    volume_m3 = woods.gas_m3.copy()
    for i in range(len(volume_m3) - 1, 0, -1):
        if i not in shut:
            volume_m3[woods.parent[i]] += volume_m3[i]
    return volume_m3


def _root_pa(woods: Woods, pump: Pump, volume_m3: float, station_pa: float, step_s: float) -> float:
    inflow_pa_m3_s = woods.flow_m3_s[0] * station_pa
    root_pa = woods.pressure_pa[0]
    if pump.speed_m3_s <= 0.0:
        return root_pa + inflow_pa_m3_s * step_s / volume_m3
    steady_pa = pump.ultimate_pa + inflow_pa_m3_s / pump.speed_m3_s
    return steady_pa + (root_pa - steady_pa) * exp(-step_s * pump.speed_m3_s / volume_m3)


def _towards(now_pa: float, target_pa: float, station_pa: float, path: float, choked_m3_s: float) -> float:
    """One Newton step: a large hole's inflow falls steeply as its line fills; plain iteration would ring."""
    ratio = now_pa / station_pa
    rise = choke_ratio(ratio + _NUDGE) - choke_ratio(ratio - _NUDGE)
    gain = path / target_pa * choked_m3_s * rise / (2 * _NUDGE * station_pa)
    return now_pa + (target_pa - now_pa) / (1.0 - gain)


def _parents_first(lines: tuple[Line, ...]) -> list[Line]:
    laid: set[str] = {PUMP}
    order: list[Line] = []
    while len(order) < len(lines):
        ready = [line for line in lines if line.id not in laid and line.parent in laid]
        order += ready
        laid |= {line.id for line in ready}
    return order


def _lay(woods: Woods, line: Line, cuts: list[float], tap_air_m3_s: float) -> None:
    above = 0 if line.parent == PUMP else node_at(woods, line.parent, line.joins_at_m)
    bore_area_m2 = pi / 4 * line.bore_m**2
    per_m = FRICTION / line.bore_m * AIR_J_KG_K / bore_area_m2**2
    # A mainline's taps come with their laterals; a lateral's hang on the piece itself.
    tap_m3 = 0.0 if line.kind is LineKind.LATERAL else TAP_TUBING_M3
    from_m = 0.0
    woods.nodes[line.id] = []
    for to_m in cuts:
        if to_m <= from_m:
            continue
        length_m = to_m - from_m
        taps = line.taps * length_m / line.length_m
        i = len(woods.parent)
        woods.parent.append(above)
        woods.line.append(line.id)
        woods.along_m.append(to_m)
        woods.resistance.append(per_m * length_m)
        woods.to_pump.append(woods.to_pump[above] + per_m * length_m)
        woods.tight_air_m3_s.append(taps * tap_air_m3_s)
        woods.gas_m3.append(GAS_SHARE * (bore_area_m2 * length_m + taps * tap_m3))
        woods.nodes[line.id].append(i)
        woods.first_node.setdefault(line.id, i)
        above, from_m = i, to_m
