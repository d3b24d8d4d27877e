"""The whole farm at one moment: built from farm, story and weather, and moved on step by step."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from math import exp
from random import Random

from collector.simulate.crew import Crew, hire, work
from collector.simulate.gathering import Gathering, advance_lines, advance_sap, plant_woods, release
from collector.simulate.liquids import Liquid, book, liquid_of
from collector.simulate.moment import Moment, going_on
from collector.simulate.story import Story
from collector.simulate.tanks import Vessel, drift_temperature, fill, level_m, vessel
from collector.simulate.weather import SPIN_UP_S, Weather, drawn_weather, told_weather
from collector.simulate.woods import node_at
from shared.farm import Farm
from shared.farm_parts import PUMP, Holds, Sensor
from shared.physics.air import standard_pressure_pa
from shared.readings import Quantity
from shared.units import HOUR_S

STEP_S = 10.0
"""Fine enough for a firing's dip, which lasts a minute."""
SLOW_STEP_S = 60.0
"""Fine enough for trees, ice, tanks' temperatures and the shed."""
PUMP_C = 78.0
PUMP_S = 1500.0
"""An oil-cooled pump at work, and how long it takes to get there (from memory)."""
SHED_WARMER_C = (1.5, 6.0)
SHED_S = 2 * HOUR_S
"""A shed against the air, with the pump at rest and running (common practice, no source)."""
SAP_COMES_C = (0.3, 10.0)
"""Sap comes as cold as the air, but not frozen."""
LEAST_BRIX = 0.5
SUGAR_S = 12 * HOUR_S
BATTERY_V = 3.62
BATTERY_V_C = 0.003
"""A lithium cell and what cold takes off it (from memory)."""


@dataclass(slots=True)
class Night:
    """The farm at one moment, with everything it is made of."""

    farm: Farm
    story: Story
    rng: Random
    weather: Weather
    gathering: Gathering
    vessels: dict[str, Vessel]
    releaser_to: Vessel | None
    crew: Crew
    at_start: Liquid
    start_hour: float
    """The farm's own clock when the stream begins."""
    moment: Moment
    pump_c: float
    wobble_brix: float = 0.0
    next_slow_s: float = 0.0
    story_changes_s: float = float("-inf")


def begin(farm: Farm, story: Story, start_ms: int, duration_s: float, rng: Random) -> Night:
    """The farm at the stream's start, after hours of its weather but before its first message."""
    start_hour = _local_hour(farm, start_ms)
    weather = _weather(farm, story, start_hour, duration_s, rng)
    vessels = {tank.id: vessel(tank) for tank in farm.tanks}
    gathering = plant_woods(farm, story, standard_pressure_pa(farm.elevation_m), rng)
    crew = hire(farm, story.plant, vessels, rng)
    air_c, station_pa = weather.at(0.0)
    crew.fire.stack_c = crew.fire.pan_c = air_c
    moment = Moment(0.0, SLOW_STEP_S, air_c, station_pa, air_c, start_hour, ())
    night = Night(
        farm,
        story,
        rng,
        weather,
        gathering,
        vessels,
        _releaser_to(farm, story, vessels),
        crew,
        _fill_at_start(farm, story, vessels, air_c),
        start_hour,
        moment,
        pump_c=air_c,
    )
    _live_through_the_hours_before(night)
    return night


def advance(night: Night, now_s: float) -> None:
    """Move everything on to `now_s`, one `STEP_S`."""
    g, moment = night.gathering, night.moment
    _look_around(night, now_s, STEP_S)
    if now_s >= night.next_slow_s:
        _advance_slow(night)
        night.next_slow_s = now_s + SLOW_STEP_S
        moment.step_s = STEP_S
    advance_lines(g, moment)
    least_c, most_c = SAP_COMES_C
    for liquid, parcels in release(g, moment):
        if night.releaser_to is None:
            book(g.on_the_ground, liquid)
        else:
            fill(night.releaser_to, liquid, parcels, max(least_c, min(moment.air_c, most_c)))
    work(night.crew, moment)


