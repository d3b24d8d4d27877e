"""The air of a sugaring season: daily cycle, fronts, freeze and thaw, and the barometer.

Drawn weather is a seasonal trend, day-to-day anomalies that persist for a few days, and a daily swing that
is large under a clear sky and small under cloud. The barometer is high over clear, cold air and falls as warm
air comes. Told weather goes smoothly through given points. Either way it is two curves on a fixed grid.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, pi, sqrt
from random import Random

from shared.physics.air import standard_pressure_pa
from shared.units import DAY_S, HOUR_S, INHG_PA, to_si

GRID_S = 600.0
SPIN_UP_S = 30 * HOUR_S
"""Weather before the stream's start, so that trees have frozen and thawed before the first message."""

_FIRST_MEAN_C = -4.5
_LAST_MEAN_C = 7.0
_SEASON_DAYS = 42.0
"""Mean air of the first and last day of a season in the northeastern US (from memory; US average season
26 to 42 days, USDA NASS)."""
_ANOMALY_C = 5.2
_PERSISTENCE = 0.78
"""Spread of daily means in late winter and their correlation from day to day (from memory)."""
_SWING_C = (2.0, 6.5)
"""Half the daily range under cloud and under clear sky."""
_WARMEST_HOUR = 15.0


@dataclass(frozen=True, slots=True)
class Weather:
    """Air temperature and station pressure every `GRID_S` from `first_s` (before the start: negative)."""

    first_s: float
    air_c: tuple[float, ...]
    station_pa: tuple[float, ...]

    def at(self, t_s: float) -> tuple[float, float]:
        """Air temperature, °C, and station pressure, Pa."""
        place = (t_s - self.first_s) / GRID_S
        i = min(max(int(place), 0), len(self.air_c) - 2)
        share = place - i
        air, station = self.air_c, self.station_pa
        return air[i] + (air[i + 1] - air[i]) * share, station[i] + (station[i + 1] - station[i]) * share


def told_weather(
    air_f: Sequence[tuple[float, float]],
    barometer_inhg: Sequence[tuple[float, float]],
    *,
    duration_s: float,
    elevation_m: float,
    gust_kelvin: float,
    rng: Random,
) -> Weather:
    """Weather through points of (hours from the start, value); the barometer as a departure from standard."""
    count = _grid_count(duration_s)
    standard_pa = standard_pressure_pa(elevation_m)
    gust = 0.0
    air, station = [], []
    for i in range(count):
        hour = (-SPIN_UP_S + i * GRID_S) / HOUR_S
        gust = 0.8 * gust + 0.6 * gust_kelvin * rng.gauss(0.0, 1.0)
        air.append(to_si(_through(air_f, hour), "degF") + gust)
        station.append(standard_pa + INHG_PA * (_through(barometer_inhg, hour) if barometer_inhg else 0.0))
    return Weather(-SPIN_UP_S, tuple(air), tuple(station))


def drawn_weather(
    *, duration_s: float, elevation_m: float, local_hour: float, first_day: float, rng: Random
) -> Weather:
    """Weather drawn from the climate; `local_hour` and `first_day` (of the season) are those of the start."""
    days = int((duration_s + SPIN_UP_S) / DAY_S) + 4
    standard_pa = standard_pressure_pa(elevation_m)
    anomaly = rng.gauss(0.0, _ANOMALY_C)
    means, swings, departures = [], [], []
    for day in range(days):
        share = min(max((first_day + day - 2.0) / _SEASON_DAYS, -0.5), 1.5)
        anomaly = _PERSISTENCE * anomaly + _ANOMALY_C * sqrt(1 - _PERSISTENCE**2) * rng.gauss(0.0, 1.0)
        clear = rng.random()
        means.append(_FIRST_MEAN_C + (_LAST_MEAN_C - _FIRST_MEAN_C) * share + anomaly)
        swings.append(_SWING_C[0] + (_SWING_C[1] - _SWING_C[0]) * clear)
        # High pressure goes with clear and cold; 0.3 inHg is the usual spread of spring (from memory).
        departures.append(INHG_PA * (0.25 * (clear - 0.5) - 0.03 * anomaly + 0.18 * rng.gauss(0.0, 1.0)))
    air, station = [], []
    gust = 0.0
    for i in range(_grid_count(duration_s)):
        # Day values stand at noon; the first is two days before the start.
        day_place = (-SPIN_UP_S + i * GRID_S + local_hour * HOUR_S) / DAY_S + 1.5
        j = min(max(int(day_place), 0), days - 2)
        share = day_place - j
        smooth = share * share * (3.0 - 2.0 * share)
        hour = (day_place * 24.0 + 12.0) % 24.0
        gust = 0.8 * gust + 0.12 * rng.gauss(0.0, 1.0)
        swing = swings[j] + (swings[j + 1] - swings[j]) * smooth
        mean = means[j] + (means[j + 1] - means[j]) * smooth
        air.append(mean + swing * cos(2 * pi * (hour - _WARMEST_HOUR) / 24.0) + gust)
        station.append(standard_pa + departures[j] + (departures[j + 1] - departures[j]) * smooth)
    return Weather(-SPIN_UP_S, tuple(air), tuple(station))


def _grid_count(duration_s: float) -> int:
    return int((SPIN_UP_S + duration_s) / GRID_S) + 3


def _through(points: Sequence[tuple[float, float]], hour: float) -> float:
    """Smoothly through the points, level before the first and after the last."""
    if hour <= points[0][0]:
        return points[0][1]
    for (h0, v0), (h1, v1) in pairwise(points):
        if hour <= h1:
            share = (hour - h0) / (h1 - h0)
            return v0 + (v1 - v0) * share * share * (3.0 - 2.0 * share)
    return points[-1][1]
