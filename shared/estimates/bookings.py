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
    is_drift,
    near_level_m3,
    settled,
)
from shared.estimates.parcels import Parcel, fresh_parcel
from shared.estimates.tank_graph import BookedTank, Route, TankBook
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
    """The level stands there after all: scale what the ledger has; in an empty tank a heel's worth is none."""
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
        if tank_id not in (route.source, route.target) or (route.until_ms is not None and at_ms > route.until_ms):
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
            move(book, route.source, route.target, small_m3, small_m3, at_ms)
            for tank in (book.tanks[route.source], book.tanks[route.target]):
                lately_m3 = tank.matched_m3 if at_ms - tank.matched_ms < MATCH_MEMORY_MS else 0.0
                tank.matched_m3, tank.matched_ms = lately_m3 + small_m3, at_ms


def settle(book: TankBook, tank_id: str, at_ms: int) -> None:
    """Book what has lasted and what nothing else explains."""
    tank, lasted = book.tanks[tank_id], settled(book.tanks[tank_id].watch)
    watch, booked_m3 = tank.watch, tank.watch.booked_m3
    if lasted is None or booked_m3 is None:
        return
    if not tank.begun:
        _begin(book, tank_id, at_ms)
        return
    rise_m3, fall_m3 = lasted.risen_to_m3 - booked_m3, booked_m3 - lasted.fallen_to_m3
    change_m3, band = (rise_m3 if rise_m3 > fall_m3 else -fall_m3), band_m3(watch)
    size_m3 = max(rise_m3, fall_m3)
    if size_m3 <= band / 4:
        watch.since_ms = lasted.at_ms
    elif size_m3 <= band:
        if lasted.at_ms - watch.since_ms > REST_MS:
            _finish(book, tank_id, booked_m3 + change_m3, lasted.at_ms)
    elif tank.holds is Holds.PERMEATE:
        ...
