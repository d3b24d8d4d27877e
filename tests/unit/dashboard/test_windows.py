from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.windows import DEFAULT, HOUR_MS, WINDOWS, extent, local_ms, peaks, ticks, window_named
from shared.store.rollups import WIDTHS_MS, single, widen

ZONE = ZoneInfo("America/New_York")
T0 = 1_774_310_400_000
"""2026-03-23 20:00 in New York."""


@pytest.mark.parametrize("window", WINDOWS, ids=lambda window: window.key)
def test_a_window_has_at_most_600_buckets(window):
    assert window.span_ms / window.width_ms <= 600


@pytest.mark.parametrize("window", WINDOWS[1:], ids=lambda window: window.key)
def test_a_long_window_is_answered_from_what_the_store_has_summed_up(window):
    assert any(window.width_ms % width_ms == 0 for width_ms in WIDTHS_MS)


@pytest.mark.parametrize("key", [None, "", "<script>", "6h"])
def test_what_a_browser_sends_is_never_trusted(key):
    assert window_named(key) is DEFAULT


def buckets(points, width_ms):
    return widen((single(*point) for point in points), width_ms)


def test_a_spike_of_one_reading_in_a_season_is_drawn():
    calm = [(T0 + i * 60_000, 25.0) for i in range(2000)]
    calm[777] = (calm[777][0], 3.0)
    assert (calm[777][0], 3.0) in peaks(buckets(calm, 8 * HOUR_MS), HOUR_MS)


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=60), st.sampled_from([60_000, 600_000]))
def test_the_highest_and_the_lowest_are_always_drawn(values, width_ms):
    points = [(T0 + i * 30_000, value) for i, value in enumerate(values)]
    drawn = [value for _, value in peaks(buckets(points, width_ms), HOUR_MS)]
    assert (min(drawn), max(drawn)) == (min(values), max(values))


def test_points_are_in_order_of_time():
    points = [(T0 + i * 10_000, float(i * 7 % 11)) for i in range(50)]
    times = [at_ms for at_ms, _ in peaks(buckets(points, 60_000), HOUR_MS)]
    assert times == sorted(times)


def test_a_gap_is_left_open_where_nothing_was_heard():
    points = [(T0, 1.0), (T0 + 60_000, 2.0), (T0 + HOUR_MS, 3.0)]
    assert [value for _, value in peaks(buckets(points, 60_000), 600_000)] == [1.0, 2.0, None, 3.0]


def test_a_missed_reading_is_no_gap():
    points = [(T0, 1.0), (T0 + 120_000, 2.0)]
    assert [value for _, value in peaks(buckets(points, 60_000), 600_000)] == [1.0, 2.0]


def test_ticks_stand_on_the_farms_own_hours_and_name_the_day_where_it_changes():
    _, words = ticks(WINDOWS[1], T0, T0 + 6 * HOUR_MS, ZONE)
    assert words == ["20:00", "22:00", "00:00<br>Tue 24", "02:00"]


def test_ticks_stay_on_the_hour_through_the_change_of_clocks():
    """US clocks went from 02:00 to 03:00 on 8 March 2026 (Energy Policy Act of 2005, section 110)."""
    before_ms = 1_772_946_000_000  # 2026-03-08 00:00 in New York
    at_ms, words = ticks(WINDOWS[1], before_ms, before_ms + 6 * HOUR_MS, ZONE)
    assert words == ["00:00<br>Sun 8", "02:00", "04:00", "06:00"]
    assert at_ms[-1] == local_ms(before_ms + 5 * HOUR_MS, ZONE)


def test_a_season_is_labelled_at_the_first_of_its_months():
    assert ticks(WINDOWS[5], T0 - WINDOWS[5].span_ms, T0, ZONE)[1] == ["Dec", "Jan", "Feb", "Mar"]


@pytest.mark.parametrize("window", WINDOWS, ids=lambda window: window.key)
def test_a_phone_has_room_for_the_ticks(window):
    at_ms, words = ticks(window, T0 - window.span_ms, T0, ZONE)
    assert 3 <= len(at_ms) <= 8
    assert all(words)


def test_scatter_does_not_fill_the_axis():
    assert extent([25.0, 25.1], 4.0) == pytest.approx((22.81, 27.29))


def test_an_axis_holds_all_values():
    low, high = extent([0.0, 25.0], 4.0)
    assert low <= 0.0
    assert high >= 25.0
