"""Parcels of sap of about one age: merged without losing the oldest drop's age or the mean.

A tank's parcels are a list, oldest first, that is kept short: neighbours of nearly one age become one.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

MERGE_MS = 15 * 60_000
"""Parcels born within a quarter of an hour are one: no decision turns on less (our choice, no source)."""
MOST_PARCELS = 64
"""Sixteen hours of a quarter each; beyond that the closest neighbours are merged."""


@dataclass(slots=True)
class Parcel:
    """Sap of about one age."""

    volume_m3: float
    oldest_ms: float
    """When its oldest drop came from the tree."""
    mean_ms: float
    oldest_heat_s: float | None = 0.0
    mean_heat_s: float | None = 0.0
    """Equivalent seconds at 4 °C, beyond those of the tank it is in; None: for a while nobody knew."""
    at_least: bool = False
    """It was there before the watch began: its age is a lower bound."""
    made_ms: float | None = None
    """Of concentrate: when the first of it left the RO; None: not by what is known."""

    @property
    def waits_from_ms(self) -> float:
        """When it became what it is."""
        return self.oldest_ms if self.made_ms is None else self.made_ms


def fresh_parcel(volume_m3: float, from_ms: float, to_ms: float) -> Parcel:
    """Sap that ran evenly between the two times: its oldest drop is of the first, its mean in the middle."""
    return Parcel(volume_m3, from_ms, (from_ms + to_ms) / 2)


def merged(one: Parcel, other: Parcel) -> Parcel:
    """Both as one: volumes add, the older oldest stays, means weigh by volume."""
    heats = [heat_s for heat_s in (one.oldest_heat_s, other.oldest_heat_s) if heat_s is not None]
    both = (one, other)
    return Parcel(
        one.volume_m3 + other.volume_m3,
        min(one.oldest_ms, other.oldest_ms),
        mean_ms(both),
        max(heats) if len(heats) == 2 else None,  # noqa: PLR2004
        mean_heat_s(both),
        one.at_least or other.at_least,
        None if one.made_ms is other.made_ms is None else min(one.waits_from_ms, other.waits_from_ms),
    )


def insert(parcels: list[Parcel], parcel: Parcel) -> None:
    """Put a parcel among others by age, into a neighbour of nearly its age if there is one."""
    place = bisect_right(parcels, parcel.oldest_ms, key=lambda p: p.oldest_ms)
    for i in (place - 1, place):
        if 0 <= i < len(parcels) and _close(parcels[i], parcel):
            parcels[i] = merged(parcels[i], parcel)
            return
    parcels.insert(place, parcel)
    if len(parcels) > MOST_PARCELS:
        gaps = [after.oldest_ms - before.oldest_ms for before, after in pairwise(parcels)]
        closest = gaps.index(min(gaps))
        parcels[closest : closest + 2] = [merged(parcels[closest], parcels[closest + 1])]


def _close(one: Parcel, other: Parcel) -> bool:
    # The means too, else a mixture as old as its residue would swallow all that comes after it.
    return (
        abs(one.oldest_ms - other.oldest_ms) <= MERGE_MS
        and abs(one.mean_ms - other.mean_ms) <= MERGE_MS
        and abs(one.waits_from_ms - other.waits_from_ms) <= MERGE_MS
    )


def warmed(parcel: Parcel, heat_s: float) -> Parcel:
    """The parcel with that much added to both its heats."""
    oldest, mean = parcel.oldest_heat_s, parcel.mean_heat_s
    return replace(
        parcel,
        oldest_heat_s=None if oldest is None else oldest + heat_s,
        mean_heat_s=None if mean is None else mean + heat_s,
    )


def total_m3(parcels: Sequence[Parcel]) -> float:
    """Volume of all parcels together."""
    return math.fsum(parcel.volume_m3 for parcel in parcels)


def mean_ms(parcels: Sequence[Parcel]) -> float:
    """Mean birth by volume; 0 where there is no sap."""
    return _mean([(parcel.volume_m3, parcel.mean_ms) for parcel in parcels])


def mean_heat_s(parcels: Sequence[Parcel]) -> float | None:
    """Mean heat by volume; None where some sap's is not known."""
    known = [(p.volume_m3, p.mean_heat_s) for p in parcels if p.mean_heat_s is not None]
    lacking = any(p.mean_heat_s is None and p.volume_m3 > 0 for p in parcels)
    return None if lacking else _mean(known)


def _mean(weighed: list[tuple[float, float]]) -> float:
    weight = math.fsum(w for w, _ in weighed)
    if weight <= 0:
        return 0.0
    base = weighed[0][1]  # milliseconds since 1970 would lose their last digits in a product
    return base + math.fsum(w * (value - base) for w, value in weighed) / weight
