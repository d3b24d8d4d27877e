"""The frost of the night, from readings drawn by hand; it is scored in test_frost_scores.py."""

from math import cos, inf, nan, pi
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates.frost import KEPT_SLOTS, MAY_CHANCE, AirHistory, Frost, frost, observe_air
from shared.readings import Unknown

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
T0 = 20_000 * DAY_MS
"""A midnight."""


def usual_day(at_ms, mean_c=3.0, swing_c=5.0):
    """Warmest at 15 h; with a mean of 3 it freezes about 23 h 28 and thaws about 6 h 32."""
    hour = (at_ms - T0) / HOUR_MS
    return mean_c + swing_c * cos(2 * pi * (hour - 15) / 24)


def heard(days, air=usual_day, every_ms=10 * MINUTE_MS, until_ms=T0 + 17 * HOUR_MS):
    history = AirHistory()
    at_ms = until_ms - round(days * DAY_MS)
    while at_ms <= until_ms:
        observe_air(history, at_ms, air(at_ms))
        at_ms += every_ms
    return history


def at_17(history, **more):
    return frost(history, T0 + 17 * HOUR_MS, **more)


def test_days_that_are_alike_foretell_the_next():
    found = at_17(heard(4))
    assert isinstance(found, Frost)
    assert found.chance > 0.8
    # By the cosine it falls to 0 at 15 h + acos(-3/5) / pi x 12 h = 23 h 28 min, and rises again at 6 h 32.
    assert found.freezes.middle_s / 3600 == pytest.approx(6.47, abs=0.3)
    assert found.thaws.middle_s / 3600 == pytest.approx(13.53, abs=0.3)
    assert found.freezes.low_s < found.freezes.middle_s < found.freezes.high_s
    assert found.thaws.low_s < found.thaws.middle_s < found.thaws.high_s
    assert found.coldest_c.low < -2.0 < found.coldest_c.high
    assert not found.is_freezing


def test_a_warmer_day_freezes_later_and_a_much_warmer_one_not():
    def warmer(by_c):
        return lambda at_ms: usual_day(at_ms) + (by_c if at_ms > T0 else 0.0)

    usual, later, none = (at_17(heard(4, warmer(by_c))) for by_c in (0.0, 1.0, 12.0))
    assert usual.freezes.middle_s < later.freezes.middle_s
    assert usual.chance > later.chance > none.chance
    assert none.chance < MAY_CHANCE
    assert (none.freezes, none.thaws) == (None, None)


def test_air_that_falls_faster_than_usual_freezes_sooner():
    def falling(at_ms):
        return usual_day(at_ms) - max(0.0, (at_ms - T0) / HOUR_MS - 15.0)

    def colder(at_ms):
        return usual_day(at_ms) - (2.0 if at_ms > T0 else 0.0)

    assert at_17(heard(4, falling)).freezes.middle_s < at_17(heard(4, colder)).freezes.middle_s


def test_while_it_freezes_the_question_is_when_it_thaws():
    found = frost(heard(4, until_ms=T0 + 26 * HOUR_MS), T0 + 26 * HOUR_MS)
    assert found.is_freezing
    assert (found.chance, found.freezes) == (1.0, None)
    assert found.thaws.middle_s / 3600 == pytest.approx(4.53, abs=0.4)


def test_a_frost_without_end_in_sight_names_no_thaw():
    found = at_17(heard(4, lambda at_ms: usual_day(at_ms, mean_c=-15.0)))
    assert found.is_freezing
    assert found.thaws is None


def test_a_thermometer_younger_than_a_day_does_not_tell():
    assert at_17(AirHistory()) == Unknown("no air temperature heard yet")
    assert at_17(heard(0.9)) == Unknown("less than a day of air temperature heard")
    assert isinstance(at_17(heard(1.1)), Frost)


def test_a_day_with_too_large_a_hole_is_no_day():
    history = AirHistory()
    for minute in range(0, 36 * 60, 10):
        if not 10 * 60 < minute < 16 * 60:
            observe_air(history, T0 + minute * MINUTE_MS, 5.0)
    assert frost(history, T0 + 36 * HOUR_MS) == Unknown("less than a day of air temperature heard")


