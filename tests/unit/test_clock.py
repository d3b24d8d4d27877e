"""Farm time follows wall time by its pace, and only the clock asks what time it is."""

import pytest
from freezegun import freeze_time
from hypothesis import given
from hypothesis import strategies as st

from shared.clock import Pace, Stretch, paced_clock, system_clock

NIGHT = Pace(
    (Stretch(0, 1_000_000, 1.0), Stretch(3_000, 1_003_000, 2_000.0), Stretch(23_000, 41_003_000, 100.0))
)


def test_the_system_clock_is_the_walls_in_ms():
    with freeze_time("2026-03-24T05:12:00Z"):
        assert system_clock() == 1_774_329_120_000


@pytest.mark.parametrize(
    ("wall_ms", "farm_ms"), [(0, 1_000_000), (2_000, 1_002_000), (4_000, 3_003_000), (24_000, 41_103_000)]
)
def test_farm_time_goes_as_fast_as_its_stretch(wall_ms, farm_ms):
    assert NIGHT.farm_ms(wall_ms) == farm_ms
    assert NIGHT.wall_ms(farm_ms) == wall_ms


@given(st.integers(0, 10**9))
def test_farm_time_never_goes_back(wall_ms):
    assert NIGHT.farm_ms(wall_ms + 1) >= NIGHT.farm_ms(wall_ms)


def test_a_pace_is_told_to_another_process():
    assert Pace.from_json(NIGHT.to_json()) == NIGHT
    assert paced_clock(NIGHT, lambda: 4_000)() == 3_003_000


@pytest.mark.parametrize("text", ["", "[[1, 2]]", "[1]", "{}x"])
def test_what_is_no_pace_is_refused(text):
    with pytest.raises((ValueError, TypeError)):
        Pace.from_json(text)
