"""A farm's tanks and the ways of sap between them, as the book of their sap keeps them."""

from dataclasses import dataclass, field

from shared.estimates.level_watch import LevelWatch
from shared.estimates.sap_age import Ledger, TankSap
from shared.estimates.warmth import Warmth
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.physics.tanks import capacity_m3
from shared.readings import Quantity

MOST_KEPT_RATIO = 0.5
"""Concentrate over feed of the weakest RO worth running, 4 °Bx from 2 °Bx (our choice, no source)."""


@dataclass(slots=True)
class Route:
    """Sap can go from one tank to another, by itself or through the RO."""

    source: str
    target: str
    ro_ratio: float | None = None
    """Concentrate over feed, by volume; None: no RO between."""
    feed_m3_s: float = 0.0
    """What the RO takes, by the farm file."""
    only_way: bool = False
    """What leaves the source can only have gone through the RO."""
    until_ms: int | None = None
    """None: for good. Else somebody told of it."""


@dataclass(slots=True)
class BookedTank:
    """What the book keeps of one tank beside its sap."""

    holds: Holds
    watch: LevelWatch = field(default_factory=LevelWatch)
    warmth: Warmth = field(default_factory=Warmth)
    begun: bool = False
    """A first level has lasted since the watch, or a wash, began."""
    washed: bool = False
    matched_m3: float = 0.0
    """Lately transferred in or out as both levels showed; the two may differ by a little of it."""
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
    old_tanks, old_sap = book.tanks, book.ledger.tanks
    book.tanks, book.ledger.tanks = {}, {}
    for tank in farm.tanks:
        booked = old_tanks.get(tank.id) or BookedTank(tank.holds)
        sensors = farm.sensors_of(Quantity.LEVEL, tank=tank.id)
        booked.holds = tank.holds
        booked.watch.capacity_m3 = capacity_m3(tank.geometry)
        booked.watch.interval_s = min((sensor.interval_s for sensor in sensors), default=60.0)
        booked.warmth.has_sensor = bool(farm.sensors_of(Quantity.SAP_TEMPERATURE, tank=tank.id))
        book.tanks[tank.id] = booked
        if tank.holds is not Holds.PERMEATE:
            book.ledger.tanks[tank.id] = old_sap.get(tank.id) or TankSap()
            book.ledger.tanks[tank.id].heel_m3 = tank.heel_m3
    routes = [Route(tank.id, tank.drains_to) for tank in farm.tanks if tank.drains_to is not None]
    if farm.ro is not None and farm.ro.concentrate_to is not None:
        brix = max(farm.sap_brix, farm.ro.concentrate_brix)
        ratio = min(MOST_KEPT_RATIO, ro_concentrate_volume_ratio(farm.sap_brix, brix))
        # The RO first: what feeds it is seldom transferred at the same time.
        heard = bool(farm.sensors_of(Quantity.LEVEL, tank=farm.ro.concentrate_to))
        boiled = farm.evaporator.takes_from if farm.evaporator is not None else None
        routes[:0] = [
            Route(feed, farm.ro.concentrate_to, ratio, farm.ro.feed_m3_s, only_way=heard and feed != boiled)
            for feed in farm.ro.takes_from
        ]
    routes += [route for route in book.routes if route.until_ms is not None]
    book.routes = [
        r for r in routes if {r.source, r.target} <= book.ledger.tanks.keys() and r.source != r.target
    ]
    book.permeate = farm.ro.permeate_to if farm.ro is not None else None
