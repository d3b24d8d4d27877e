"""Which event of the sap a change of level was, and its entry in the ledger.

A change is booked as the first of these that fits:

1. One tank falls while the tank it drains to rises, in proportion: a transfer, which keeps its age.
2. The RO's concentrate rises: its feed gave that and the permeate (with no permeate sensor, the fall
   seen, or what the ratio of the sugars says). Permeate itself is no sap.
3. A change too slow for a run, or the little by which the two sensors of a transfer differ: a sensor's
   error. What is there is scaled; nothing fresh is invented.
4. Any other rise that lasts is fresh sap, born evenly since the level last stood still; after a gap in
   the readings since the gap began, so that no sap is called younger than it can be.
5. Any other fall that lasts left for the evaporator or the ground, oldest first.

Matched changes (1, 2) are booked at once, the others when they have lasted a quarter of an hour.
"""

from shared.estimates import sap_age
from shared.estimates.level_watch import (
    SETTLE_S,
    band_m3,
    book_match,
    is_drift,
    settled,
)
from shared.estimates.parcels import Parcel, fresh_parcel
from shared.estimates.tank_graph import BookedTank, TankBook
from shared.estimates.warmth import book_warmth, lived
from shared.farm import Holds

PROPORTION = 3.0
"""A fall and a rise that differ more than threefold are not one transfer."""
MISMATCH_RATIO = 0.1
"""Two sensors may disagree by a tenth over what was transferred (common practice, no source)."""
MATCH_MEMORY_MS = 3_600_000
MOST_PERMEATE_RATIO = 20.0
"""Permeate to concentrate; even 35 °Bx from 2 °Bx leaves 19. More came from elsewhere, such as a rinse."""
REST_MS = 3_600_000
"""A remainder within the dead-band that has stood for an hour is the sensor's, and is scaled away."""


def adjust(book: TankBook, tank_id: str, level_m3: float, at_ms: int) -> None:
    """The level stands there after all: what is there is scaled, a heel in an empty tank is none."""
    tank, sap = book.tanks[tank_id], book.ledger.tanks.get(tank_id)
    level_m3 = max(0.0, level_m3)
    if sap is not None:
        present_m3, before_m3 = sap.volume_m3, tank.watch.booked_m3 or 0.0
        if present_m3 > sap_age.TRACE_M3 or level_m3 > max(sap.heel_m3, band_m3(tank.watch)):
            book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
            sap_age.correct(book.ledger, tank_id, max(0.0, present_m3 + level_m3 - before_m3), at_ms)
            book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
    tank.watch.booked_m3 = level_m3


