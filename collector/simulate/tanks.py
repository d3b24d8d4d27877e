"""Tanks hold liquid by mass and remember when each part of their sap was gathered.

What does not fit runs over and is spilled, and told. Sap leaves mixed as it stands, its oldest parcels first.
"""

from bisect import bisect_right
from dataclasses import dataclass, field
from math import exp

from collector.simulate.liquids import Liquid, Parcel, book, density_kg_m3
from shared.farm_parts import Tank
from shared.physics.sap import sap_freezing_point_c
from shared.physics.tanks import capacity_m3, full_height_m, volume_m3
from shared.units import HOUR_S

ROWS = 1200
"""Steps of the level table; one of a 2 m tank is under 2 mm, and between them it is a straight line."""
PARCEL_S = 600.0
"""Sap gathered within ten minutes counts as one parcel."""
WALL_S = 26.0 * HOUR_S
"""Time constant of a tank of 1 m3 towards the air; of others by the cube root of volume (from memory)."""
LEAST_M3 = 0.05


@dataclass(slots=True)
class Vessel:
    """One tank."""

    tank: Tank
    capacity_m3: float
    levels_m: list[float]
    volumes_m3: list[float]
    held: Liquid = field(default_factory=Liquid)
    parcels: list[Parcel] = field(default_factory=list)
    temperature_c: float = 2.0
    spilled: Liquid = field(default_factory=Liquid)

    @property
    def volume_m3(self) -> float:
        """What is in it."""
        held = self.held
        total_kg = held.water_kg + held.sugar_kg
        return total_kg / density_kg_m3(100.0 * held.sugar_kg / total_kg) if total_kg > 0.0 else 0.0

    @property
    def full_fraction(self) -> float:
        """1 when it runs over."""
        return self.volume_m3 / self.capacity_m3

    @property
    def above_heel_m3(self) -> float:
        """What can be pumped out."""
        return max(0.0, self.volume_m3 - self.tank.heel_m3)


def vessel(tank: Tank) -> Vessel:
    """An empty tank of that shape."""
    top_m = full_height_m(tank.geometry)
    levels = [top_m * i / ROWS for i in range(ROWS + 1)]
    volumes = [volume_m3(tank.geometry, level) for level in levels]
    return Vessel(tank, capacity_m3(tank.geometry), levels, volumes)


def level_m(v: Vessel) -> float:
    """Height of the liquid."""
    volume = v.volume_m3
    i = min(max(bisect_right(v.volumes_m3, volume) - 1, 0), ROWS - 1)
    below, above = v.volumes_m3[i], v.volumes_m3[i + 1]
    return v.levels_m[i] + (v.levels_m[i + 1] - v.levels_m[i]) * min(1.0, (volume - below) / (above - below))


def fill(v: Vessel, liquid: Liquid, parcels: list[Parcel], temperature_c: float) -> None:
    """Pour in; what does not fit is spilled, newest first."""
    added_kg, before_kg = liquid.kg, v.held.kg
    if added_kg <= 0.0:
        return
    v.temperature_c = (v.temperature_c * before_kg + temperature_c * added_kg) / (before_kg + added_kg)
    book(v.held, liquid)
    for parcel in parcels:
        _remember(v.parcels, *parcel)
    over = 1.0 - v.capacity_m3 / v.volume_m3
    if over > 0.0:
        gone = v.held.part(over)
        book(v.spilled, gone)
        book(v.held, gone, -1.0)
        _forget(v.parcels, gone.kg, newest=True)


def draw(v: Vessel, wanted_m3: float, *, to_heel: bool = True) -> tuple[Liquid, list[Parcel]]:
    """Take out; no more than is above the heel, unless it is drained."""
    volume = v.volume_m3
    taken_m3 = min(wanted_m3, v.above_heel_m3 if to_heel else volume)
    if taken_m3 <= 0.0:
        return Liquid(), []
    taken = v.held.part(taken_m3 / volume)
    book(v.held, taken, -1.0)
    return taken, _forget(v.parcels, taken.kg, newest=False)


def drift_temperature(v: Vessel, around_c: float, step_s: float) -> None:
    """Towards the surroundings; ice holds a tank at its freezing point."""
    lag_s = WALL_S * max(v.volume_m3, LEAST_M3) ** (1 / 3)
    reached_c = v.temperature_c + (around_c - v.temperature_c) * (1.0 - exp(-step_s / lag_s))
    v.temperature_c = max(reached_c, sap_freezing_point_c(min(v.held.brix, 20.0)))


def oldest_s(v: Vessel, now_s: float) -> float | None:
    """Age of the oldest sap; None when the tank counts as empty."""
    if v.above_heel_m3 <= 0.0 or not v.parcels:
        return None
    return now_s - v.parcels[0][1]


def _remember(parcels: list[Parcel], kg: float, gathered_s: float) -> None:
    if parcels and abs(parcels[-1][1] - gathered_s) < PARCEL_S:
        parcels[-1][0] += kg
        return
    parcels.append([kg, gathered_s])
    parcels.sort(key=lambda parcel: parcel[1])


def _forget(parcels: list[Parcel], kg: float, *, newest: bool) -> list[Parcel]:
    """Take that much off one end; what was taken."""
    taken: list[Parcel] = []
    end = -1 if newest else 0
    while kg > 0.0 and parcels:
        parcel = parcels[end]
        if parcel[0] > kg:
            parcel[0] -= kg
            taken.append([kg, parcel[1]])
            break
        kg -= parcel[0]
        taken.append(parcels.pop(end))
    return taken
