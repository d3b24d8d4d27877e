"""Which event of the sap a change of level was, and its entry in the ledger.

A change is booked as the first of these that fits:

1. Two of the RO's three tanks show it running: the feed falls, concentrate or permeate rises. How much
   it fed is what the one says that nothing else drew on; concentrate keeps the feed's age, permeate is
   no sap. One of the three alone tells it too, if it lasts and has no other reason.
2. One tank falls while the tank it drains to rises, in proportion: a transfer, which keeps its age.
3. A change too slow for a run, or the little by which the two sensors of a transfer differ: a sensor's
   error. What is there is scaled; nothing fresh is invented.
4. Any other rise that lasts is fresh sap, born evenly since the level last stood still; after a gap in
   the readings since the gap began, so that no sap is called younger than it can be.
5. Any other fall that lasts left for the evaporator or the ground, oldest first.

What two tanks confirm (1, 2) is booked at once, the rest when it has lasted a quarter of an hour.
"""

from dataclasses import replace
from itertools import pairwise

from shared.estimates import sap_age
from shared.estimates.level_watch import (
    SETTLE_S,
    band_m3,
    book_change,
    book_match,
    is_drift,
    lately_m3,
    settled,
)
from shared.estimates.parcels import fresh_parcel
from shared.estimates.tank_graph import MOST_KEPT_RATIO, BookedTank, Route, TankBook
from shared.estimates.warmth import book_warmth, lived
from shared.farm_parts import Holds

PROPORTION = 3.0
"""A fall and a rise that differ more than threefold are not one transfer."""
MISMATCH_RATIO = 0.05
"""Two sensors may disagree by so much of what was transferred (common practice, no source)."""
MATCH_MEMORY_MS = 3_600_000
MISSED_RATIO = 0.5
"""Of what a transfer brought, so much may have been hidden by inflow to its source and the RO's feed."""
FED_COUNT = 5
FED_SPARE = 1.5
"""A feed tank that fell over five smoothed minutes, at no more than so many times the RO's rate."""
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
    """Book what this tank and others show together."""
    ro = _ro_route(book, tank_id, at_ms)
    if ro is not None:
        fall_m3, rise_m3 = -_gap_m3(book, ro.source, at_ms), _gap_m3(book, ro.target, at_ms)
        permeate_m3 = _gap_m3(book, book.permeate, at_ms)
        if sum(change_m3 > 0 for change_m3 in (fall_m3, rise_m3, permeate_m3)) > 1:
            _feed_ro(book, ro, (fall_m3, rise_m3, permeate_m3), at_ms, lasted=False)
        elif tank_id == ro.source and (fed_m3 := _fed_alone_m3(book, ro)) > 0:
            _feed_ro(book, ro, (fed_m3, 0.0, 0.0), at_ms, lasted=True)
    for route in book.routes:
        over = route.until_ms is not None and at_ms > route.until_ms
        if tank_id not in (route.source, route.target) or route.ro_ratio is not None or over:
            continue
        source, target = book.tanks[route.source], book.tanks[route.target]
        fall_m3, rise_m3 = -_gap_m3(book, route.source, at_ms), _gap_m3(book, route.target, at_ms)
        small_m3, large_m3 = min(fall_m3, rise_m3), max(fall_m3, rise_m3)
        in_proportion = small_m3 > 0 and large_m3 < PROPORTION * small_m3
        if large_m3 > 0 and (in_proportion or _move_together(source, target)):
            # The larger: inflow hides some of the fall, or the RO some of the rise.
            move(book, route.source, route.target, large_m3, large_m3, at_ms)
            for tank in (source, target):
                before_m3 = tank.matched_m3 if at_ms - tank.matched_ms < MATCH_MEMORY_MS else 0.0
                tank.matched_m3, tank.matched_ms = before_m3 + large_m3, at_ms


def _move_together(source: BookedTank, target: BookedTank) -> bool:
    """Over the last minutes one fell as the other rose, whatever waits to be booked of either."""
    fallen_m3, risen_m3 = -lately_m3(source.watch), lately_m3(target.watch)
    if fallen_m3 < band_m3(source.watch) or risen_m3 < band_m3(target.watch):
        return False
    return 1 / PROPORTION < fallen_m3 / risen_m3 < PROPORTION


