"""How old the sap in each tank is, through fills, transfers, RO and unwashed heels.

A ledger holds each tank's sap as parcels, oldest first. A parcel knows its volume, when its oldest and
its average drop came from the tree, and how many equivalent seconds at 4 °C each has lived, so merging
parcels loses neither the oldest age nor the mean. Sap leaves oldest first (FIFO); beside that each tank
keeps the mean it would have if it were stirred, and the worst case since its last wash.

Below its heel a tank is one mixture, and only a wash makes it new: the residue of an emptied tank keeps
its oldest age and seeds the next sap with it until the heel is full again. A correction of the level
scales what is there and never invents fresh sap.
"""

import math
from dataclasses import dataclass, field, replace

from shared.errors import InvalidArgument
from shared.estimates.parcels import Parcel, insert, mean_heat_s, mean_ms, merged, total_m3, warmed
from shared.physics.sap import relative_spoilage_rate
from shared.readings import Unknown

TRACE_M3 = 1e-9
"""A thousandth of a millilitre is rounding, not sap."""


@dataclass(slots=True)
class TankSap:
    """The sap in one tank."""

    heel_m3: float = 0.0
    parcels: list[Parcel] = field(default_factory=list)
    """Oldest first. The residue of an emptied, unwashed tank is a parcel without volume."""
    heat_s: float = 0.0
    """Equivalent seconds at 4 °C that this tank has seen since the ledger began."""
    stirred_ms: float = 0.0
    """Mean birth of the sap, had the tank always been stirred; without meaning in an empty tank."""
    worst_ms: float | None = None
    """Oldest birth of anything that came in since the last wash."""

    @property
    def volume_m3(self) -> float:
        """All parcels together."""
        return total_m3(self.parcels)


@dataclass(slots=True)
class Ledger:
    """The sap of every tank that holds sap or concentrate, by tank id."""

    tanks: dict[str, TankSap] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SapAge:
    """How old the sap in a tank is."""

    volume_m3: float
    oldest_s: float
    mean_s: float
    """By volume."""
    equivalent_oldest_s: float | None
    """The longest life as seconds at 4 °C; None: part of it was spent at a temperature nobody knows."""
    equivalent_mean_s: float | None
    at_least: bool
    """Some of it was there before the watch began: it is at least this old."""


def fill(ledger: Ledger, tank: str, fresh: Parcel) -> None:
    """Sap came into the tank from the trees, its heat counted since its birth.

    Raises:
        InvalidArgument: the volume is negative or not finite, or the mean is older than the oldest.
    """
    _need_volume(fresh.volume_m3)
    if not fresh.oldest_ms <= fresh.mean_ms:
        raise InvalidArgument("mean_ms", fresh.mean_ms, "not before oldest_ms")
    _pour(ledger.tanks[tank], fresh, fresh.mean_ms)


def move(
    ledger: Ledger,
    source: str,
    target: str,
    taken_m3: float,
    arrived_m3: float | None = None,
    *,
    made_ms: float | None = None,
) -> float:
    """Sap goes from one tank to another, oldest first, and keeps its age; answers what could be taken.

    `made_ms`: it went through the RO, and when. Where less arrives than was taken (RO: concentrate keeps its
    feed's age, permeate is no sap) or two sensors differ, `arrived_m3` says how much. What the source does not
    have does not arrive either.

    Raises:
        InvalidArgument: a volume is negative or not finite.
    """
    share = 1.0 if arrived_m3 is None or taken_m3 == 0 else _need_volume(arrived_m3) / taken_m3
    stirred_ms = ledger.tanks[source].stirred_ms
    parcels = _take(ledger.tanks[source], taken_m3)
    for parcel in parcels:
        made = parcel.made_ms if made_ms is None else made_ms
        poured = replace(parcel, volume_m3=parcel.volume_m3 * share, made_ms=made)
        _pour(ledger.tanks[target], poured, stirred_ms)
    return total_m3(parcels)


