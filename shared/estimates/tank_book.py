"""The sap of a whole farm's tanks, booked from nothing but their levels.

Each tank's level is compared with what is booked of it (see `level_watch`). A change is booked as the
first of these that fits:

1. One tank falls while the tank it drains to rises, in proportion: a transfer, which keeps its age.
2. The RO's concentrate rises: its feed gave that and the permeate (with no permeate sensor, the fall
   seen, or what the ratio of the sugars says). Permeate itself is no sap.
3. A change too slow for a run, or the little by which the two sensors of a transfer differ: a sensor's
   error. What is there is scaled; nothing fresh is invented.
4. Any other rise that lasts is fresh sap, born evenly since the level last stood at what was booked;
   after a gap in the readings since the gap began, so that no sap is called younger than it can be.
5. Any other fall that lasts left for the evaporator or the ground, oldest first.

Matched changes are booked at once, the others when they have lasted a quarter of an hour. Until then
the volume of an answer lags the level, and its ages err to the older side.
"""

from dataclasses import dataclass, field

from shared.errors import InvalidArgument
from shared.estimates import sap_age, tank_flow
from shared.estimates.level_watch import LevelWatch, band_m3, is_drift, near_level_m3, note_level, settled
from shared.estimates.parcels import Parcel, fresh_parcel
from shared.estimates.sap_age import Ledger, SapAge, TankSap
from shared.estimates.tank_flow import FillTime, NotFilling, TankFlow
from shared.estimates.warmth import Warmth, book_warmth, lived, note_temperature, warmed_until
from shared.farm import Farm, Holds
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.physics.tanks import capacity_m3
from shared.readings import Quantity, Unknown
from shared.units import HOUR_S

PROPORTION = 3.0
"""A fall and a rise that differ more than threefold are not one transfer."""
MISMATCH_RATIO = 0.1
"""Two sensors may disagree by a tenth over what was transferred (common practice, no source)."""
MATCH_MEMORY_MS = 3_600_000
SILENT_S = HOUR_S
"""Sap ages slowly: without a level its age stays an answer for an hour, or for five intervals."""
TOLD_ROUTE_MS = 6 * 3_600_000
"""A transfer that somebody told of is looked for so long."""


@dataclass(slots=True)
class Route:
    """Sap can go from one tank to another, by itself or through the RO."""

    source: str
    target: str
    ro_ratio: float | None = None
    """Concentrate over feed, by volume; None: no RO between."""
    until_ms: int | None = None
    """None: for good."""


@dataclass(slots=True)
class BookedTank:
    """What the book keeps of one tank beside its sap."""

    watch: LevelWatch
    holds: Holds
    warmth: Warmth
    settled: bool = False
    """A first level has lasted since the watch, or the wash, began."""
    washed: bool = False
    matched_m3: float = 0.0
    """Transferred by matching in or out, lately; the sensors may differ by a little of it."""
    matched_ms: int = 0


@dataclass(slots=True)
class TankBook:
    """The ledger of a farm's sap, its tanks' levels, and the ways between them."""

    ledger: Ledger = field(default_factory=Ledger)
    tanks: dict[str, BookedTank] = field(default_factory=dict)
    routes: list[Route] = field(default_factory=list)
    permeate: str | None = None


def new_tank_book(farm: Farm) -> TankBook:
    """An empty book of that farm's tanks."""
    book = TankBook()
    fit_to_farm(book, farm)
    return book


