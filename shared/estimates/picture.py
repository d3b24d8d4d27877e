"""The picture of the farm: every estimate's memory, fed reading by reading, asked by rules and pages alike.

It is the same fold live, in a replay, in a test and after a restart. It is stored whole, with the sequence of
the last reading it has seen, so a page can take it up and fold in what came since.
"""

from contextlib import suppress
from dataclasses import dataclass, field
from statistics import median
from typing import Annotated
from zlib import compress, decompress

from pydantic import Field, TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates import tank_book
from shared.estimates.fire import Fire, FireHistory, fire, note_burn_down, observe_stack
from shared.estimates.leaks import locate
from shared.estimates.sap_age import SapAge
from shared.estimates.suspects import Suspect
from shared.estimates.tank_book import TankBook
from shared.estimates.tank_flow import (
    STALE_COUNT,
    STALE_LEAST_S,
    FillTime,
    NotFilling,
    TankFlow,
    time_to_full,
)
from shared.estimates.vacuum import (
    VacuumDrop,
    VacuumHistory,
    observe_vacuum,
    pump_is_running,
    rebase_vacuum,
    vacuum_drop,
)
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor, Tank
from shared.physics.air import standard_pressure_pa, station_pressure_from_barometer_pa
from shared.physics.tanks import capacity_m3, full_height_m, volume_m3
from shared.readings import Quantity, Reading, Unknown
from shared.requests import LogKind, WriteLog
from shared.units import INHG_PA

MINUTE_MS = 60_000
OPEN_RATIO = 0.6
"""Lines that hold less than this part of what the pump does are shut off from it; a poor layout loses a third
(common practice, no source)."""
DROPPED_PA = 1.5 * INHG_PA
"""A sensor that lost this much is part of the question where (common practice, no source)."""


@dataclass(slots=True)
class Picture:
    """What is remembered of the farm. Plain, bounded, and the same whatever batches the readings came in."""

    vacuum: dict[str, VacuumHistory] = field(default_factory=dict)
    fire: dict[str, FireHistory] = field(default_factory=dict)
    tanks: TankBook = field(default_factory=TankBook)
    flows: dict[str, tuple[int, TankFlow | Unknown]] = field(default_factory=dict)
    """By tank: the minute it was last worked out in, and the flow."""
    latest: dict[str, tuple[int, float]] = field(default_factory=dict)
    """By sensor: time and value (SI) of its newest reading."""
    heard_ms: dict[str, int] = field(default_factory=dict)
    """By sensor: when it last arrived."""
    located: Annotated[tuple[object, object] | None, Field(exclude=True)] = None
    """What was last worked out of where vacuum is lost, and for what; not kept."""
    listening_ms: int = 0
    """When listening last began: silence is not counted from before it."""


_PICTURE = TypeAdapter(Picture)


def new_picture(farm: Farm) -> Picture:
    """A picture of a farm that has said nothing yet."""
    return Picture(tanks=tank_book.new_tank_book(farm))


def dump_picture(picture: Picture) -> bytes:
    """The picture as the store keeps it."""
    return compress(_PICTURE.dump_json(picture), 1)


def restore_picture(stored: bytes, farm: Farm) -> Picture:
    """The picture as it was stored, less what the farm no longer has, plus what it has got since."""
    picture = _PICTURE.validate_json(decompress(stored))
    known = farm.sensor_by_id
    for memory in (picture.vacuum, picture.fire, picture.latest, picture.heard_ms):
        for sensor in set(memory) - set(known):
            del memory[sensor]
    tank_book.fit_to_farm(picture.tanks, farm)
    for history in picture.fire.values():
        history.over_fire_c = _fire_history(farm).over_fire_c
    return picture


def observe(picture: Picture, farm: Farm, reading: Reading) -> None:
    """Fold one stored reading; of a sensor the farm no longer has, nothing."""
    sensor = farm.sensor_by_id.get(reading.sensor)
    if sensor is None:
        return
    picture.heard_ms[sensor.id] = max(reading.received_ms, picture.heard_ms.get(sensor.id, 0))
    known = picture.latest.get(sensor.id)
    if known is None or reading.measured_ms > known[0]:
        picture.latest[sensor.id] = (reading.measured_ms, reading.value)
    _feed(picture, farm, sensor, reading.measured_ms, reading.value)


