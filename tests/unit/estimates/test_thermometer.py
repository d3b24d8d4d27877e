import pytest

from shared.estimates.frost import SLOT_MS, AirHistory, observe_air
from shared.estimates.thermometer import above_since_ms, between_c, now_c, rate_c_h

START_MS = 1_773_000_000_000 // SLOT_MS * SLOT_MS


def history(*quarters_c):
    """One reading in each quarter of an hour; None: silence."""
    state = AirHistory()
    for index, celsius in enumerate(quarters_c):
        if celsius is not None:
            observe_air(state, START_MS + index * SLOT_MS, celsius)
    return state


def at(quarter):
    return START_MS + quarter * SLOT_MS


def test_nothing_heard_is_nothing_known():
    for nothing in (None, AirHistory()):
        assert now_c(nothing, START_MS) is None
        assert between_c(nothing, 0, START_MS) == []
        assert rate_c_h(nothing) is None
        assert above_since_ms(nothing, 0.0) is None


def test_a_thermometer_that_falls_silent_says_nothing_of_now():
    said = history(3.0, 2.5)
    assert now_c(said, at(1) + 29 * 60_000) == 2.5
    assert now_c(said, at(1) + 31 * 60_000) is None
    assert now_c(said, at(1) + 31 * 60_000, interval_s=600.0) == 2.5


def test_what_it_showed_between_two_times():
    said = history(1.0, 2.0, None, 4.0, 5.0)
    assert between_c(said, at(1), at(3)) == [2.0, 4.0]
    assert between_c(said, at(-9), at(9)) == [1.0, 2.0, 4.0, 5.0]
    assert between_c(said, at(3), at(1)) == []


def test_a_steady_fall_is_its_rate():
    assert rate_c_h(history(8.0, 5.0, 4.5, 4.0, 3.5, 3.0)) == pytest.approx(-2.0)
    assert rate_c_h(history(5.0, None, 4.0)) == pytest.approx(-2.0)


def test_one_quarter_with_the_door_open_is_no_rate():
    assert rate_c_h(history(5.0, 5.0, 5.0, 5.0, -4.0)) == 0.0


def test_two_quarters_are_no_rate():
    assert rate_c_h(history(5.0, 4.0)) is None


def test_since_when_it_is_warm():
    assert above_since_ms(history(3.0, 0.5, 1.5, None, 2.0), 1.0) == at(2)
    assert above_since_ms(history(3.0, 2.0, 0.5), 1.0) is None
    assert above_since_ms(history(3.0, 2.0), 1.0) == at(0)