def drain(ledger: Ledger, tank: str, volume_m3: float) -> float:
    """Sap leaves for the evaporator or the ground, oldest first; answers what could be taken.

    Raises:
        InvalidArgument: the volume is negative or not finite.
    """
    return total_m3(_take(ledger.tanks[tank], volume_m3))


def wash(ledger: Ledger, tank: str, at_ms: float) -> None:
    """The tank was emptied and washed at that time: only what came in later is still there."""
    sap = ledger.tanks[tank]
    later = [parcel for parcel in sap.parcels if parcel.volume_m3 > 0 and parcel.mean_ms >= at_ms]
    sap.parcels = [replace(parcel, oldest_ms=max(parcel.oldest_ms, at_ms)) for parcel in later]
    sap.stirred_ms = mean_ms(sap.parcels)
    sap.worst_ms = sap.parcels[0].oldest_ms if sap.parcels else None


def correct(ledger: Ledger, tank: str, volume_m3: float, at_ms: float) -> None:
    """The tank holds this much after all: what is there is scaled, so no age changes.

    Sap found where the ledger has none is as old as the residue, or at least as old as `at_ms`.

    Raises:
        InvalidArgument: the volume is negative or not finite.
    """
    sap = ledger.tanks[tank]
    present_m3 = sap.volume_m3
    if _need_volume(volume_m3) <= TRACE_M3:
        _take(sap, present_m3)
    elif present_m3 > TRACE_M3:
        for parcel in sap.parcels:
            parcel.volume_m3 *= volume_m3 / present_m3
    elif sap.parcels:
        sap.parcels[0].volume_m3, sap.stirred_ms = volume_m3, sap.parcels[0].mean_ms
    else:
        _pour(sap, Parcel(volume_m3, at_ms, at_ms, at_least=True), at_ms)


def warm(ledger: Ledger, tank: str, temperature_c: float | None, duration_s: float) -> None:
    """Everything in the tank spent so long at that temperature; None: nobody knows at which.

    Source: square-root law, Ratkowsky et al. 1982, with the minimum of Neumeyer et al. 1997.

    Raises:
        InvalidArgument: the duration is negative or not finite, or no sap is that cold or warm.
    """
    if not 0 <= duration_s < math.inf:
        raise InvalidArgument("duration_s", duration_s, "0 or more")
    sap = ledger.tanks[tank]
    if temperature_c is not None:
        sap.heat_s += relative_spoilage_rate(temperature_c) * duration_s
    elif duration_s > 0:
        for parcel in sap.parcels:
            parcel.oldest_heat_s = parcel.mean_heat_s = None


def sap_age(ledger: Ledger, tank: str, now_ms: float) -> SapAge | Unknown:
    """Oldest and mean age of the sap in a tank, first in first out; Unknown where there is none."""
    sap = _present(ledger, tank)
    if isinstance(sap, Unknown):
        return sap
    heats = [parcel.oldest_heat_s for parcel in sap.parcels]
    known = [heat_s + sap.heat_s for heat_s in heats if heat_s is not None]
    own_heat_s = mean_heat_s(sap.parcels)
    return SapAge(
        volume_m3=sap.volume_m3,
        oldest_s=_age_s(sap.parcels[0].oldest_ms, now_ms),
        mean_s=_age_s(mean_ms(sap.parcels), now_ms),
        equivalent_oldest_s=max(known) if len(known) == len(heats) else None,
        equivalent_mean_s=None if own_heat_s is None else own_heat_s + sap.heat_s,
        at_least=any(parcel.at_least for parcel in sap.parcels),
    )


def stirred_age_s(ledger: Ledger, tank: str, now_ms: float) -> float | Unknown:
    """Mean age if the tank were always stirred, so that what leaves is of the mean age."""
    sap = _present(ledger, tank)
    return sap if isinstance(sap, Unknown) else _age_s(sap.stirred_ms, now_ms)


