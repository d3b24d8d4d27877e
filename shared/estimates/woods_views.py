"""What the picture says of the woods: the pump, where vacuum is lost, shares of the attainable and slow declines."""

from shared.estimates.frost import AirHistory
from shared.estimates.leaks import locate
from shared.estimates.onset import MINUTE_MS
from shared.estimates.picture import Picture, air_c, vacuum_view
from shared.estimates.pump import pump_sensors
from shared.estimates.pump_run import Pump, Stop, pump, stop_of
from shared.estimates.shares import Decline, Share, ShareHistory, decline_of, share_of
from shared.estimates.suspects import Suspect
from shared.estimates.vacuum import VacuumDrop, VacuumHistory
from shared.farm import Farm
from shared.readings import Quantity, Unknown
from shared.units import INHG_PA

DROPPED_PA = 1.5 * INHG_PA
"""A sensor that lost this much is part of the question where (common practice, no source)."""
DAY_TO_DAY_PA = 0.4 * INHG_PA
"""What one day's median differs from another's with nothing wrong: flow, gas from the trees, gauges (common
practice, no source)."""
THAWED_C = 10.0
"""Only hours on thawed lines are compared."""


def pump_view(picture: Picture, farm: Farm, now_ms: int) -> Pump | Unknown:
    """Whether the pump runs, and since when."""
    interval_s = max((sensor.interval_s for sensor in pump_sensors(farm)), default=60.0)
    return pump(picture.pump, now_ms, interval_s)


def stop_view(picture: Picture, farm: Farm, stands: Pump, now_ms: int) -> Stop:
    """What a pump that stands is taken for, by the first thermometer of the air that was heard."""
    lines = [picture.vacuum[s.id] for s in farm.sensors_of(Quantity.VACUUM) if s.id in picture.vacuum]
    return stop_of(stands, air_history(picture, farm), any(line.frozen for line in lines), now_ms)


def air_history(picture: Picture, farm: Farm) -> AirHistory | None:
    """The air of the last days, from the first thermometer that was heard."""
    heard = [picture.air[s.id] for s in farm.sensors_of(Quantity.AIR_TEMPERATURE) if s.id in picture.air]
    return heard[0] if heard else None


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


def share_view(picture: Picture, farm: Farm, sensor_id: str, now_ms: int) -> Share | Unknown:
    """What a vacuum sensor shows as a share of what the air allows."""
    history = picture.vacuum.get(sensor_id, VacuumHistory())
    return share_of(history, now_ms, farm.sensor_by_id[sensor_id].interval_s)


def decline_view(picture: Picture, sensor_id: str, now_ms: int) -> Decline | Unknown:
    """What a vacuum sensor has lost against its best day of the last week."""
    history = picture.vacuum.get(sensor_id)
    if history is None:
        return Unknown("nothing heard yet")
    return decline_of(picture.shares.get(sensor_id, ShareHistory()), history.station_pa, now_ms)


def decline_suspects(picture: Picture, farm: Farm, now_ms: int) -> tuple[Suspect, ...] | Unknown:
    """Where what was lost slowly is lost, the likeliest first."""
    drops: dict[str, VacuumDrop | Unknown] = {}
    for sensor in farm.sensors_of(Quantity.VACUUM):
        decline = decline_view(picture, sensor.id, now_ms)
        drops[sensor.id] = as_drop(decline) if isinstance(decline, Decline) else decline
    return locate(farm, drops, THAWED_C, now_ms)


def as_drop(decline: Decline) -> VacuumDrop:
    """A decline as the drop that it would be, had it come at once; it has no start."""
    return VacuumDrop(
        usual_pa=decline.best_pa,
        now_pa=decline.now_pa,
        drop_pa=decline.drop_pa,
        attainable_pa=decline.attainable_pa,
        station_pa=decline.station_pa,
        share_ratio=decline.now_pa / decline.attainable_pa,
        since_ms=None,
        fell_s=None,
        pump_running=True,
        frozen=False,
        noise_pa=DAY_TO_DAY_PA,
        above_attainable=False,
    )
