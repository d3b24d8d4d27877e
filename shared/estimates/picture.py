"""The picture of the farm: every estimate's memory, fed reading by reading, asked by rules and pages alike.

It is the same fold live, in a replay, in a test and after a restart. It is stored whole, with the sequence of
the last reading it has seen, so a page can take it up and fold in what came since.
"""

from contextlib import suppress
from dataclasses import dataclass, field
from typing import Annotated
from zlib import compress, decompress

from pydantic import Field, TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates import tank_book
from shared.estimates.channels import ChannelRecord
from shared.estimates.fire import Fire, FireHistory, fire, observe_stack
from shared.estimates.frost import AirHistory, Frost, frost, observe_air
from shared.estimates.pump import lines_are_sealed, look_at_pump
from shared.estimates.pump_run import PumpHistory
from shared.estimates.sap_age import SapAge
from shared.estimates.sensor_health import SensorHealth, may_rest, observe_health
from shared.estimates.sensor_peers import STILL_COUNT, Stuck, stuck
from shared.estimates.shares import ShareHistory, observe_share
from shared.estimates.silence import Pause, note_heard
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
    SETTLE_MS,
    VacuumDrop,
    VacuumHistory,
    observe_vacuum,
    vacuum_drop,
)
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor, Tank
from shared.physics.air import standard_pressure_pa, station_pressure_from_barometer_pa
from shared.physics.tanks import capacity_m3, full_height_m, volume_m3
from shared.readings import Quantity, Reading, Unknown
from shared.tuning.sensors import SensorStuck

MINUTE_MS = 60_000
DOUBTED_AFTER_S = 600.0
DOUBTED_COUNT = 8
"""A lively level that has not moved by a digit for so long is not believed; accused it is later."""
EMPTY_RATIO = 0.02
"""Of a tank's capacity, over its heel: what is left when it counts as empty."""


@dataclass(slots=True)
class Picture:
    """What is remembered of the farm. Plain, bounded, and the same whatever batches the readings came in."""

    pump: PumpHistory = field(default_factory=PumpHistory)
    vacuum: dict[str, VacuumHistory] = field(default_factory=dict)
    shares: dict[str, ShareHistory] = field(default_factory=dict)
    """By vacuum sensor, as `vacuum`."""
    fire: dict[str, FireHistory] = field(default_factory=dict)
    air: dict[str, AirHistory] = field(default_factory=dict)
    """By thermometer of the air and of sheds."""
    health: dict[str, SensorHealth] = field(default_factory=dict)
    """By sensor."""
    tanks: TankBook = field(default_factory=TankBook)
    flows: dict[str, tuple[int, TankFlow | Unknown]] = field(default_factory=dict)
    """By tank: the minute of the level it was last worked out from, and the flow."""
    latest: dict[str, tuple[int, float]] = field(default_factory=dict)
    """By sensor: time and value (SI) of its newest reading."""
    heard_ms: dict[str, int] = field(default_factory=dict)
    """By sensor: when it last arrived."""
    pauses: dict[str, Pause] = field(default_factory=dict)
    """By gateway, and for all."""
    channels: dict[str, ChannelRecord] = field(default_factory=dict)
    """By contact and channel, as farm_contacts.way_id writes it."""
    located: Annotated[tuple[object, object] | None, Field(exclude=True)] = None
    """What was last worked out of where vacuum is lost, and for what; not kept."""
    planned: Annotated[tuple[object, object] | None, Field(exclude=True)] = None
    """The same of what the sugarhouse can get through."""
    logged_ms: dict[str, int] = field(default_factory=dict)
    """By kind of entry in the log: when the newest of it happened."""
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
    for memory in (
        picture.vacuum,
        picture.shares,
        picture.fire,
        picture.air,
        picture.health,
        picture.latest,
        picture.heard_ms,
    ):
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
    note_heard(picture.pauses, sensor, reading.received_ms)
    picture.heard_ms[sensor.id] = max(reading.received_ms, picture.heard_ms.get(sensor.id, 0))
    known = picture.latest.get(sensor.id)
    if known is None or reading.measured_ms > known[0]:
        picture.latest[sensor.id] = (reading.measured_ms, reading.value)
    look_at_pump(picture.pump, farm, picture.latest, picture.vacuum, sensor, reading.measured_ms)
    _feed(picture, farm, sensor, reading.measured_ms, reading.value)
    health = picture.health.setdefault(sensor.id, SensorHealth())
    observe_health(health, sensor, reading, still=_may_rest(picture, farm, sensor, reading))