def _feed(picture: Picture, farm: Farm, sensor: Sensor, measured_ms: int, value: float) -> None:
    match sensor.quantity:
        case Quantity.VACUUM:
            observe_vacuum(
                picture.vacuum.setdefault(sensor.id, VacuumHistory()),
                measured_ms,
                value,
                station_pa(picture, farm),
                air_c(picture, farm),
                running=_pump_runs(picture, farm),
                sealed=sensor.line == PUMP and _lines_are_sealed(picture, farm, value),
            )
        case Quantity.STACK_TEMPERATURE:
            history = picture.fire.setdefault(sensor.id, _fire_history(farm))
            observe_stack(history, measured_ms, value, air_c(picture, farm))
        case Quantity.LEVEL:
            assert sensor.tank is not None
            tank = farm.tank_by_id[sensor.tank]
            tank_book.observe(picture.tanks, tank.id, measured_ms, _volume_m3(tank, value))
        case Quantity.SAP_TEMPERATURE if sensor.tank is not None:
            tank_book.observe_temperature(picture.tanks, sensor.tank, measured_ms, value)
        case _:
            pass


def _fire_history(farm: Farm) -> FireHistory:
    return FireHistory() if farm.evaporator is None else FireHistory(over_fire_c=farm.evaporator.over_fire_c)


def note_entry(picture: Picture, farm: Farm, entry: WriteLog) -> None:
    """Take what the owner wrote in the log, where it changes what is estimated."""
    if entry.entry is LogKind.TANK_WASHED and entry.tank in farm.tank_by_id:
        tank_book.wash(picture.tanks, entry.tank, entry.happened_ms)
    elif entry.entry is LogKind.BOIL_STOPPED:
        for history in picture.fire.values():
            note_burn_down(history, entry.happened_ms)
    elif entry.entry is LogKind.LINES_CHANGED:
        for sensor in farm.sensors_of(Quantity.VACUUM):
            if sensor.id in picture.vacuum and entry.line in (None, sensor.line):
                rebase_vacuum(picture.vacuum[sensor.id])


def station_pa(picture: Picture, farm: Farm) -> float:
    """Air pressure at the farm: its barometer's, else the standard atmosphere's at its elevation.

    A barometer that weather cannot explain (one reduced to sea level, as weather sites show it) is not believed.
    """
    for sensor in farm.sensors_of(Quantity.AIR_PRESSURE):
        if sensor.id in picture.latest:
            with suppress(InvalidArgument):
                shown_pa = picture.latest[sensor.id][1]
                return station_pressure_from_barometer_pa(shown_pa, farm.elevation_m, farm.elevation_m)
    return standard_pressure_pa(farm.elevation_m)


def air_c(picture: Picture, farm: Farm) -> float | None:
    """Air temperature as last heard; None without a thermometer."""
    for sensor in farm.sensors_of(Quantity.AIR_TEMPERATURE):
        if sensor.id in picture.latest:
            return picture.latest[sensor.id][1]
    return None


def _pump_runs(picture: Picture, farm: Farm) -> bool | None:
    for sensor in farm.sensors_of(Quantity.RUNNING):
        if sensor.line == PUMP and sensor.id in picture.latest:
            return picture.latest[sensor.id][1] > 0
    pump = [s for s in farm.sensors_of(Quantity.VACUUM) if s.line == PUMP]
    vacuums = [
        picture.latest[s.id][1] for s in pump or farm.sensors_of(Quantity.VACUUM) if s.id in picture.latest
    ]
    return pump_is_running(vacuums) if vacuums else None


def _lines_are_sealed(picture: Picture, farm: Farm, pump_pa: float) -> bool:
    """Whether most lines hold far less than the pump: ice or valves shut them off from it."""
    vacuums = [
        picture.latest[s.id][1]
        for s in farm.sensors_of(Quantity.VACUUM)
        if s.line != PUMP and s.id in picture.latest
    ]
    return bool(vacuums) and median(vacuums) < OPEN_RATIO * pump_pa