def match(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Book what this tank and another beyond a route show together."""
    for route in book.routes:
        if tank_id not in (route.source, route.target) or (
            route.until_ms is not None and at_ms > route.until_ms
        ):
            continue
        fall_m3, rise_m3 = -_gap_m3(book, route.source, at_ms), _gap_m3(book, route.target, at_ms)
        small_m3, large_m3 = min(fall_m3, rise_m3), max(fall_m3, rise_m3)
        if small_m3 <= 0:
            continue
        if route.ro_ratio is not None:
            permeate_m3 = _take_permeate_m3(book, rise_m3, at_ms)
            fed_m3 = large_m3 if permeate_m3 is None else rise_m3 + permeate_m3
            move(book, route.source, route.target, fed_m3, rise_m3, at_ms)
        elif large_m3 < PROPORTION * small_m3:
            move(book, route.source, route.target, large_m3, large_m3, at_ms)
            for tank in (book.tanks[route.source], book.tanks[route.target]):
                lately_m3 = tank.matched_m3 if at_ms - tank.matched_ms < MATCH_MEMORY_MS else 0.0
                tank.matched_m3, tank.matched_ms = lately_m3 + large_m3, at_ms


def settle(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Book what has lasted and what nothing else explains."""
    tank = book.tanks[tank_id]
    if not tank.begun:
        _begin(book, tank_id, at_ms)
        return
    watch, booked_m3, lasted = tank.watch, tank.watch.booked_m3, settled(tank.watch)
    if lasted is None or booked_m3 is None:
        return
    rise_m3, fall_m3 = lasted.risen_to_m3 - booked_m3, booked_m3 - lasted.fallen_to_m3
    size_m3, band = max(rise_m3, fall_m3), band_m3(watch)
    if size_m3 <= band / 4:
        pass
    elif size_m3 <= band:
        if lasted.at_ms - watch.since_ms < REST_MS:
            return
        adjust(book, tank_id, booked_m3 + (rise_m3 if rise_m3 > fall_m3 else -fall_m3), at_ms)
    elif rise_m3 > fall_m3:
        _book_rise(book, tank_id, rise_m3, lasted.at_ms, at_ms)
    else:
        _book_fall(book, tank_id, fall_m3, lasted.at_ms, at_ms)
    watch.since_ms = max(watch.since_ms, lasted.at_ms)


def _begin(book: TankBook, tank_id: str, at_ms: int) -> None:
    """What is there when the watch begins is no inflow; after a wash, only what the outlet leaves is none."""
    tank, sap = book.tanks[tank_id], book.ledger.tanks.get(tank_id)
    if not tank.watch.recent or not (tank.washed or settled(tank.watch)):
        return
    level_m3 = tank.watch.recent[-1][1]
    tank.begun = True
    if sap is not None and not (tank.washed and level_m3 > max(sap.heel_m3, band_m3(tank.watch))):
        adjust(book, tank_id, level_m3, tank.watch.after_ms)


def _book_rise(book: TankBook, tank_id: str, rise_m3: float, risen_ms: int, at_ms: int) -> None:
    tank, sap = book.tanks[tank_id], book.ledger.tanks.get(tank_id)
    if sap is None or tank.watch.booked_m3 is None:
        return  # permeate: its rise waits for the concentrate's
    if _is_error(tank, sap, rise_m3, risen_ms):
        adjust(book, tank_id, tank.watch.booked_m3 + rise_m3, at_ms)
    elif tank.holds is Holds.CONCENTRATE:
        _book_concentrate(book, tank_id, rise_m3, at_ms)
    else:
        fresh = fresh_parcel(rise_m3, min(tank.watch.since_ms, risen_ms), risen_ms)
        _pour(book, tank_id, fresh, at_ms)
        tank.watch.booked_m3 += rise_m3


def _book_fall(book: TankBook, tank_id: str, fall_m3: float, fallen_ms: int, at_ms: int) -> None:
    tank, sap = book.tanks[tank_id], book.ledger.tanks.get(tank_id)
    if tank.watch.booked_m3 is None:
        return
    if sap is not None and _is_error(tank, sap, fall_m3, fallen_ms):
        adjust(book, tank_id, tank.watch.booked_m3 - fall_m3, at_ms)
        return
    if sap is not None:
        book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
        sap_age.drain(book.ledger, tank_id, fall_m3)
    tank.watch.booked_m3 -= fall_m3


def _book_concentrate(book: TankBook, tank_id: str, rise_m3: float, at_ms: int) -> None:
    """Concentrate rose while no feed was seen to fall: inflow made up for it, or the feed has no sensor."""
    routes = [route for route in book.routes if route.target == tank_id and route.ro_ratio is not None]
    if not routes:
        _pour(book, tank_id, Parcel(rise_m3, at_ms, at_ms, at_least=True), at_ms)
        book.tanks[tank_id].watch.booked_m3 = (book.tanks[tank_id].watch.booked_m3 or 0.0) + rise_m3
        return
    route = max(routes, key=lambda r: book.ledger.tanks[r.source].volume_m3)
    permeate_m3 = _take_permeate_m3(book, rise_m3, at_ms)
    fed_m3 = rise_m3 / (route.ro_ratio or 1.0) if permeate_m3 is None else rise_m3 + permeate_m3
    move(book, route.source, tank_id, fed_m3, rise_m3, at_ms)


def move(
    book: TankBook, source_id: str, target_id: str, taken_m3: float, arrived_m3: float, at_ms: int
) -> None:
    """Sap went from one tank to another; what the source was not known to hold is at least as old as this."""
    source, target = book.tanks[source_id], book.tanks[target_id]
    book_warmth(source.warmth, book.ledger, source_id, at_ms)
    book_warmth(target.warmth, book.ledger, target_id, at_ms)
    found_m3 = sap_age.move(book.ledger, source_id, target_id, taken_m3, arrived_m3)
    lacking_m3 = arrived_m3 * (1 - found_m3 / taken_m3) if taken_m3 > 0 else 0.0
    if lacking_m3 > sap_age.TRACE_M3:
        sap_age.fill(book.ledger, target_id, Parcel(lacking_m3, at_ms, at_ms, at_least=True))
    book_warmth(target.warmth, book.ledger, target_id, at_ms)
    book_match(source.watch, -taken_m3)
    book_match(target.watch, arrived_m3)


def _pour(book: TankBook, tank_id: str, fresh: Parcel, at_ms: int) -> None:
    warmth = book.tanks[tank_id].warmth
    book_warmth(warmth, book.ledger, tank_id, at_ms)
    sap_age.fill(book.ledger, tank_id, lived(warmth, fresh, at_ms))


def _gap_m3(book: TankBook, tank_id: str, at_ms: int) -> float:
    """Level less booked level; 0 within the dead-band, or where nothing recent is known."""
    tank = book.tanks[tank_id]
    watch = tank.watch
    if not watch.recent or watch.booked_m3 is None or not tank.begun:
        return 0.0
    heard_ms, level_m3 = watch.recent[-1]
    gap_m3, silent_s = level_m3 - watch.booked_m3, (at_ms - heard_ms) / 1000.0
    return gap_m3 if abs(gap_m3) > band_m3(watch) and silent_s < max(SETTLE_S, 3 * watch.interval_s) else 0.0


def _take_permeate_m3(book: TankBook, concentrate_m3: float, at_ms: int) -> float | None:
    """Permeate that came with so much concentrate; None where nobody measures it."""
    tank = book.tanks.get(book.permeate) if book.permeate is not None else None
    if book.permeate is None or tank is None or tank.watch.booked_m3 is None:
        return None
    rise_m3 = max(0.0, _gap_m3(book, book.permeate, at_ms))
    book_match(tank.watch, rise_m3)
    return min(rise_m3, MOST_PERMEATE_RATIO * concentrate_m3)


def _is_error(tank: BookedTank, sap: sap_age.TankSap, change_m3: float, at_ms: int) -> bool:
    """The change is the sensor's drift, or the difference of two sensors over a transfer."""
    if sap.volume_m3 <= sap_age.TRACE_M3:
        return False
    recent = at_ms - tank.matched_ms < MATCH_MEMORY_MS
    return is_drift(tank.watch, change_m3, at_ms) or (
        recent and change_m3 <= MISMATCH_RATIO * tank.matched_m3
    )
