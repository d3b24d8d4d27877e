"""The sugarhouse as it stands, for the deadline plan: from the farm's description and what its sensors say now.

What no level tells is taken so that no start is named too late:

- What runs into a tank is its rise. While it is emptied by a transfer, it is the rise before that; while a
  machine draws from it, its fall and what the machine takes, give or take a fifth.
- The run goes on all night unless a freeze is all but sure, and then until an hour after its late end. The
  next day's run is not foreseen.
- All sap of a parcel is as old as its oldest drop; what stays in a tank that counts as empty is no sap.
"""

from bisect import bisect_left
from math import inf

from shared.errors import InvalidArgument
from shared.estimates.frost import Frost
from shared.estimates.machines import boil_feed_m3_s
from shared.estimates.picture import Picture, TankView, tank_view
from shared.estimates.sugarhouse import LONGEST_S, ConcentrateTank, Parcels, Ro, SapTank, Sugarhouse
from shared.estimates.tank_flow import FillTime, TankFlow, VolumeHistory, tank_flow, time_to_full
from shared.farm import Farm
from shared.farm_parts import Holds, ReverseOsmosis, Tank
from shared.readings import Band, Quantity, Unknown
from shared.tuning.tanks import SapHeldTooLong
from shared.units import HOUR_S, to_si

STILL_M3_S = to_si(5, "gal/h")
"""A level that moves less stands still: a sensor's drift does as much (our choice)."""
MACHINE_SPREAD = 0.2
"""A machine's rate is known to a fifth (common practice, no source)."""
NOTHING = Band(0.0, 0.0, 0.0)
"""What runs into a tank that others drain into, where it does not show: its sap is counted there."""
STOPS_C = -1.0
"""A freeze ends the run if 9 of 10 such nights get so cold. Source: Kurokawa et al. 2022, -2 to +2 °C."""
STEM_LAG_S = HOUR_S
"""Stems follow the air by about an hour. Source: Kurokawa et al. 2022 (flow begins so long after the thaw)."""


def sugarhouse_tonight(
    picture: Picture, farm: Farm, found: Frost | Unknown, now_ms: int
) -> Sugarhouse | Unknown | None:
    """What must get through the sugarhouse; None where the farm file names no evaporator or no tank of sap.

    Unknown, with the tank, where a level or a flow is not known: without it no start can be promised.
    """
    tanks = [tank for tank in farm.tanks if tank.holds is Holds.SAP]
    if farm.evaporator is None or not tanks:
        return None
    views = {tank.id: tank_view(picture, farm, tank.id, now_ms) for tank in farm.tanks}
    try:
        sap = [_sap_tank(picture, farm, tank, views, now_ms) for tank in tanks]
        ro = None if farm.ro is None else _ro(picture, farm, farm.ro, views, now_ms)
        return Sugarhouse(tuple(sap), boil_feed_m3_s(farm), hold_limit_s(farm), ro, run_ends_s(found))
    except _NotToldError as error:
        return Unknown(str(error))
    except InvalidArgument as error:
        return Unknown(f"the farm file and the levels do not fit: {error}")


class _NotToldError(Exception):
    """A tank does not tell what the plan needs."""


def hold_limit_s(farm: Farm) -> float:
    """Greatest age from tree to pan: when the first tank's old sap would wake somebody."""
    tunings = [farm.tuning(SapHeldTooLong, tank) for tank in farm.tanks if tank.holds is not Holds.PERMEATE]
    return min((tuning.wake_age_s for tuning in tunings if tuning.enabled), default=LONGEST_S)


def run_ends_s(found: Frost | Unknown) -> float:
    """Until when sap is taken to run; infinity where no freeze is all but sure."""
    if isinstance(found, Unknown) or found.coldest_c.high > STOPS_C:
        return inf
    late_s = 0.0 if found.freezes is None else found.freezes.high_s
    return inf if late_s is None else late_s + STEM_LAG_S


def _sap_tank(picture: Picture, farm: Farm, tank: Tank, views: dict[str, TankView], now_ms: int) -> SapTank:
    volume_m3, capacity_m3, parcels = _contents(picture, farm, tank, views[tank.id], now_ms)
    onward = None if tank.drains_to is None else farm.tank_by_id[tank.drains_to]
    return SapTank(
        tank.id,
        volume_m3,
        capacity_m3,
        parcels,
        _inflow_m3_s(picture, farm, tank, views),
        onward.id if onward is not None and onward.holds is Holds.SAP else None,
    )


def _ro(picture: Picture, farm: Farm, ro: ReverseOsmosis, views: dict[str, TankView], now_ms: int) -> Ro:
    # Without a tank between them the RO can go no faster than the boil.
    concentrate = ConcentrateTank("", 0.0, 0.0)
    if ro.concentrate_to is not None:
        tank = farm.tank_by_id[ro.concentrate_to]
        concentrate = ConcentrateTank(tank.id, *_contents(picture, farm, tank, views[tank.id], now_ms))
    return Ro(ro.feed_m3_s, farm.sap_brix, ro.concentrate_brix, concentrate)


