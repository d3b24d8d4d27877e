"""From the trees to the tank: trees give, lines carry, ice and valves stop, the releaser dumps.

The releaser's chamber fills under vacuum and is vented to dump. When it opens to the lines again its air
goes in: vacuum sags by Boyle's law and the pump takes it back within a minute. A releaser that cannot dump
lets sap stand in the lines until they are full; then the trees' flow stops.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import exp
from random import Random

from collector.simulate.liquids import Liquid, Parcel, book, liquid_of
from collector.simulate.moment import Moment, every, first
from collector.simulate.sap import Trees, advance_trees
from collector.simulate.story import Plant, Story
from collector.simulate.story_events import FreezeUp, Leak, LimbDown, PumpStop, ReleaserStuck, ValveClosed
from collector.simulate.woods import (
    GAS_SHARE,
    Hole,
    Pump,
    Woods,
    advance_woods,
    choked_air_m3_s,
    lay_lines,
    node_at,
)
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.physics.air import vented_pressure_pa
from shared.readings import Quantity
from shared.units import INCH_M

ICE_C = -1.0
THAW_C = 0.6
FREEZING_S = 45 * 60.0
THAWING_S = 50 * 60.0
"""A 1 in line in the wind freezes and thaws within the hour (from memory)."""
SLOWEST = 2.0
FASTEST = 0.3
"""Other bores take longer or less by the square, as the ice must grow to the middle; within these limits."""
PUMP_ON_C = 0.0
"""The thermostat starts the pump here, and stops it when all lines have frozen."""
FLOOD_SHARE = 0.5
"""Share of the lines' inside that sap can take before the trees' flow stops."""
MOST_DUMPS = 3
"""In one step of 10 s: a releaser takes a few seconds for each."""

Dump = tuple[Liquid, list[Parcel]]


@dataclass(slots=True)
class Sag:
    """What the last dump still takes off the vacuum."""

    pa: float = 0.0
    from_s: float = 0.0
    lasts_s: float = 60.0

    def at_pa(self, at_s: float) -> float:
        """At a time after it began; nothing before."""
        return self.pa * exp((self.from_s - at_s) / self.lasts_s) if at_s >= self.from_s else 0.0


@dataclass(slots=True)
class Gathering:
    """The woods at one moment, and the books of sap."""

    plant: Plant
    woods: Woods
    trees: dict[str, Trees]
    ancestors: dict[str, tuple[str, ...]]
    """Line -> itself and the lines it reaches the pump through."""
    pump: Pump
    holes: list[tuple[Leak | LimbDown | ReleaserStuck, Hole]]
    beyond: dict[tuple[int, str], float]
    """(hole's node, line) -> share of the line's sap that comes past it."""
    brix: float
    slowness: dict[str, float]
    """Line -> how many times longer than a 1 in line it takes to freeze or thaw."""
    ice: dict[str, float] = field(default_factory=dict)
    frozen: set[str] = field(default_factory=set)
    shut: set[int] = field(default_factory=set)
    pump_on: bool = True
    flow_m3_s: dict[str, float] = field(default_factory=dict)
    """Sap given by each line's trees."""
    lost_m3_s: float = 0.0
    """Of it, what runs out at a break."""
    chamber: Liquid = field(default_factory=Liquid)
    chamber_m3: float = 0.0
    gathered_s: float = 0.0
    """When the oldest sap in the chamber came."""
    sag: Sag = field(default_factory=Sag)
    given: Liquid = field(default_factory=Liquid)
    given_m3: float = 0.0
    on_the_ground: Liquid = field(default_factory=Liquid)

    @property
    def flood_m3(self) -> float:
        """Sap that chamber and lines hold when nothing can leave."""
        return self.plant.releaser_chamber_m3 + FLOOD_SHARE * self.woods.volume_m3 / GAS_SHARE


def plant_woods(farm: Farm, story: Story, station_pa: float, rng: Random) -> Gathering:
    """The farm's lines and trees before the first step, with a place for every hole of the story."""
    torn = [event for event in story.events if isinstance(event, Leak | LimbDown)]
    places: dict[str, set[float]] = {}
    for sensor in farm.sensors:
        if sensor.quantity is Quantity.VACUUM and sensor.line is not None and sensor.at_m is not None:
            places.setdefault(sensor.line, set()).add(sensor.at_m)
    for event in torn:
        places.setdefault(event.line, set()).add(_place_m(event, farm))
    plant = story.plant
    woods = lay_lines(farm, places, tap_air_m3_s=plant.tap_air_m3_s, station_pa=station_pa)
    ancestors = {line.id: _ancestors(line.id, farm) for line in farm.lines}
    holes: list[tuple[Leak | LimbDown | ReleaserStuck, Hole]] = []
    beyond: dict[tuple[int, str], float] = {}
    for event in torn:
        node = node_at(woods, event.line, _place_m(event, farm))
        holes.append((event, Hole(node, event.hole_m)))
        for line, path in ancestors.items():
            beyond[node, line] = _beyond_share(event, line, path, farm)
    holes += [
        (event, Hole(0, event.hole_m)) for event in every(ReleaserStuck, story.events) if event.way == "open"
    ]
    woods.holes = [hole for _, hole in holes]
    pump = Pump(plant.pump_per_100_taps_m3_s * max(farm.taps, 1) / 100, plant.pump_ultimate_pa)
    trees = _trees(farm, rng)
    return Gathering(
        plant,
        woods,
        trees,
        ancestors,
        pump,
        holes,
        beyond,
        farm.sap_brix,
        slowness={line.id: min(max((line.bore_m / INCH_M) ** 2, FASTEST), SLOWEST) for line in farm.lines},
        ice=dict.fromkeys(trees, 0.0),
    )


def advance_lines(g: Gathering, moment: Moment) -> None:
    """Move vacuum on by one step."""
    for event, hole in g.holes:
        hole.choked_m3_s = (
            choked_air_m3_s(hole.diameter_m, moment.station_pa, moment.air_c)
            if event.is_on(moment.now_s)
            else 0.0
        )
    first_node = g.woods.first_node
    g.shut = {first_node[line] for line in g.frozen}
    g.shut.update(first_node[event.line] for event in every(ValveClosed, moment.on) if event.line != PUMP)
    if g.chamber_m3 > 0.5 * g.flood_m3:  # sap stands in the way of the air
        g.shut.update(i for i, parent in enumerate(g.woods.parent) if parent == 0 and i > 0)
    running = g.pump if g.pump_on else Pump(0.0, g.pump.ultimate_pa)
    advance_woods(g.woods, moment, running, shut=g.shut, frozen=g.frozen)


def advance_sap(g: Gathering, moment: Moment) -> None:
    """Move ice, pump switch and trees on by one step; they change over tens of minutes."""
    _freeze(g, moment)
    _switch_pump(g, moment)
    woods = g.woods
    shut_lines = {woods.line[i] for i in g.shut}
    broken = [
        (event, hole) for event, hole in g.holes if isinstance(event, LimbDown) and event.is_on(moment.now_s)
    ]
    g.lost_m3_s = 0.0
    for line, trees in g.trees.items():
        nodes = woods.nodes[line]
        vacuum_pa = moment.station_pa - sum(woods.pressure_pa[i] for i in nodes) / len(nodes)
        closed = not shut_lines.isdisjoint(g.ancestors[line])
        flow = advance_trees(trees, moment.air_c, vacuum_pa, moment.step_s, closed=closed)
        g.flow_m3_s[line] = flow
        g.lost_m3_s += flow * sum(
            event.sap_lost_fraction * g.beyond[hole.node, line] for event, hole in broken
        )


def release(g: Gathering, moment: Moment) -> list[Dump]:
    """Sap of one step into the releaser; what it dumped."""
    stuck = any(event.way == "closed" for event in every(ReleaserStuck, moment.on))
    given_m3 = sum(g.flow_m3_s.values()) * moment.step_s
    if given_m3 > 0.0:
        lost = g.lost_m3_s * moment.step_s / given_m3
        if stuck:
            given_m3 = min(given_m3, max(0.0, g.flood_m3 - g.chamber_m3))
        if g.chamber_m3 <= 0.0:
            g.gathered_s = moment.now_s
        given = liquid_of(given_m3, g.brix)
        book(g.given, given)
        book(g.on_the_ground, given, lost)
        book(g.chamber, given, 1.0 - lost)
        g.given_m3 += given_m3
        g.chamber_m3 += given_m3 * (1.0 - lost)
    if stuck:
        return []
    dumps: list[Dump] = []
    dump_m3 = g.plant.releaser_chamber_m3
    while g.chamber_m3 >= dump_m3 and len(dumps) < MOST_DUMPS:
        out = g.chamber.part(dump_m3 / g.chamber_m3)
        book(g.chamber, out, -1.0)
        g.chamber_m3 -= dump_m3
        dumps.append((out, [[out.kg, g.gathered_s]]))
        g.gathered_s = moment.now_s
        if g.pump_on:
            _sag(g, moment)
    return dumps


def _sag(g: Gathering, moment: Moment) -> None:
    system_m3, root_pa = g.woods.volume_m3, g.woods.pressure_pa[0]
    vented_pa = vented_pressure_pa(system_m3, root_pa, g.plant.releaser_chamber_m3, moment.station_pa)
    still_pa = g.sag.at_pa(moment.now_s)
    g.sag = Sag(still_pa + vented_pa - root_pa, moment.now_s, system_m3 / g.pump.speed_m3_s)


def _freeze(g: Gathering, moment: Moment) -> None:
    told = every(FreezeUp, moment.on)
    for line, trees in g.trees.items():
        there_c = moment.air_c - trees.shade_c
        step_s = moment.step_s / g.slowness[line]
        if there_c < ICE_C:
            g.ice[line] = min(1.0, g.ice[line] + step_s / FREEZING_S)
        elif there_c > THAW_C:
            g.ice[line] = max(0.0, g.ice[line] - step_s / THAWING_S)
        if any(event.line is None or event.line in g.ancestors[line] for event in told):
            g.ice[line] = 1.0
        if g.ice[line] >= 1.0:
            g.frozen.add(line)
        elif g.ice[line] <= 0.0:
            g.frozen.discard(line)


def _switch_pump(g: Gathering, moment: Moment) -> None:
    if first(PumpStop, moment.on) is not None:
        g.pump_on = False
    else:
        # A conductor without taps may stay open for hours; there is nothing to gather by it.
        thawed = moment.air_c > PUMP_ON_C or any(
            t.taps and line not in g.frozen for line, t in g.trees.items()
        )
        g.pump_on = g.plant.pump_always_on or thawed


def _trees(farm: Farm, rng: Random) -> dict[str, Trees]:
    trees = {
        line.id: Trees(line.taps, vigour=rng.uniform(0.88, 1.12), shade_c=rng.uniform(-0.3, 0.6))
        for line in farm.lines
    }
    # What one line gives more, another gives less: the farm stays average.
    mean = sum(t.taps * t.vigour for t in trees.values()) / max(farm.taps, 1)
    for t in trees.values():
        t.vigour /= mean or 1.0
    return trees


def _ancestors(line: str, farm: Farm) -> tuple[str, ...]:
    path = [line]
    while (parent := farm.line_by_id[path[-1]].parent) != PUMP:
        path.append(parent)
    return tuple(path)


def _place_m(event: Leak | LimbDown, farm: Farm) -> float:
    return event.place_m if event.place_m is not None else farm.line_by_id[event.line].length_m / 2


def _beyond_share(event: Leak | LimbDown, line: str, path: Sequence[str], farm: Farm) -> float:
    """What of a line's sap comes past a place."""
    if event.line not in path:
        return 0.0
    place_m = _place_m(event, farm)
    if line == event.line:
        return 1.0 - place_m / farm.line_by_id[line].length_m
    through = path[path.index(event.line) - 1]
    return 1.0 if farm.line_by_id[through].joins_at_m >= place_m else 0.0
