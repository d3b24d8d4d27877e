"""What the crew does: transfers, RO and fire, by routine or by the story, and what it forgets.

Tanks change only through here and through the releaser, and every kilogram that moves is booked.
"""

from dataclasses import dataclass, field
from random import Random

from collector.simulate.fire import OUT, Fire, Firing, burn, cool, nominal_heat_w, water_boiled_kg
from collector.simulate.liquids import Liquid, book, density_kg_m3
from collector.simulate.moment import Moment, every, first
from collector.simulate.story import Plant
from collector.simulate.story_events import (
    Boil,
    FireDying,
    OverFire,
    RoRun,
    SapHeld,
    TankUnattended,
    Transfer,
    TransferForgotten,
    Wash,
)
from collector.simulate.tanks import Vessel, draw, fill
from shared.farm import Farm
from shared.physics.sap import SYRUP_BRIX

TRANSFER_FROM_FRACTION = 0.4
TRANSFER_INTO_FRACTION = 0.88
PRIME_FRACTION = 0.04
"""A transfer pump that has lost its prime is not started again for a few gallons."""
RO_FROM_FRACTION = 0.25
RO_INTO_FRACTION = 0.9
BOIL_FROM_FRACTION = 0.7
"""A crew that keeps up: how full a tank is when each job starts (common practice, no source)."""
LEFTOVER_FRACTION = 0.25
CLEARING_HOUR = 16.0
"""From then on that share of it is enough: the crew clears up, so that no sap waits overnight."""
RO_HOURS = (7.0, 20.0)
BOIL_HOURS = (7.0, 21.0)
"""When a job may start; a boil once begun is finished."""
RO_WARMS_C = 3.0
"""What the RO's pump adds (from memory)."""
LATEST_SYRUP_SHARE = 0.97
"""Feed nearer to syrup than this is drawn off, not boiled."""


@dataclass(slots=True)
class Crew:
    """Who is doing what at the moment, and the books."""

    farm: Farm
    plant: Plant
    vessels: dict[str, Vessel]
    fire: Fire
    rng: Random
    transferring: set[str] = field(default_factory=set)
    ro_on: bool = False
    boiling: bool = False
    moved_m3: dict[str, float] = field(default_factory=dict)
    ro_feed: Liquid = field(default_factory=Liquid)
    permeate_poured: Liquid = field(default_factory=Liquid)
    boil_feed: Liquid = field(default_factory=Liquid)
    evaporated_kg: float = 0.0
    syrup: Liquid = field(default_factory=Liquid)
    useful_heat_j: float = 0.0
    """Heat that went into sap, not into warming cold pans."""
    washed: Liquid = field(default_factory=Liquid)
    washes: list[tuple[float, str]] = field(default_factory=list)
    """When, and which tank: a crew that washes writes it into the log."""


def hire(farm: Farm, plant: Plant, vessels: dict[str, Vessel], rng: Random) -> Crew:
    """A crew with a cold arch."""
    water_m3_s = farm.evaporator.water_m3_s if farm.evaporator is not None else 0.0
    return Crew(farm, plant, vessels, Fire(nominal_heat_w(water_m3_s)), rng)


def work(crew: Crew, moment: Moment) -> None:
    """One step of everything that people and their machines do."""
    for wash in every(Wash, moment.on):
        _wash(crew, moment, wash.tank)
    for tank_id, v in crew.vessels.items():
        if v.tank.drains_to is not None:
            _transfer(crew, moment, tank_id, v, crew.vessels[v.tank.drains_to])
    _run_ro(crew, moment)
    _boil(crew, moment)


def _wash(crew: Crew, moment: Moment, tank_id: str) -> None:
    v = crew.vessels[tank_id]
    gone, _ = draw(v, v.volume_m3, to_heel=False)
    if gone.kg > 0.0:
        book(crew.washed, gone)
        crew.washes.append((moment.now_s, tank_id))


def _transfer(crew: Crew, moment: Moment, tank_id: str, source: Vessel, target: Vessel) -> None:
    running = tank_id in crew.transferring
    full = target.full_fraction > TRANSFER_INTO_FRACTION
    if any(event.tank == tank_id for event in every(Transfer, moment.on)):
        running = running or source.above_heel_m3 > PRIME_FRACTION * source.capacity_m3
    elif full or not crew.plant.routine or _left_alone(moment, tank_id, TransferForgotten):
        running = False
    elif source.full_fraction > _worth(moment, TRANSFER_FROM_FRACTION):
        running = True
    if not running or source.above_heel_m3 <= 0.0:
        crew.transferring.discard(tank_id)
        return
    crew.transferring.add(tank_id)
    moved, parcels = draw(source, crew.plant.transfer_m3_s * moment.step_s)
    crew.moved_m3[tank_id] = crew.moved_m3.get(tank_id, 0.0) + moved.kg / density_kg_m3(moved.brix)
    fill(target, moved, parcels, source.temperature_c)


