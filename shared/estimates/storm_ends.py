"""When each trouble of a storm was over, told apart from the others that were there at the same time.

What two leaks take nearly adds up. So of all troubles that have begun, those are still there whose drops together
come nearest to what is missing; each takes its own pattern from the sensors.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from statistics import median

from shared.estimates.falls import Instant
from shared.estimates.onset import MINUTE_MS
from shared.estimates.storm_scene import Scene
from shared.estimates.tracks import Minute, Track
from shared.estimates.vacuum import VacuumDrop
from shared.readings import Unknown

OVER_COUNT = 6
"""A trouble is over when it has not been there for so many minutes."""
NEAR_COUNT = 2
"""Minutes on either side that smooth one."""
MOST_TROUBLES = 6
"""Weighed together, the largest; every set of them is tried."""


@dataclass(frozen=True, slots=True, eq=False)
class Begun:
    """A trouble as it began."""

    onset: Instant
    told_ms: int
    """When it is looked at."""
    reached_ms: int
    """When it had got most of the way."""
    sensors: tuple[str, ...]
    """Those that fell with it, the hardest hit first."""
    drop_pa: float
    drops: Mapping[str, VacuumDrop | Unknown] = field(repr=False)
    is_cold: bool
    thawed: Instant | None
    """When the hardest hit was back, of a trouble in the frost."""


def ends_of(scene: Scene, troubles: Sequence[Begun]) -> dict[Begun, Instant]:
    """When each was over; those that are not, or of which nobody can tell, are left out."""
    weighed = sorted(troubles, key=lambda one: -one.drop_pa)[:MOST_TROUBLES]
    took_pa = {one: _took_pa(one) for one in weighed}
    missing_pa = {name: _missing_pa(track) for name, track in scene.tracks.items()}
    ends: dict[Begun, Instant] = {}
    gone: dict[Begun, list[int]] = {one: [] for one in weighed}
    there_ms = {one: one.onset.at_ms for one in weighed}
    first_ms = min((one.reached_ms for one in weighed), default=scene.end_ms)
    for minute_ms in range(first_ms // MINUTE_MS * MINUTE_MS, scene.end_ms + 1, MINUTE_MS):
        now_pa = {name: by[minute_ms] for name, by in missing_pa.items() if minute_ms in by}
        open_ = [one for one in weighed if one not in ends and one.reached_ms <= minute_ms]
        here = _here([(one, took_pa[one]) for one in open_], now_pa)
        for one in open_:
            if not any(name in now_pa for name in one.sensors):
                continue
            if one in here:
                gone[one].clear()
                there_ms[one] = minute_ms
                continue
            gone[one].append(minute_ms)
            if len(gone[one]) == OVER_COUNT:
                ends[one] = Instant(gone[one][0], there_ms[one])
    return ends


def _took_pa(one: Begun) -> dict[str, float]:
    return {name: drop.drop_pa for name, drop in one.drops.items() if isinstance(drop, VacuumDrop)}


def _missing_pa(track: Track) -> dict[int, float]:
    """By minute that tells of leaks, what is missing, smoothed."""
    usable = [i for i in range(len(track.drops_pa)) if track.standings[i] is Minute.OPEN]
    return {
        track.minutes_ms[i]: median(
            track.drops_pa[j] for j in usable[max(0, number - NEAR_COUNT) : number + NEAR_COUNT + 1]
        )
        for number, i in enumerate(usable)
    }


def _here(
    begun: Sequence[tuple[Begun, Mapping[str, float]]], now_pa: Mapping[str, float]
) -> frozenset[Begun]:
    """The set of troubles that together come nearest to what is missing."""

    def misfit(some: Iterable[tuple[Begun, Mapping[str, float]]]) -> float:
        took = [took_pa for _, took_pa in some]
        return sum((pa - sum(each.get(name, 0.0) for each in took)) ** 2 for name, pa in now_pa.items())

    sets = (some for size in range(len(begun) + 1) for some in combinations(begun, size))
    return frozenset(one for one, _ in min(sets, key=misfit))
