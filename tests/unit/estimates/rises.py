"""Simulated isolation tests with a known leak: how the vacuum fades, and how a gauge tells it."""

import random
from dataclasses import dataclass
from math import exp

from shared.estimates.isolation import isolation_test
from shared.physics.leak_test import hole_free_air_m3_s
from shared.units import CFM_M3_S, FOOT_M, INHG_PA

STATION_PA = 97_000.0
VOLUME_M3 = 33.5 * FOOT_M**3
CLOSED_MS = 1_700_000_000_000


@dataclass(frozen=True, slots=True)
class Rise:
    """A simulated test: one leak into a closed line, choked and then not, read every so often."""

    leak_cfm: float
    every_s: float = 5.0
    last_s: float = 480.0
    start_inhg: float = 25.0
    gas_inhg: float = 0.0
    gas_s: float = 90.0

    def readings(self):
        """(seconds, vacuum_pa) by small steps of the isentropic hole."""
        choked_m3_s = hole_free_air_m3_s(0.01, STATION_PA, 0.9 * STATION_PA)
        pressure_pa, step_s = STATION_PA - self.start_inhg * INHG_PA, 0.5
        told = []
        for step in range(int(self.last_s / step_s)):
            seconds = step * step_s
            if seconds % self.every_s == 0:
                gas_pa = self.gas_inhg * INHG_PA * (1 - exp(-seconds / self.gas_s))
                told.append((seconds, STATION_PA - pressure_pa - gas_pa))
            share = hole_free_air_m3_s(0.01, STATION_PA, STATION_PA - pressure_pa) / choked_m3_s
            pressure_pa += share * self.leak_cfm * CFM_M3_S * STATION_PA / VOLUME_M3 * step_s
            pressure_pa = min(pressure_pa, STATION_PA)
        return told


@dataclass(frozen=True, slots=True)
class Gauge:
    """How a gauge tells it: scatter, how far errors hang together, rounding, spikes, lost readings."""

    scatter_inhg: float = 0.05
    correlation: float = 0.0
    rounding_inhg: float = 0.0
    spike_share: float = 0.0
    lost_share: float = 0.0
    late_s: float = 0.0

    def tell(self, rise, seed):
        """Readings as (measured_ms, vacuum_pa)."""
        dice = random.Random(seed)
        scatter_pa = self.scatter_inhg * INHG_PA
        error_pa, told = dice.gauss(0, scatter_pa), []
        for seconds, vacuum_pa in rise:
            fresh_pa = dice.gauss(0, scatter_pa)
            error_pa = self.correlation * error_pa + (1 - self.correlation**2) ** 0.5 * fresh_pa
            shown_pa = vacuum_pa + error_pa
            if dice.random() < self.spike_share:
                shown_pa += dice.choice((-1, 1)) * dice.uniform(2, 8) * INHG_PA
            if self.rounding_inhg:
                step_pa = self.rounding_inhg * INHG_PA
                shown_pa = round(shown_pa / step_pa) * step_pa
            if dice.random() >= self.lost_share:
                told.append((CLOSED_MS + round(1000 * (seconds + dice.uniform(0, self.late_s))), shown_pa))
        return told


STEADY = Gauge()


def tried(rise, gauge, seeds):
    return [isolation_test(gauge.tell(rise, seed), VOLUME_M3, STATION_PA) for seed in range(seeds)]