def settle(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Book what has lasted and what nothing else explains."""
    tank = book.tanks[tank_id]
    if not tank.begun:
        _begin(book, tank_id)
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


def _begin(book: TankBook, tank_id: str) -> None:
    """What is there when the watch begins is no inflow; after a wash, only what the outlet leaves is none."""
    tank, sap = book.tanks[tank_id], book.ledger.tanks.get(tank_id)
    if not tank.watch.recent or not (tank.washed or settled(tank.watch)):
        return
    level_m3 = tank.watch.recent[-1][1]
    tank.begun = True
    if sap is not None and not (tank.washed and level_m3 > max(sap.heel_m3, band_m3(tank.watch))):
        adjust(book, tank_id, level_m3, tank.watch.after_ms)


def _book_rise(book: TankBook, tank_id: str, rise_m3: float, risen_ms: int, at_ms: int) -> None:
    tank, sap, ro = book.tanks[tank_id], book.ledger.tanks.get(tank_id), _ro_route(book, tank_id, at_ms)
    if _is_error(tank, sap, rise_m3, risen_ms):
        adjust(book, tank_id, (tank.watch.booked_m3 or 0.0) + rise_m3, at_ms)
    elif ro is not None and tank_id == ro.target:
        _feed_ro(book, ro, (0.0, rise_m3, 0.0), at_ms, lasted=True)
    elif ro is not None and tank_id == book.permeate:
        _feed_ro(book, ro, (0.0, 0.0, rise_m3), at_ms, lasted=True)
    elif (source_id := _missed_source(book, tank_id, rise_m3, at_ms)) is not None:
        move(book, source_id, tank_id, rise_m3, rise_m3, at_ms, lasted=True)
    else:
        if sap is not None:
            room_m3 = _room_m3(book, tank_id, rise_m3)
            fresh = fresh_parcel(room_m3, min(tank.watch.since_ms, risen_ms), risen_ms)
            fresh = replace(fresh, at_least=tank.holds is Holds.CONCENTRATE)
            book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
            sap_age.fill(book.ledger, tank_id, lived(tank.warmth, fresh, at_ms))
        book_change(tank.watch, rise_m3)


def _book_fall(book: TankBook, tank_id: str, fall_m3: float, fallen_ms: int, at_ms: int) -> None:
    tank, sap, ro = book.tanks[tank_id], book.ledger.tanks.get(tank_id), _ro_route(book, tank_id, at_ms)
    if _is_error(tank, sap, fall_m3, fallen_ms):
        adjust(book, tank_id, (tank.watch.booked_m3 or 0.0) - fall_m3, at_ms)
    elif ro is not None and tank_id == ro.source and ro.only_way:
        _feed_ro(book, ro, (fall_m3, 0.0, 0.0), at_ms, lasted=True)
    else:
        if sap is not None:
            book_warmth(tank.warmth, book.ledger, tank_id, at_ms)
            sap_age.drain(book.ledger, tank_id, fall_m3)
        book_change(tank.watch, -fall_m3)


def _ro_route(book: TankBook, tank_id: str, at_ms: int) -> Route | None:
    """The way through the RO that this tank is part of, from the feed that falls most or holds most."""
    routes = [route for route in book.routes if route.ro_ratio is not None]
    if tank_id != book.permeate:
        routes = [route for route in routes if tank_id in (route.source, route.target)]
    return max(
        routes,
        key=lambda r: (-_gap_m3(book, r.source, at_ms), book.ledger.tanks[r.source].volume_m3),
        default=None,
    )


def _missed_source(book: TankBook, tank_id: str, rise_m3: float, at_ms: int) -> str | None:
    """Where an RO feed's rise came from if it is the part of a late transfer that the RO's draw hid."""
    tank = book.tanks[tank_id]
    feeds_ro = any(route.source == tank_id and route.ro_ratio is not None for route in book.routes)
    if not feeds_ro or at_ms - tank.matched_ms > MATCH_MEMORY_MS or rise_m3 > MISSED_RATIO * tank.matched_m3:
        return None
    tank.matched_m3 -= rise_m3 / MISSED_RATIO
    sources = [route.source for route in book.routes if route.target == tank_id and route.ro_ratio is None]
    return max(sources, key=lambda source: book.tanks[source].matched_ms, default=None)


def _fed_alone_m3(book: TankBook, ro: Route) -> float:
    """What the feed lost as evenly as the RO takes it, while nothing else shows; 0 where it jumped.

    Not waiting for it to last matters where a transfer fills the feed up again every half hour.
    """
    watch = book.tanks[ro.source].watch
    recent = watch.recent[-FED_COUNT - 1 :]
    if not ro.only_way or len(recent) <= FED_COUNT or watch.booked_m3 is None:
        return 0.0
    band, most_m3_s = band_m3(watch), FED_SPARE * ro.feed_m3_s
    for (before_ms, before_m3), (after_ms, after_m3) in pairwise(recent):
        if before_m3 - after_m3 > band / 2 + most_m3_s * (after_ms - before_ms) / 1000.0:
            return 0.0
    fallen_m3 = watch.booked_m3 - max(level_m3 for _, level_m3 in recent[1:])
    return fallen_m3 if fallen_m3 > band else 0.0


def _feed_ro(
    book: TankBook, route: Route, changes_m3: tuple[float, float, float], at_ms: int, *, lasted: bool
) -> None:
    """The RO ran: fall of its feed, rise of its concentrate and of its permeate, as far as they show.

    Each is less than what passed: inflow holds the feed up, the evaporator draws on the concentrate, a
    full permeate tank runs over. So the one that says most is believed.
    """
    fall_m3, rise_m3, permeate_m3 = (max(0.0, change_m3) for change_m3 in changes_m3)
    ratio = route.ro_ratio or MOST_KEPT_RATIO
    if permeate_m3 > 0:
        fed_m3 = max(fall_m3, rise_m3 + permeate_m3, permeate_m3 / (1 - ratio))
    else:
        # The ratio is what the farm file hopes for: a fall that can explain the rise is better.
        fed_m3 = fall_m3 if fall_m3 * MOST_KEPT_RATIO > rise_m3 else rise_m3 / ratio
    arrived_m3 = max(rise_m3, ratio * fed_m3)
    move(book, route.source, route.target, fed_m3, arrived_m3, at_ms, lasted=lasted, by_ro=True)
    if book.permeate is not None:
        (book_change if lasted else book_match)(book.tanks[book.permeate].watch, fed_m3 - arrived_m3)


def move(
    book: TankBook,
    source_id: str,
    target_id: str,
    taken_m3: float,
    arrived_m3: float,
    at_ms: int,
    *,
    lasted: bool = False,
    by_ro: bool = False,
) -> None:
    """Sap went from one tank to another.

    What the source was not known to hold was inflow that waits to be booked: it passed through, and is
    young; it is at least so old where nobody watches the source.
    """
    source, target = book.tanks[source_id], book.tanks[target_id]
    book_warmth(source.warmth, book.ledger, source_id, at_ms)
    book_warmth(target.warmth, book.ledger, target_id, at_ms)
    poured_m3 = _room_m3(book, target_id, arrived_m3)
    made_ms = at_ms if by_ro else None
    found_m3 = sap_age.move(book.ledger, source_id, target_id, taken_m3, poured_m3, made_ms=made_ms)
    passed_m3 = poured_m3 * (1 - found_m3 / taken_m3) if taken_m3 > 0 else 0.0
    if passed_m3 > sap_age.TRACE_M3:
        passed = fresh_parcel(passed_m3, min(source.watch.since_ms or at_ms, at_ms), at_ms)
        passed = replace(passed, at_least=source.watch.booked_m3 is None, made_ms=made_ms)
        sap_age.fill(book.ledger, target_id, passed)
    book_warmth(target.warmth, book.ledger, target_id, at_ms)
    for watch, change_m3 in ((source.watch, -taken_m3), (target.watch, arrived_m3)):
        (book_change if lasted else book_match)(watch, change_m3)


def _room_m3(book: TankBook, tank_id: str, rise_m3: float) -> float:
    """How much of a rise the ledger lacks: what passed through before it was booked is not there any more."""
    booked_m3 = book.tanks[tank_id].watch.booked_m3
    if booked_m3 is None:
        return rise_m3
    return min(rise_m3, max(0.0, booked_m3 + rise_m3 - book.ledger.tanks[tank_id].volume_m3))


def _gap_m3(book: TankBook, tank_id: str | None, at_ms: int) -> float:
    """Level less booked level; 0 within the dead-band, or where nothing recent is known."""
    if tank_id is None:
        return 0.0
    tank = book.tanks[tank_id]
    watch = tank.watch
    if not watch.recent or watch.booked_m3 is None or not tank.begun:
        return 0.0
    heard_ms, level_m3 = watch.recent[-1]
    gap_m3, silent_s = level_m3 - watch.booked_m3, (at_ms - heard_ms) / 1000.0
    return gap_m3 if abs(gap_m3) > band_m3(watch) and silent_s < max(SETTLE_S, 3 * watch.interval_s) else 0.0


def _is_error(tank: BookedTank, sap: sap_age.TankSap | None, change_m3: float, at_ms: int) -> bool:
    """The change is the sensor's drift, or the difference of two sensors over a transfer."""
    if sap is None or sap.volume_m3 <= sap_age.TRACE_M3:
        return False
    if is_drift(tank.watch, change_m3, at_ms):
        return True
    if at_ms - tank.matched_ms > MATCH_MEMORY_MS or change_m3 > MISMATCH_RATIO * tank.matched_m3:
        return False
    # Used up: inflow that goes on must not pass for the sensors' difference again and again.
    tank.matched_m3 -= change_m3 / MISMATCH_RATIO
    return True