def _run_ro(crew: Crew, moment: Moment) -> None:
    ro = crew.farm.ro
    if ro is None or ro.concentrate_to is None:
        return
    sources = [
        crew.vessels[tank]
        for tank in ro.takes_from
        if crew.vessels[tank].above_heel_m3 > 0.0 and not _left_alone(moment, tank, SapHeld)
    ]
    target = crew.vessels[ro.concentrate_to]
    running = first(RoRun, moment.on) is not None
    if crew.plant.routine and not running:
        worth = any(source.full_fraction > _worth(moment, RO_FROM_FRACTION) for source in sources)
        running = RO_HOURS[0] <= moment.local_hour < RO_HOURS[1] and (crew.ro_on or worth)
    if crew.plant.routine and crew.ro_on and running and not sources:
        for emptied in ro.takes_from:
            _wash(crew, moment, emptied)
    crew.ro_on = running and bool(sources) and target.full_fraction < RO_INTO_FRACTION
    if not crew.ro_on:
        return
    source = sources[0]
    feed, parcels = draw(source, ro.feed_m3_s * moment.step_s)
    book(crew.ro_feed, feed)
    kept = min(1.0, feed.brix / ro.concentrate_brix)
    concentrate = Liquid(kept * feed.kg - feed.sugar_kg, feed.sugar_kg)
    permeate = Liquid((1.0 - kept) * feed.kg)
    warmed_c = source.temperature_c + RO_WARMS_C
    fill(target, concentrate, [[kg * kept, at_s] for kg, at_s in parcels], warmed_c)
    if ro.permeate_to is None:
        book(crew.permeate_poured, permeate)
        return
    # A full permeate tank runs over into the drain, as it is meant to: poured away, not spilled.
    tank = crew.vessels[ro.permeate_to]
    room_kg = max(0.0, tank.capacity_m3 - tank.volume_m3) * density_kg_m3(0.0)
    taken = min(1.0, room_kg / permeate.kg) if permeate.kg > 0.0 else 0.0
    book(crew.permeate_poured, permeate, 1.0 - taken)
    fill(tank, permeate.part(taken), [[kg * (1.0 - kept) * taken, at_s] for kg, at_s in parcels], warmed_c)


def _boil(crew: Crew, moment: Moment) -> None:
    evaporator, fire = crew.farm.evaporator, crew.fire
    source_id = evaporator.takes_from if evaporator is not None else None
    if source_id is None:
        return
    source = crew.vessels[source_id]
    has_sap = source.above_heel_m3 > 0.0 and not _left_alone(moment, source_id, SapHeld)
    boil = first(Boil, moment.on)
    if boil is None and crew.plant.routine:
        awake = BOIL_HOURS[0] <= moment.local_hour < BOIL_HOURS[1]
        if crew.boiling or (awake and source.full_fraction > _worth(moment, BOIL_FROM_FRACTION)):
            boil = Boil(kind="boil", at_s=0.0)
    if crew.plant.routine and crew.boiling and source.above_heel_m3 <= 0.0:
        _wash(crew, moment, source_id)
    crew.boiling = boil is not None and has_sap
    firing = None
    if boil is not None and has_sap and first(FireDying, moment.on) is None:
        over = first(OverFire, moment.on)
        firing = Firing(boil.firing_interval_s, boil.stack_c, over.stack_c if over is not None else None)
    if firing is None and fire.bed < OUT:
        cool(fire, moment)
        return
    heat_j = burn(fire, firing, moment, crew.rng)
    feed = source.held if has_sap else Liquid()
    water_kg = water_boiled_kg(fire, heat_j, feed, source.temperature_c, moment)
    if water_kg <= 0.0 or feed.brix > LATEST_SYRUP_SHARE * SYRUP_BRIX:
        return
    taken, _ = draw(source, water_kg / (1.0 - feed.brix / SYRUP_BRIX) / density_kg_m3(feed.brix))
    syrup_kg = taken.sugar_kg * 100.0 / SYRUP_BRIX
    book(crew.boil_feed, taken)
    book(crew.syrup, Liquid(syrup_kg - taken.sugar_kg, taken.sugar_kg))
    crew.evaporated_kg += taken.kg - syrup_kg
    crew.useful_heat_j += heat_j


def _worth(moment: Moment, fraction: float) -> float:
    """How full a tank must be for a job to start."""
    clearing = CLEARING_HOUR <= moment.local_hour < BOIL_HOURS[1]
    return LEFTOVER_FRACTION * fraction if clearing else fraction


def _left_alone(moment: Moment, tank_id: str, kind: type[TransferForgotten | SapHeld]) -> bool:
    """Nobody takes from a tank: not in this way, or not at all."""
    return any(isinstance(event, kind | TankUnattended) and event.tank == tank_id for event in moment.on)
