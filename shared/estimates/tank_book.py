"""The sap of a whole farm's tanks from nothing but their levels: how old, how much, how fast, how long.

Readings and what people write in the logbook go in; questions come out. `bookings` tells which event a
change of level was; `level_watch` which changes are real; `sap_age` keeps the ages. What no other tank
confirms is booked when it has lasted a quarter of an hour: until then the volume of an answer lags the
level. Where the levels allow two readings of what happened, the older sap is told.

A level that comes late fills the hole it left, and is not booked: the readings after the hole already were.
"""

from shared.errors import InvalidArgument
from shared.estimates import sap_age, tank_flow
from shared.estimates.bookings import adjust, match, move, settle
from shared.estimates.level_watch import note_level
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime, NotFilling, TankFlow
from shared.estimates.tank_graph import BookedTank, Route, TankBook, fit_to_farm, new_tank_book
from shared.estimates.warmth import book_warmth, note_temperature, warmed_until
from shared.readings import Unknown
from shared.units import HOUR_S

__all__ = [
    "TankBook",
    "drained",
    "fill_time",
    "fit_to_farm",
    "flow_of",
    "new_tank_book",
    "observe",
    "observe_temperature",
    "sap_in",
    "transfer",
    "wash",
]

SILENT_S = HOUR_S
"""Sap ages slowly: without a level its age stays an answer for an hour, or for five intervals."""
TOLD_ROUTE_MS = 6 * 3_600_000
"""A transfer that somebody told of is looked for so long."""


def observe(book: TankBook, tank_id: str, measured_ms: int, volume_m3: float) -> None:
    """Take a tank's volume in and book what it shows; a repeated reading changes nothing.

    Raises:
        InvalidArgument: there is no such tank, or the volume is not a finite number.
    """
    tank = _tank(book, tank_id)
    minute_closed = note_level(tank.watch, measured_ms, volume_m3)
    if tank.watch.booked_m3 is None:
        tank.watch.after_ms = tank.watch.since_ms = measured_ms
        adjust(book, tank_id, volume_m3, measured_ms)
    elif minute_closed:
        match(book, tank_id, measured_ms)
        settle(book, tank_id, measured_ms)


def observe_temperature(book: TankBook, tank_id: str, measured_ms: int, temperature_c: float) -> None:
    """Take the temperature of a tank's sap in.

    Raises:
        InvalidArgument: there is no such tank, or no sap is that cold or warm.
    """
    tank = _tank(book, tank_id)
    if tank_id in book.ledger.tanks:
        note_temperature(tank.warmth, book.ledger, tank_id, measured_ms, temperature_c)


def wash(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Somebody says that the tank was emptied and washed at that time: what came in since is all there is.

    Raises:
        InvalidArgument: there is no such tank, or it holds no sap.
    """
    tank = _sap_tank(book, tank_id)
    sap_age.wash(book.ledger, tank_id, at_ms)
    tank.begun, tank.washed, tank.matched_m3 = False, True, 0.0
    if tank.watch.booked_m3 is not None:
        # Minutes before the wash say nothing of what is in the tank now.
        tank.watch.booked_m3 = book.ledger.tanks[tank_id].volume_m3
        tank.watch.after_ms = tank.watch.since_ms = at_ms
        tank.watch.recent.clear()


def transfer(
    book: TankBook, source_id: str, target_id: str, at_ms: int, volume_m3: float | None = None
) -> None:
    """Somebody says that sap goes from one tank to another from that time on, beside the usual ways.

    Where both levels are heard they tell how much, if this is told within a quarter of an hour of its
    beginning; else the volume given goes at once, or all there is.

    Raises:
        InvalidArgument: there is no such tank, it holds no sap, or the volume is no volume.
    """
    source, target = _sap_tank(book, source_id), _sap_tank(book, target_id)
    if source.watch.booked_m3 is not None and target.watch.booked_m3 is not None:
        book.routes = [route for route in book.routes if route.until_ms is None or route.until_ms > at_ms]
        book.routes.append(Route(source_id, target_id, until_ms=at_ms + TOLD_ROUTE_MS))
        match(book, source_id, at_ms)
    else:
        moved_m3 = book.ledger.tanks[source_id].volume_m3 if volume_m3 is None else volume_m3
        move(book, source_id, target_id, moved_m3, moved_m3, at_ms)


def drained(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Somebody says that the tank was emptied; where its level is heard, that tells already.

    Raises:
        InvalidArgument: there is no such tank, or it holds no sap.
    """
    tank = _sap_tank(book, tank_id)
    if tank.watch.booked_m3 is None:
        book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
        sap_age.drain(book.ledger, tank_id, book.ledger.tanks[tank_id].volume_m3)


def sap_in(book: TankBook, tank_id: str, now_ms: int) -> SapAge | Unknown:
    """How old the sap in a tank is; Unknown where there is none, or its level is not heard any more.

    No more than its heel is none; the heel's age tells again as soon as sap stands on it.

    Raises:
        InvalidArgument: there is no such tank.
    """
    tank = _tank(book, tank_id)
    if tank_id not in book.ledger.tanks:
        return Unknown("permeate is no sap")
    newest = tank.watch.history.newest
    silent_s = (now_ms - newest[-1][0]) / 1000.0 if newest else 0.0
    if silent_s > max(SILENT_S, tank_flow.STALE_COUNT * tank.watch.interval_s):
        return Unknown(f"no level reading for {silent_s / 60:.0f} min")
    age = sap_age.sap_age(book.ledger, tank_id, now_ms)
    if isinstance(age, Unknown):
        return age
    if age.volume_m3 <= book.ledger.tanks[tank_id].heel_m3:
        return Unknown("the tank is empty")
    return warmed_until(tank.warmth, age, now_ms)


def flow_of(book: TankBook, tank_id: str, now_ms: int) -> TankFlow | Unknown:
    """How fast a tank fills or empties.

    Raises:
        InvalidArgument: there is no such tank.
    """
    return tank_flow.tank_flow(_tank(book, tank_id).watch.history, now_ms)


def fill_time(book: TankBook, tank_id: str, now_ms: int) -> FillTime | NotFilling | Unknown:
    """When a tank is full at its present flow.

    Raises:
        InvalidArgument: there is no such tank.
    """
    return tank_flow.time_to_full(
        flow_of(book, tank_id, now_ms), _tank(book, tank_id).watch.capacity_m3, now_ms
    )


def _tank(book: TankBook, tank_id: str) -> BookedTank:
    if tank_id not in book.tanks:
        raise InvalidArgument("tank_id", tank_id, "one of " + ", ".join(book.tanks))
    return book.tanks[tank_id]


def _sap_tank(book: TankBook, tank_id: str) -> BookedTank:
    tank = _tank(book, tank_id)
    if tank_id not in book.ledger.tanks:
        raise InvalidArgument("tank_id", tank_id, "a tank of sap or concentrate")
    return tank