def fit_to_farm(book: TankBook, farm: Farm) -> None:
    """Follow the farm file: a book read back keeps its sap, gains new tanks and forgets dropped ones."""
    old, book.tanks, sap, book.ledger.tanks = book.tanks, {}, book.ledger.tanks, {}
    for tank in farm.tanks:
        sensors = farm.sensors_of(Quantity.LEVEL, tank=tank.id)
        interval_s = min((sensor.interval_s for sensor in sensors), default=60.0)
        booked = old.get(tank.id) or BookedTank(LevelWatch(0.0, 0.0), tank.holds, Warmth())
        booked.watch.capacity_m3, booked.watch.interval_s = capacity_m3(tank.geometry), interval_s
        booked.holds = tank.holds
        booked.warmth.has_sensor = bool(farm.sensors_of(Quantity.SAP_TEMPERATURE, tank=tank.id))
        book.tanks[tank.id] = booked
        if tank.holds is not Holds.PERMEATE:
            book.ledger.tanks[tank.id] = sap.get(tank.id) or TankSap()
            book.ledger.tanks[tank.id].heel_m3 = tank.heel_m3
    routes = [Route(tank.id, tank.drains_to) for tank in farm.tanks if tank.drains_to is not None]
    if farm.ro is not None and farm.ro.concentrate_to is not None:
        ratio = ro_concentrate_volume_ratio(farm.sap_brix, max(farm.sap_brix, farm.ro.concentrate_brix))
        routes[:0] = [Route(feed, farm.ro.concentrate_to, ratio) for feed in farm.ro.takes_from]
    routes += [route for route in book.routes if route.until_ms is not None]
    book.routes = [r for r in routes if {r.source, r.target} <= book.ledger.tanks.keys() and r.source != r.target]
    book.permeate = farm.ro.permeate_to if farm.ro is not None else None


def observe(book: TankBook, tank_id: str, measured_ms: int, volume_m3: float) -> None:
    """Take a tank's volume in and book what it shows; a repeated reading changes nothing.

    Raises:
        InvalidArgument: there is no such tank, or the volume is not a finite number.
    """
    tank = _tank(book, tank_id)
    minute_closed = note_level(tank.watch, measured_ms, volume_m3)
    if tank.watch.booked_m3 is None:
        tank.watch.after_ms = tank.watch.since_ms = measured_ms
        tank.watch.booked_m3 = 0.0
        _adjust(book, tank_id, volume_m3, measured_ms)
    elif minute_closed:
        _match(book, tank_id, measured_ms)
        _settle(book, tank_id, measured_ms)


def observe_temperature(book: TankBook, tank_id: str, measured_ms: int, temperature_c: float) -> None:
    """Take the temperature of a tank's sap in.

    Raises:
        InvalidArgument: there is no such tank, or no sap is that cold or warm.
    """
    tank = _tank(book, tank_id)
    if tank.holds is not Holds.PERMEATE:
        note_temperature(tank.warmth, book.ledger, tank_id, measured_ms, temperature_c)