def test_short_holes_are_bridged():
    def with_holes(hours):
        def air(at_ms):
            return nan if (at_ms // HOUR_MS) % 12 < hours else usual_day(at_ms)

        history = AirHistory()
        for minute in range(0, 4 * 24 * 60, 10):
            at_ms = T0 + 17 * HOUR_MS - 4 * DAY_MS + minute * MINUTE_MS
            if air(at_ms) == air(at_ms):
                observe_air(history, at_ms, air(at_ms))
        return at_17(history)

    whole, holed = with_holes(0), with_holes(2)
    assert holed.freezes.middle_s == pytest.approx(whole.freezes.middle_s, abs=1800)


@pytest.mark.parametrize(
    ("silent_min", "interval_s", "is_known"), [(29, 60, True), (31, 60, False), (70, 900, True)]
)
def test_old_air_says_nothing_of_now(silent_min, interval_s, is_known):
    found = frost(heard(4), T0 + 17 * HOUR_MS + silent_min * MINUTE_MS, interval_s)
    assert isinstance(found, Frost) is is_known
    if not is_known:
        assert found == Unknown("no air temperature for 31 min")


def test_a_spike_does_not_make_a_frost():
    history = heard(4)
    before = at_17(history)
    for back_min in (3, 2, 1):
        observe_air(history, T0 + 17 * HOUR_MS + (15 - back_min) * MINUTE_MS, usual_day(T0 + 17 * HOUR_MS))
    observe_air(history, T0 + 17 * HOUR_MS + 14 * MINUTE_MS + 30_000, -40.0)
    assert not frost(history, T0 + 17 * HOUR_MS + 15 * MINUTE_MS).is_freezing
    # One that came late, alone in its quarter, is seen through as well.
    late = heard(4, until_ms=T0 + 16 * HOUR_MS)
    observe_air(late, T0 + 17 * HOUR_MS, usual_day(T0 + 17 * HOUR_MS))
    observe_air(late, T0 + 16 * HOUR_MS + 20 * MINUTE_MS, -40.0)
    assert at_17(late).chance == pytest.approx(before.chance, abs=0.1)


def test_a_reading_again_or_too_late_changes_nothing():
    history = heard(4)
    kept = TypeAdapter(AirHistory).dump_json(history)
    observe_air(history, T0 + 17 * HOUR_MS, 30.0)
    observe_air(history, T0 + 9 * HOUR_MS, 30.0)
    observe_air(history, T0 - 9 * DAY_MS, 30.0)
    assert TypeAdapter(AirHistory).dump_json(history) == kept


def test_it_is_dumped_and_taken_up_as_it_was():
    history = heard(2)
    whole = TypeAdapter(AirHistory)
    again = whole.validate_json(whole.dump_json(history))
    assert again == history
    assert at_17(again) == at_17(history)


@given(st.lists(st.tuples(st.integers(0, 12 * DAY_MS), st.floats(-50, 50)), min_size=1, max_size=300))
def test_whatever_comes_in_whatever_order_it_stays_small_and_answers(readings):
    history = AirHistory()
    for at_ms, air_c in readings:
        observe_air(history, at_ms, air_c)
    assert len(history.medians_c) <= KEPT_SLOTS
    assert len(history.newest_c) <= 60
    assert isinstance(frost(history, max(at_ms for at_ms, _ in readings)), Frost | Unknown)


@pytest.mark.parametrize("wrong", [nan, inf, -inf])
def test_what_is_no_number_is_refused(wrong):
    with pytest.raises(InvalidArgument):
        observe_air(AirHistory(), T0, wrong)


def test_a_chatty_thermometer_is_kept_as_small():
    history, dice = AirHistory(), Random(1)
    for second in range(900):
        observe_air(history, T0 + second * 1000, 4.0 + dice.gauss(0.0, 0.5))
    assert len(history.newest_c) <= 60
    assert history.medians_c == [pytest.approx(4.0, abs=0.1)]