def waiting_s(ledger: Ledger, tank: str, more_than_m3: float, now_ms: float) -> float | Unknown:
    """How long more than that much has been what it is: concentrate since it left the RO, sap since the tree."""
    sap = _present(ledger, tank)
    if isinstance(sap, Unknown):
        return sap
    longer_m3 = 0.0
    for parcel in sorted(sap.parcels, key=lambda p: p.waits_from_ms):
        longer_m3 += parcel.volume_m3
        if longer_m3 > more_than_m3:
            return _age_s(parcel.waits_from_ms, now_ms)
    return Unknown("there is less")


def worst_age_s(ledger: Ledger, tank: str, now_ms: float) -> float | Unknown:
    """Age of the oldest drop that came in since the last wash, as if it were all still there (LIFO)."""
    sap = _present(ledger, tank)
    return sap if isinstance(sap, Unknown) else _age_s(sap.worst_ms or 0.0, now_ms)


def _present(ledger: Ledger, tank: str) -> TankSap | Unknown:
    sap = ledger.tanks.get(tank)
    if sap is None:
        return Unknown("it holds no sap")
    return sap if sap.volume_m3 > TRACE_M3 else Unknown("the tank is empty")


def _pour(sap: TankSap, parcel: Parcel, stirred_ms: float) -> None:
    """Take in a parcel whose heat is its whole life's."""
    if parcel.volume_m3 <= 0:
        return
    present_m3 = sap.volume_m3
    sap.stirred_ms += (stirred_ms - sap.stirred_ms) * parcel.volume_m3 / (present_m3 + parcel.volume_m3)
    sap.worst_ms = parcel.oldest_ms if sap.worst_ms is None else min(sap.worst_ms, parcel.oldest_ms)
    parcel = warmed(parcel, -sap.heat_s)
    if sap.parcels and present_m3 < sap.heel_m3:
        seeded_m3 = min(parcel.volume_m3, sap.heel_m3 - present_m3)
        sap.parcels[0] = merged(sap.parcels[0], replace(parcel, volume_m3=seeded_m3))
        parcel = replace(parcel, volume_m3=parcel.volume_m3 - seeded_m3)
    if parcel.volume_m3 > 0:
        insert(sap.parcels, parcel)


def _take(sap: TankSap, volume_m3: float) -> list[Parcel]:
    """Remove the oldest sap, with the heat of its whole life; below the heel, of the mixture."""
    left_m3, present_m3, taken = _need_volume(volume_m3), sap.volume_m3, []
    while left_m3 > 0 and present_m3 > TRACE_M3:
        if present_m3 <= sap.heel_m3 + TRACE_M3 and len(sap.parcels) > 1:
            mixture = sap.parcels[0]
            for parcel in sap.parcels[1:]:
                mixture = merged(mixture, parcel)
            sap.parcels = [mixture]
        oldest = sap.parcels[0]
        above_heel_m3 = present_m3 - sap.heel_m3
        part_m3 = min(left_m3, oldest.volume_m3, above_heel_m3 if above_heel_m3 > TRACE_M3 else left_m3)
        taken.append(replace(warmed(oldest, sap.heat_s), volume_m3=part_m3))
        oldest.volume_m3 -= part_m3
        left_m3 -= part_m3
        if oldest.volume_m3 <= TRACE_M3:
            taken[-1].volume_m3 += oldest.volume_m3
            oldest.volume_m3 = 0.0
            if len(sap.parcels) > 1 or sap.heel_m3 == 0:
                sap.parcels.pop(0)
        present_m3 = sap.volume_m3
    return taken


def _age_s(born_ms: float, now_ms: float) -> float:
    return max(0.0, (now_ms - born_ms) / 1000.0)


def _need_volume(volume_m3: float) -> float:
    if not 0 <= volume_m3 < math.inf:
        raise InvalidArgument("volume_m3", volume_m3, "0 or more")
    return volume_m3
