"""What must get through the sugarhouse: the sap in each tank and its age, what still comes, and the machines.

Values that refuse impossible numbers when they are made. Times are seconds from now, ages count from the
tree.
"""

from bisect import bisect_right
from dataclasses import dataclass
from itertools import accumulate
from math import inf

from shared.errors import InvalidArgument
from shared.physics.bounds import require_within
from shared.physics.sap import ro_concentrate_volume_ratio
from shared.readings import Band
from shared.units import DAY_S

Parcels = tuple[tuple[float, float], ...]
"""What a tank holds, as (m3, age in s). They share out the measured volume, which is the truth."""

LONGEST_S = 366 * DAY_S
_MOST_M3 = 1e5
_LEAST_M3_S = 1e-9
_MOST_M3_S = 10.0
"""Past these a number is a wrong unit (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class SapTank:
    """A tank of sap; `drains_to` names the sap tank it is emptied into, None the machines."""

    id: str
    volume_m3: float
    capacity_m3: float
    parcels: Parcels
    inflow_m3_s: Band
    drains_to: str | None = None

    def __post_init__(self) -> None:
        _require_filling(self.volume_m3, self.capacity_m3, self.parcels)
        require_within("inflow_m3_s", self.inflow_m3_s.low, 0.0, self.inflow_m3_s.middle)
        require_within("inflow_m3_s", self.inflow_m3_s.high, self.inflow_m3_s.middle, _MOST_M3_S)


@dataclass(frozen=True, slots=True)
class ConcentrateTank:
    """The tank between RO and evaporator."""

    id: str
    volume_m3: float
    capacity_m3: float
    parcels: Parcels = ()

    def __post_init__(self) -> None:
        _require_filling(self.volume_m3, self.capacity_m3, self.parcels)


@dataclass(frozen=True, slots=True)
class Ro:
    """A reverse-osmosis machine; its permeate is taken to have somewhere to go."""

    feed_m3_s: float
    feed_brix: float
    concentrate_brix: float
    tank: ConcentrateTank

    def __post_init__(self) -> None:
        require_within("feed_m3_s", self.feed_m3_s, _LEAST_M3_S, _MOST_M3_S)
        ro_concentrate_volume_ratio(self.feed_brix, self.concentrate_brix)


@dataclass(frozen=True, slots=True)
class Sugarhouse:
    """All of it; `evaporator_m3_s` is the evaporator's feed: concentrate if there is RO, else sap."""

    tanks: tuple[SapTank, ...]
    evaporator_m3_s: float
    hold_limit_s: float
    """Greatest age from tree to pan."""
    ro: Ro | None = None
    run_ends_s: float = inf
    """When a freeze will stop the inflow."""

    def __post_init__(self) -> None:
        require_within("evaporator_m3_s", self.evaporator_m3_s, _LEAST_M3_S, _MOST_M3_S)
        require_within("hold_limit_s", self.hold_limit_s, 1.0, LONGEST_S)
        require_within("run_ends_s", self.run_ends_s, 0.0, inf)
        ids = [tank.id for tank in self.tanks] + ([self.ro.tank.id] if self.ro else [])
        if not self.tanks or len(set(ids)) < len(ids):
            raise InvalidArgument("tanks", ids, "at least one, each with an id of its own")
        onward = {tank.id: tank.drains_to for tank in self.tanks}
        for start in onward:
            path = [start]
            while (further := onward[path[-1]]) is not None:
                if further not in onward or further in path:
                    raise InvalidArgument(
                        "drains_to", further, "another sap tank, and never back to the same"
                    )
                path.append(further)


def _require_filling(volume_m3: float, capacity_m3: float, parcels: Parcels) -> None:
    require_within("capacity_m3", capacity_m3, 0.0, _MOST_M3)
    require_within("volume_m3", volume_m3, 0.0, capacity_m3)
    for part_m3, age_s in parcels:
        require_within("parcels", part_m3, 0.0, _MOST_M3)
        require_within("parcels", age_s, 0.0, LONGEST_S)
    if volume_m3 > 0.0 and not any(part_m3 for part_m3, _ in parcels):
        raise InvalidArgument("parcels", parcels, "given for a tank that is not empty")


class Dues:
    """When the parcels of one tank reach the limit."""

    def __init__(self, tank: SapTank | ConcentrateTank, volume_m3: float, limit_s: float) -> None:
        parcels = sorted((limit_s - age_s, part_m3) for part_m3, age_s in tank.parcels)
        scale = volume_m3 / sum(part_m3 for _, part_m3 in parcels) if volume_m3 else 0.0
        self.at_s = [due_s for due_s, _ in parcels]
        self._past_m3 = [0.0, *accumulate(part_m3 * scale for _, part_m3 in parcels)]

    def past_m3(self, at_s: float) -> float:
        """Volume of the parcels that have reached it by then."""
        return self._past_m3[bisect_right(self.at_s, at_s)]
