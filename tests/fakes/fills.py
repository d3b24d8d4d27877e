"""Simulated fills of a tank with their own future as truth: seeded, so every run sees the same ones.

The inflow varies as runs do, the releaser lets it in by the chamberful, and the level sensor adds
noise, steps of its resolution, foam and gaps. Nothing here knows how the estimates work.
"""

import math
import random
from dataclasses import dataclass

from shared.units import GALLON_M3, HOUR_S

START_MS = 1_773_480_000_000
"""14 March 2026, 09:20 UTC."""
STEP_S = 20
INFLOWS = ("steady", "restless", "day", "waning", "stepped")


@dataclass(frozen=True, slots=True)
class Fill:
    """What the sensor said of one fill, and when the tank was truly full."""

    kind: str
    capacity_m3: float
    readings: list[tuple[int, float]]
    full_ms: int | None
    """None: the run ended, or a week went by, before the tank was full."""


@dataclass(frozen=True, slots=True)
class LevelSensor:
    """How a level sensor spoils what it measures, in m3 of the tank it is in."""

    interval_s: float = 60.0
    noise_m3: float = 0.0
    resolution_m3: float = 0.0
    foam_every_h: float = math.inf
    foam_m3: float = 0.0
    gap_every_h: float = math.inf

    def readings(self, volumes_m3: list[float], dice: random.Random) -> list[tuple[int, float]]:
        """Readings of a tank whose true volume every STEP_S is given."""
        said, at_s, foam_until_s, foam_m3 = [], dice.uniform(0, self.interval_s), -1.0, 0.0
        while at_s < len(volumes_m3) * STEP_S:
            if dice.random() < self.interval_s / HOUR_S / self.foam_every_h:
                foam_until_s = at_s + dice.uniform(20, 150)
                foam_m3 = dice.uniform(0.3, 1.0) * self.foam_m3
            seen_m3 = volumes_m3[int(at_s / STEP_S)] + dice.gauss(0, self.noise_m3)
            seen_m3 += foam_m3 if at_s < foam_until_s else 0.0
            if self.resolution_m3:
                seen_m3 = round(seen_m3 / self.resolution_m3) * self.resolution_m3
            said.append((START_MS + round(at_s * 1000), max(0.0, seen_m3)))
            at_s += self.interval_s * dice.uniform(0.9, 1.1)
            if dice.random() < self.interval_s / HOUR_S / self.gap_every_h:
                at_s += dice.uniform(300, 2400)
        return said


def inflow_ratios(kind: str, duration_s: int, dice: random.Random) -> list[float]:
    """Inflow every STEP_S relative to the run's usual rate."""
    drift, correlation_s = {
        "steady": (dice.uniform(0.02, 0.08), 7200.0),
        "restless": (dice.uniform(0.08, 0.25), dice.uniform(0.5, 2.0) * HOUR_S),
    }.get(kind, (dice.uniform(0.03, 0.15), 3600.0))
    pull = STEP_S / correlation_s
    wander, factor, ratios = dice.gauss(0, drift), 1.0, []
    length_s = dice.uniform(8, 13) * HOUR_S
    age_s = dice.uniform(0.1, 0.5) * length_s
    half_life_s = dice.uniform(4, 12) * HOUR_S
    for i in range(duration_s // STEP_S):
        wander += -pull * wander + drift * math.sqrt(2 * pull) * dice.gauss(0, 1)
        if kind == "stepped" and dice.random() < STEP_S / (6 * HOUR_S):
            factor = min(2.0, max(0.4, factor * dice.choice((0.6, 0.75, 0.85, 1.2, 1.35, 1.6))))
        shape = factor
        if kind == "day":
            shape = 1.5 * max(0.0, math.sin(math.pi * min(1.0, (age_s + i * STEP_S) / length_s)))
        elif kind == "waning":
            shape = 1.5 * 0.5 ** (i * STEP_S / half_life_s)
        ratios.append(shape * math.exp(wander))
    return ratios


def through_releaser(flows_m3_s: list[float], chamber_m3: float, start_m3: float) -> list[float]:
    """Tank volume every STEP_S when inflow arrives by the chamberful."""
    volumes, tank_m3, waiting_m3 = [], start_m3, 0.0
    for flow_m3_s in flows_m3_s:
        waiting_m3 += flow_m3_s * STEP_S
        if chamber_m3 > 0 and waiting_m3 >= chamber_m3:
            dumped_m3 = waiting_m3 // chamber_m3 * chamber_m3
            tank_m3, waiting_m3 = tank_m3 + dumped_m3, waiting_m3 - dumped_m3
        elif chamber_m3 == 0:
            tank_m3, waiting_m3 = tank_m3 + waiting_m3, 0.0
        volumes.append(tank_m3)
    return volumes


def fill(seed: int) -> Fill:
    """A fill of a tank of 400 to 2,900 gal at a rate that would fill it in 4 to 16 h."""
    dice = random.Random(seed)
    kind = INFLOWS[seed % len(INFLOWS)]
    capacity_m3 = dice.uniform(400, 2900) * GALLON_M3
    usual_m3_s = capacity_m3 / (math.exp(dice.uniform(math.log(4), math.log(16))) * HOUR_S)
    ratios = inflow_ratios(kind, int(30 * HOUR_S), dice)
    start_m3 = dice.uniform(0.0, 0.7) * capacity_m3
    volumes = through_releaser([r * usual_m3_s for r in ratios], dice.uniform(3, 20) * GALLON_M3, start_m3)
    full = next((i for i, v in enumerate(volumes) if v >= capacity_m3), None)
    millimetre_m3 = capacity_m3 / dice.uniform(1000, 2400)
    sensor = LevelSensor(
        interval_s=dice.choice((10.0, 30.0, 60.0, 120.0)),
        noise_m3=dice.uniform(0.5, 6) * millimetre_m3,
        resolution_m3=dice.choice((1, 1, 3, 10)) * millimetre_m3,
        foam_every_h=dice.uniform(2, 8),
        foam_m3=dice.uniform(20, 150) * millimetre_m3,
        gap_every_h=dice.uniform(3, 10),
    )
    return Fill(
        kind,
        capacity_m3,
        sensor.readings(volumes[:full], dice),
        None if full is None else START_MS + full * STEP_S * 1000,
    )