def _may_rest(picture: Picture, farm: Farm, sensor: Sensor, reading: Reading) -> bool:
    """Whether what it measures may stand still now: a pump that rests, ice, an empty tank, a cold stack."""
    if sensor.quantity is Quantity.VACUUM:
        line = picture.vacuum[sensor.id]
        settled = reading.measured_ms - line.running_since_ms >= SETTLE_MS
        if not line.running or line.frozen or not settled:
            return True
    if sensor.quantity is Quantity.LEVEL and sensor.tank is not None:
        watch = picture.tanks.tanks[sensor.tank].watch
        empty_m3 = farm.tank_by_id[sensor.tank].heel_m3 + EMPTY_RATIO * watch.capacity_m3
        return watch.history.newest[-1][1] <= empty_m3
    return may_rest(sensor.quantity, reading.value)


def _feed(picture: Picture, farm: Farm, sensor: Sensor, measured_ms: int, value: float) -> None:
    match sensor.quantity:
        case Quantity.VACUUM:
            line = picture.vacuum.setdefault(sensor.id, VacuumHistory())
            observe_vacuum(
                line,
                measured_ms,
                value,
                station_pa(picture, farm),
                air_c(picture, farm),
                running=picture.pump.runs,
                sealed=sensor.line == PUMP and lines_are_sealed(picture.latest, farm, value),
            )
            observe_share(picture.shares.setdefault(sensor.id, ShareHistory()), line, measured_ms)
        case Quantity.STACK_TEMPERATURE:
            history = picture.fire.setdefault(sensor.id, _fire_history(farm))
            observe_stack(history, measured_ms, value, air_c(picture, farm))
        case Quantity.AIR_TEMPERATURE | Quantity.SHED_TEMPERATURE:
            observe_air(picture.air.setdefault(sensor.id, AirHistory()), measured_ms, value)
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
    newest = picture.tanks.tanks[tank_id].watch.history.newest
    is_fresh = bool(newest) and now_ms - newest[-1][0] < STALE_LEAST_S * 1000
    minute = (newest[-1][0] if is_fresh else now_ms) // MINUTE_MS
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
            if stuck_view(picture, farm, sensor, DOUBTED_AFTER_S, DOUBTED_COUNT) is not None:
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


def fire_view(picture: Picture, farm: Farm, now_ms: int) -> Fire | Unknown:
    """The fire as the stack tells it; of several stack sensors the first in the farm file."""
    for sensor in farm.sensors_of(Quantity.STACK_TEMPERATURE):
        if sensor.id in picture.fire:
            return fire(picture.fire[sensor.id], now_ms)
    return Unknown("nothing heard yet")


def stuck_view(
    picture: Picture, farm: Farm, sensor: Sensor, least_s: float, least_count: int = STILL_COUNT
) -> Stuck | None:
    """Whether that sensor stands still though it should not; None also where its owner has turned that rule off."""
    enabled = farm.tuning(SensorStuck, sensor).enabled
    return stuck(picture.health, farm, sensor, least_s, least_count) if enabled else None


def frost_view(picture: Picture, farm: Farm, now_ms: int) -> Frost | Unknown:
    """When the air freezes within a day and thaws again; of several thermometers the first that can tell."""
    thermometers = farm.sensors_of(Quantity.AIR_TEMPERATURE)
    found = [frost(picture.air.get(s.id, AirHistory()), now_ms, s.interval_s) for s in thermometers]
    told = [answer for answer in found if isinstance(answer, Frost)]
    return (told or found or [Unknown("no air thermometer in the farm file")])[0]