@dataclass(frozen=True, slots=True)
class TankView:
    """One tank as it stands."""

    tank_id: str
    capacity_m3: float
    volume_m3: float | None
    measured_ms: int | None
    flow: TankFlow | Unknown
    time_to_full: FillTime | NotFilling | Unknown
    age: SapAge | Unknown


def tank_view(picture: Picture, farm: Farm, tank_id: str, now_ms: int) -> TankView:
    """How a tank stands at that time."""
    flow = _flow(picture, tank_id, now_ms)
    capacity = capacity_m3(farm.tank_by_id[tank_id].geometry)
    measured_ms, volume = _volume_now(picture, farm, tank_id, now_ms)
    return TankView(
        tank_id,
        capacity,
        volume,
        measured_ms,
        flow,
        time_to_full(flow, capacity, now_ms),
        sap_age_view(picture, tank_id, now_ms),
    )


def _flow(picture: Picture, tank_id: str, now_ms: int) -> TankFlow | Unknown:
    """A tank's flow, worked out once a minute: it rests on medians of a minute, and is the dearest question."""
    minute = now_ms // MINUTE_MS
    known = picture.flows.get(tank_id)
    if known is None or known[0] != minute:
        known = picture.flows[tank_id] = (minute, tank_book.flow_of(picture.tanks, tank_id, now_ms))
    return known[1]


def _volume_now(picture: Picture, farm: Farm, tank_id: str, now_ms: int) -> tuple[int | None, float | None]:
    """When the level was last measured, and the volume if that is not too long ago."""
    for sensor in farm.sensors_of(Quantity.LEVEL, tank=tank_id):
        if sensor.id in picture.latest:
            measured_ms, height_m = picture.latest[sensor.id]
            if now_ms - measured_ms > max(STALE_LEAST_S, STALE_COUNT * sensor.interval_s) * 1000:
                return measured_ms, None
            return measured_ms, _volume_m3(farm.tank_by_id[tank_id], height_m)
    return None, None


def _volume_m3(tank: Tank, height_m: float) -> float:
    # A little below empty or above full is the sensor's error, not the tank's.
    return volume_m3(tank.geometry, min(max(height_m, 0.0), full_height_m(tank.geometry)))


def sap_age_view(picture: Picture, tank_id: str, now_ms: int) -> SapAge | Unknown:
    """How old the sap in a tank is at that time."""
    return tank_book.sap_in(picture.tanks, tank_id, now_ms)


def vacuum_view(picture: Picture, sensor_id: str, now_ms: int) -> VacuumDrop | Unknown:
    """How a vacuum sensor stands against its usual at that time."""
    history = picture.vacuum.get(sensor_id)
    return Unknown("nothing heard yet") if history is None else vacuum_drop(history, now_ms)


def suspects(picture: Picture, farm: Farm, now_ms: int) -> tuple[Suspect, ...] | Unknown:
    """Where vacuum is being lost, the likeliest first; worked out anew each minute, or when another sensor drops."""
    drops = {s.id: vacuum_view(picture, s.id, now_ms) for s in farm.sensors_of(Quantity.VACUUM)}
    dropped = sorted(n for n, d in drops.items() if isinstance(d, VacuumDrop) and d.drop_pa > DROPPED_PA)
    asked = (now_ms // MINUTE_MS, *dropped)
    if picture.located is None or picture.located[0] != asked:
        picture.located = (asked, locate(farm, drops, air_c(picture, farm), now_ms))
    found = picture.located[1]
    assert isinstance(found, tuple | Unknown)
    return found


def fire_view(picture: Picture, farm: Farm, now_ms: int) -> Fire | Unknown:
    """The fire as the stack tells it; of several stack sensors the first in the farm file."""
    for sensor in farm.sensors_of(Quantity.STACK_TEMPERATURE):
        if sensor.id in picture.fire:
            return fire(picture.fire[sensor.id], now_ms)
    return Unknown("nothing heard yet")