def reader(night: Night, sensor: Sensor) -> Callable[[], float]:
    """How to see what a sensor's quantity truly is now, in SI."""
    g, fire, moment = night.gathering, night.crew.fire, night.moment
    if sensor.quantity is Quantity.VACUUM:
        node, pressure_pa = node_at(g.woods, sensor.line or PUMP, sensor.at_m), g.woods.pressure_pa
        return lambda: moment.station_pa - pressure_pa[node]
    if sensor.tank is not None:
        v = night.vessels[sensor.tank]
        in_tank: dict[Quantity, Callable[[], float]] = {
            Quantity.LEVEL: lambda: level_m(v),
            Quantity.SAP_TEMPERATURE: lambda: v.temperature_c,
            Quantity.SUGAR: lambda: v.held.brix,
        }
        if sensor.quantity in in_tank:
            return in_tank[sensor.quantity]
    on_the_farm: dict[Quantity, Callable[[], float]] = {
        Quantity.AIR_PRESSURE: lambda: moment.station_pa,
        Quantity.AIR_TEMPERATURE: lambda: moment.air_c,
        Quantity.SAP_TEMPERATURE: lambda: max(SAP_COMES_C[0], moment.air_c),
        Quantity.SUGAR: lambda: g.brix,
        Quantity.FLOW: lambda: sum(g.flow_m3_s.values()) - g.lost_m3_s,
        Quantity.SHED_TEMPERATURE: lambda: moment.shed_c,
        Quantity.PUMP_TEMPERATURE: lambda: night.pump_c,
        Quantity.STACK_TEMPERATURE: lambda: fire.stack_c,
        Quantity.PAN_TEMPERATURE: lambda: fire.pan_c,
        Quantity.BATTERY: lambda: BATTERY_V + BATTERY_V_C * moment.air_c,
        Quantity.RUNNING: lambda: float(g.pump_on),
    }
    return on_the_farm[sensor.quantity]


def _look_around(night: Night, now_s: float, step_s: float) -> None:
    moment = night.moment
    moment.now_s, moment.step_s = now_s, step_s
    moment.air_c, moment.station_pa = night.weather.at(now_s)
    moment.local_hour = (night.start_hour + now_s / HOUR_S) % 24.0
    if now_s >= night.story_changes_s:
        moment.on, night.story_changes_s = going_on(night.story.events, now_s)


def _advance_slow(night: Night) -> None:
    g, moment = night.gathering, night.moment
    moment.step_s = SLOW_STEP_S
    spread = night.story.plant.sugar_wobble_brix * (2 * SLOW_STEP_S / SUGAR_S) ** 0.5
    night.wobble_brix += spread * night.rng.gauss(0.0, 1.0) - night.wobble_brix * SLOW_STEP_S / SUGAR_S
    g.brix = max(LEAST_BRIX, night.farm.sap_brix + night.wobble_brix)
    advance_sap(g, moment)
    shed_c = moment.air_c + SHED_WARMER_C[g.pump_on]
    moment.shed_c += (shed_c - moment.shed_c) * (1.0 - exp(-SLOW_STEP_S / SHED_S))
    pump_c = PUMP_C if g.pump_on else moment.shed_c
    night.pump_c += (pump_c - night.pump_c) * (1.0 - exp(-SLOW_STEP_S / PUMP_S))
    for v in night.vessels.values():
        drift_temperature(v, moment.air_c, SLOW_STEP_S)


def _live_through_the_hours_before(night: Night) -> None:
    """Trees and lines are as the weather left them; what ran before the start is no part of the books."""
    g = night.gathering
    t_s = -SPIN_UP_S
    while t_s < 0.0:
        _look_around(night, t_s, SLOW_STEP_S)
        _advance_slow(night)
        advance_lines(g, night.moment)
        t_s += SLOW_STEP_S


def _weather(farm: Farm, story: Story, start_hour: float, duration_s: float, rng: Random) -> Weather:
    told = story.weather
    if told.air_f:
        return told_weather(
            told.air_f,
            told.barometer_inhg,
            duration_s=duration_s,
            elevation_m=farm.elevation_m,
            gust_kelvin=told.gust_kelvin,
            rng=rng,
        )
    return drawn_weather(
        duration_s=duration_s,
        elevation_m=farm.elevation_m,
        local_hour=start_hour,
        first_day=told.first_day_of_season,
        rng=rng,
    )


def _releaser_to(farm: Farm, story: Story, vessels: dict[str, Vessel]) -> Vessel | None:
    if story.plant.releaser_to is not None:
        return vessels[story.plant.releaser_to]
    sap_tanks = [tank for tank in farm.tanks if tank.holds is Holds.SAP]
    draining = [tank for tank in sap_tanks if tank.drains_to is not None]
    tanks = draining or sap_tanks
    return vessels[tanks[0].id] if tanks else None


def _fill_at_start(farm: Farm, story: Story, vessels: dict[str, Vessel], air_c: float) -> Liquid:
    total = Liquid()
    for tank_id, v in vessels.items():
        start = story.tanks.get(tank_id)
        v.temperature_c = max(1.0, air_c)
        if start is None:
            continue
        match v.tank.holds:
            case Holds.SAP:
                brix = farm.sap_brix
            case Holds.CONCENTRATE:
                brix = farm.ro.concentrate_brix if farm.ro is not None else farm.sap_brix
            case Holds.PERMEATE:
                brix = 0.0
        liquid = liquid_of(start.volume_m3, start.brix if start.brix is not None else brix)
        if start.temperature_c is not None:
            v.temperature_c = start.temperature_c
        book(total, liquid)
        fill(v, liquid, [[liquid.kg, -start.age_s]], v.temperature_c)
    return total


def _local_hour(farm: Farm, start_ms: int) -> float:
    local = datetime.fromtimestamp(start_ms / 1000, UTC).astimezone(farm.zone)
    return local.hour + local.minute / 60 + local.second / 3600