def wash(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Somebody says that the tank was emptied and washed at that time: what came in since is all there is.

    Raises:
        InvalidArgument: there is no such tank, or it holds no sap.
    """
    tank = _sap_tank(book, tank_id)
    sap_age.wash(book.ledger, tank_id, at_ms)
    if tank.watch.booked_m3 is not None:
        # Minutes before the wash say nothing of what is in the tank now.
        tank.watch.booked_m3 = book.ledger.tanks[tank_id].volume_m3
        tank.watch.after_ms = tank.watch.since_ms = at_ms
        tank.settled, tank.washed, tank.matched_m3 = False, True, 0.0


def transfer(book: TankBook, source_id: str, target_id: str, at_ms: int, volume_m3: float | None = None) -> None:
    """Somebody says that sap goes from one tank to another from that time on, beside the usual ways.

    Where both tanks have been heard their levels tell how much, if this is told within a quarter of an
    hour; else all, or the volume given, goes at once.

    Raises:
        InvalidArgument: there is no such tank, it holds no sap, or the volume is no volume.
    """
    source, target = _sap_tank(book, source_id), _sap_tank(book, target_id)
    if source.watch.booked_m3 is not None and target.watch.booked_m3 is not None:
        book.routes = [r for r in book.routes if r.until_ms is None or r.until_ms > at_ms]
        book.routes.append(Route(source_id, target_id, None, at_ms + TOLD_ROUTE_MS))
        _match(book, source_id, at_ms)
    else:
        present_m3 = book.ledger.tanks[source_id].volume_m3
        moved_m3 = present_m3 if volume_m3 is None else volume_m3
        _move(book, source_id, target_id, moved_m3, moved_m3, at_ms)


def drained(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Somebody says that a tank without a level sensor was emptied.

    Raises:
        InvalidArgument: there is no such tank, or it holds no sap.
    """
    if _sap_tank(book, tank_id).watch.booked_m3 is None:
        book_warmth(book.tanks[tank_id].warmth, book.ledger, tank_id, at_ms)
        sap_age.drain(book.ledger, tank_id, book.ledger.tanks[tank_id].volume_m3)


def sap_in(book: TankBook, tank_id: str, now_ms: int) -> SapAge | Unknown:
    """How old the sap in a tank is; Unknown where there is none or its level is not heard."""
    tank = _tank(book, tank_id)
    if tank.holds is Holds.PERMEATE:
        return Unknown("permeate is no sap")
    history = tank.watch.history
    if history.newest:
        silent_s = (now_ms - history.newest[-1][0]) / 1000.0
        if silent_s > max(SILENT_S, tank_flow.STALE_COUNT * tank.watch.interval_s):
            return Unknown(f"no level reading for {silent_s / 60:.0f} min")
    age = sap_age.sap_age(book.ledger, tank_id, now_ms)
    return age if isinstance(age, Unknown) else warmed_until(tank.warmth, age, now_ms)


def flow_of(book: TankBook, tank_id: str, now_ms: int) -> TankFlow | Unknown:
    """How fast a tank fills or empties."""
    return tank_flow.tank_flow(_tank(book, tank_id).watch.history, now_ms)


def fill_time(book: TankBook, tank_id: str, flow: TankFlow | Unknown, now_ms: int) -> FillTime | NotFilling | Unknown:
    """When a tank is full at that flow."""
    return tank_flow.time_to_full(flow, _tank(book, tank_id).watch.capacity_m3, now_ms)


def _match(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Book what this tank and one beyond a route show together."""
    for route in book.routes:
        if tank_id not in (route.source, route.target) or (route.until_ms is not None and at_ms > route.until_ms):
            continue
        fall_m3, rise_m3 = -_gap_m3(book, route.source, at_ms), _gap_m3(book, route.target, at_ms)
        small_m3, large_m3 = sorted((fall_m3, rise_m3))
        if small_m3 <= 0:
            continue
        if route.ro_ratio is not None:
            _move(book, route, _fed_m3(book, rise_m3, at_ms) or max(fall_m3, rise_m3), rise_m3, at_ms)
        elif large_m3 < PROPORTION * small_m3:
            _move(book, route, small_m3, small_m3, at_ms)


def _settle(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Book what has lasted and what nothing else explains."""
    tank = book.tanks[tank_id]
    watch, lasted = tank.watch, settled(tank.watch)
    if lasted is None or watch.booked_m3 is None:
        return
    rise_m3, fall_m3 = lasted.risen_to_m3 - watch.booked_m3, watch.booked_m3 - lasted.fallen_to_m3
    change_m3, band = (rise_m3 if rise_m3 > fall_m3 else -fall_m3), band_m3(watch)
    rest_m3 = abs(change_m3) if max(rise_m3, fall_m3) > 0 else 0.0
    empty = tank_id in book.ledger.tanks and book.ledger.tanks[tank_id].volume_m3 <= sap_age.TRACE_M3
    if not tank.settled or tank.holds is Holds.PERMEATE:
        _begin(book, tank_id, at_ms)
    elif rest_m3 <= band:
        if rest_m3 > band / 4 and lasted.at_ms - watch.since_ms > REST_MS:
            _adjust(book, tank_id, watch.booked_m3 + change_m3, at_ms)
        elif rest_m3 > band / 4:
            return
    elif not empty and (is_drift(watch, change_m3, lasted.at_ms) or _is_mismatch(tank, change_m3, at_ms)):
        _adjust(book, tank_id, watch.booked_m3 + change_m3, at_ms)
    elif change_m3 < 0:
        book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
        sap_age.drain(book.ledger, tank_id, -change_m3)
        watch.booked_m3 += change_m3
    elif tank.holds is Holds.CONCENTRATE:
        _concentrated(book, tank_id, change_m3, at_ms)
    else:
        fresh = fresh_parcel(change_m3, min(watch.since_ms, lasted.at_ms), lasted.at_ms)
        _pour(book, tank_id, fresh, at_ms)
    watch.since_ms = max(watch.since_ms, lasted.at_ms)


def _begin(book: TankBook, tank_id: str, at_ms: int) -> None:
    """The first level that lasts after the watch or a wash began is what is there, not an inflow."""
    tank = book.tanks[tank_id]
    level_m3 = near_level_m3(tank.watch)
    if level_m3 is None:
        return
    ...
