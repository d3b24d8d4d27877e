from itertools import pairwise
from random import Random
from statistics import mean

import pytest

from collector.simulate.weather import GRID_S, SPIN_UP_S, drawn_weather, told_weather
from shared.physics.air import standard_pressure_pa
from shared.units import DAY_S, HOUR_S, INHG_PA

ELEVATION_M = 442.0


def drawn(seed, days=30.0, first_day=10.0):
    return drawn_weather(
        duration_s=days * DAY_S,
        elevation_m=ELEVATION_M,
        local_hour=6.0,
        first_day=first_day,
        rng=Random(seed),
    )


def test_told_weather_goes_through_its_points():
    weather = told_weather(
        [(-10, 30.0), (0, 32.0), (6, 50.0)],
        [(0, 0.0), (6, -0.6)],
        duration_s=8 * HOUR_S,
        elevation_m=ELEVATION_M,
        gust_kelvin=0.0,
        rng=Random(1),
    )
    standard_pa = standard_pressure_pa(ELEVATION_M)
    assert weather.at(0.0) == (pytest.approx(0.0), pytest.approx(standard_pa))
    assert weather.at(6 * HOUR_S) == (pytest.approx(10.0), pytest.approx(standard_pa - 0.6 * INHG_PA))
    assert weather.at(7.5 * HOUR_S)[0] == pytest.approx(10.0)
    assert weather.at(-SPIN_UP_S)[0] == pytest.approx(-1.111, abs=0.01)


def test_afternoons_are_warm_and_mornings_cold():
    weather = drawn(3)
    hours = {
        hour: mean(weather.at((d * 24 + hour - 6) * HOUR_S)[0] for d in range(1, 29)) for hour in (4, 15)
    }
    assert hours[15] - hours[4] > 5.0


def test_the_season_warms():
    early = mean(mean(drawn(seed, 10, 0).air_c) for seed in range(20))
    late = mean(mean(drawn(seed, 10, 32).air_c) for seed in range(20))
    assert late - early > 5.0


def test_the_barometer_stays_where_weather_can_take_it_and_never_jumps():
    """Records stand about 2 inHg off the mean; a deep low falls an inch in a day (from memory)."""
    for seed in range(10):
        pressures = drawn(seed).station_pa
        assert all(abs(p - standard_pressure_pa(ELEVATION_M)) < 1.5 * INHG_PA for p in pressures)
        per_hour = [abs(after - before) * HOUR_S / GRID_S for before, after in pairwise(pressures)]
        assert max(per_hour) < 0.15 * INHG_PA


def test_freezing_nights_and_thawing_days_alternate_in_mid_season():
    """Flow days by the threshold of Skinner et al. 2010: below -1.1 °C and above +2.2 °C (from memory)."""
    flow_days = 0
    for seed in range(20):
        weather = drawn(seed, 20, 12)
        for day in range(20):
            temperatures = [weather.at((day * 24 + hour) * HOUR_S)[0] for hour in range(24)]
            flow_days += min(temperatures) < -1.1 and max(temperatures) > 2.2
    assert 0.25 < flow_days / 400 < 0.75