def _contents(
    picture: Picture, farm: Farm, tank: Tank, view: TankView, now_ms: int
) -> tuple[float, float, Parcels]:
    """Volume, capacity and parcels; of a tank that counts as empty the room over its heel."""
    if view.volume_m3 is None:
        has_sensor = bool(farm.sensors_of(Quantity.LEVEL, tank=tank.id))
        raise _NotToldError(f"{tank.id}: {'its level is not known' if has_sensor else 'no level sensor'}")
    volume_m3 = min(view.volume_m3, view.capacity_m3)
    if volume_m3 <= tank.heel_m3:
        return 0.0, view.capacity_m3 - volume_m3, ()
    ledger = picture.tanks.ledger.tanks.get(tank.id)
    parcels = tuple(
        (parcel.volume_m3, min(max(0.0, (now_ms - parcel.oldest_ms) / 1000), LONGEST_S))
        for parcel in (ledger.parcels if ledger is not None else ())
        if parcel.volume_m3 > 0
    )
    # What is not booked yet has come in the last quarter of an hour.
    return volume_m3, view.capacity_m3, parcels or ((volume_m3, 0.0),)


def _inflow_m3_s(picture: Picture, farm: Farm, tank: Tank, views: dict[str, TankView]) -> Band:
    view = views[tank.id]
    flow = view.flow
    if isinstance(flow, Unknown):
        raise _NotToldError(f"{tank.id}: {flow.reason}")
    feeders = [views[other.id].flow for other in farm.tanks if other.drains_to == tank.id]
    falls_ms = [f.since_ms for f in (flow, *feeders) if isinstance(f, TankFlow) and is_emptied(f)]
    if not falls_ms:
        return _rates_m3_s(flow, view.capacity_m3)
    taken_m3_s = _machine_m3_s(farm, tank)
    if taken_m3_s is not None and is_emptied(flow) and len(falls_ms) == 1:
        net, spread_m3_s = flow.net_m3_s, MACHINE_SPREAD * taken_m3_s
        if feeders and net.middle + taken_m3_s <= spread_m3_s:
            return NOTHING
        return Band(
            max(0.0, net.low + taken_m3_s - spread_m3_s),
            max(0.0, net.middle + taken_m3_s),
            max(0.0, net.high + taken_m3_s + spread_m3_s),
        )
    before = _flow_before(picture.tanks.tanks[tank.id].watch.history, min(falls_ms))
    if isinstance(before, TankFlow) and not is_emptied(before):
        return _rates_m3_s(before, view.capacity_m3)
    if feeders:
        return NOTHING
    raise _NotToldError(f"{tank.id} is being emptied: how fast sap runs in is not known")


def is_emptied(flow: TankFlow | Unknown) -> bool:
    """Whether a tank is clearly being drawn from."""
    return isinstance(flow, TankFlow) and flow.net_m3_s.high < -STILL_M3_S


def _machine_m3_s(farm: Farm, tank: Tank) -> float | None:
    """What a machine takes from that tank while it runs; None where a transfer empties it, or nothing does."""
    if tank.drains_to is not None:
        return None
    if farm.ro is not None:
        return farm.ro.feed_m3_s if tank.id in farm.ro.takes_from else None
    assert farm.evaporator is not None
    takes = farm.evaporator.takes_from in (None, tank.id)
    return boil_feed_m3_s(farm) if takes else None


def _rates_m3_s(flow: TankFlow, capacity_m3: float) -> Band:
    """Rates at which the tank fills as early and as late as is said of it; nothing runs out by itself."""
    net = flow.net_m3_s
    low_m3_s, high_m3_s = net.low, net.high
    left, room_m3 = time_to_full(flow, capacity_m3, flow.measured_ms), capacity_m3 - flow.volume_m3
    if isinstance(left, FillTime) and left.low_s > 0.0:
        high_m3_s = max(high_m3_s, room_m3 / left.low_s)
        low_m3_s = min(low_m3_s, 0.0 if left.high_s is None else room_m3 / left.high_s)
    return Band(max(0.0, low_m3_s), max(0.0, net.middle), max(0.0, high_m3_s))


def _flow_before(history: VolumeHistory, at_ms: int) -> TankFlow | Unknown:
    """The flow as it was at the end of the stretch before."""
    count = bisect_left(history.times_ms, at_ms)
    times_ms, volumes_m3 = history.times_ms[:count], history.volumes_m3[:count]
    if not times_ms:
        return Unknown("not heard before")
    newest = (times_ms[-1], volumes_m3[-1])
    return tank_flow(VolumeHistory(times_ms, volumes_m3, [newest]), newest[0])
