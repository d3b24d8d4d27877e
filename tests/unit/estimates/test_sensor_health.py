from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from shared.estimates.sensor_health import (
    HOURS_KEPT,
    JUMPS_KEPT,
    SensorHealth,
    falls_per_s,
    is_lively,
    jumps_count,
    note_refused,
    observe_health,
    stands_still,
)
from shared.estimates.sensor_peers import note_reject
from shared.farm_parts import Sensor
from shared.readings import Quality, Quantity, Reading, Reject, RejectKind
from shared.units import INHG_PA
from tests.fakes.sick_sensors import farm_night

T0 = 1_774_310_400_000
GAUGE = Sensor(id="gauge", quantity=Quantity.VACUUM, unit="inHg", line="pump", interval_s=30)
DUMP = TypeAdapter(SensorHealth)


def heard(values, *, state=None, every_s=30, still=False, late_s=0.3, from_s=0, quality=Quality.GOOD):
    """What is remembered of a gauge (inHg) that showed these values, one at each interval."""
    state = SensorHealth() if state is None else state
    for index, value in enumerate(values):
        measured_ms = T0 + round((from_s + index * every_s) * 1000)
        received_ms = measured_ms + round((late_s(index) if callable(late_s) else late_s) * 1000)
        reading = Reading("gauge", measured_ms, value * INHG_PA, received_ms, quality)
        observe_health(state, GAUGE, reading, still=still)
    return state


def scattered(count, digits, scatter, seed=1, level=25.3):
    dice = Random(seed)
    return [round(level + dice.gauss(0.0, scatter), digits) for _ in range(count)]


@pytest.mark.parametrize(
    ("digits", "scatter", "lively"),
    [
        (2, 0.04, True),  # a good gauge of two digits
        (1, 0.15, True),
        (1, 0.04, False),  # flickers between two digits at the most
        (0, 0.04, False),  # whole numbers
        (0, 0.3, False),
    ],
)
def test_a_sensor_is_lively_only_with_digits_finer_than_its_scatter(digits, scatter, lively):
    assert is_lively(heard(scattered(1000, digits, scatter))) is lively


def test_a_whole_number_that_follows_pump_downs_is_not_lively():
    """Each start goes through many digits, and between them hours stand still."""
    day = [*(0 for _ in range(60)), *range(0, 26, 3), *(25 for _ in range(900))]
    assert not is_lively(heard(day * 12))


def test_standing_still_does_not_unlearn_how_lively_it_was():
    state = heard(scattered(600, 2, 0.04))
    heard([25.31] * 400, state=state, from_s=600 * 30)
    assert is_lively(state)
    assert stands_still(state, Quantity.VACUUM, 3600.0)


def test_what_may_be_still_never_stands_still_for_too_long():
    state = heard(scattered(600, 2, 0.04))
    heard([0.0] * 2000, state=state, from_s=600 * 30, still=True)
    assert not stands_still(state, Quantity.VACUUM, 3600.0)


def test_nobody_knows_that_it_stood_still_while_it_was_not_heard():
    state = heard(scattered(600, 2, 0.04))
    heard([25.31], state=state, from_s=600 * 30)
    heard([25.31] * 60, state=state, from_s=600 * 30 + 7200)
    assert not stands_still(state, Quantity.VACUUM, 3600.0)


def test_a_reading_told_twice_or_late_changes_nothing_but_the_clock():
    values = scattered(300, 2, 0.04)
    once, again = heard(values), heard(values)
    heard(values[100:200], state=again, from_s=3000)
    for state in (once, again):
        state.late_count = state.late_from_ms = state.late_least_ms = state.late_most_ms = 0
        state.clock_behind_ms = 0
    assert once == again


@pytest.mark.parametrize("late_s", [720.0, 3600.0, 86_400.0])
def test_a_clock_that_is_behind_shows_in_readings_that_all_come_late_by_the_same(late_s):
    state = heard(scattered(130, 2, 0.04), late_s=lambda index: late_s + index % 3)
    assert state.clock_behind_ms == round(late_s * 1000)


def test_a_clock_that_is_ahead_shows_in_readings_that_come_before_they_were_measured():
    state = heard(scattered(130, 2, 0.04), late_s=lambda index: -180 + index % 3)
    assert state.clock_behind_ms == -178_000


@pytest.mark.parametrize(
    "late_s",
    [
        lambda index: 3600 - 30 * index if index < 120 else 0.4,  # a backlog that is worked off
        lambda index: 900 - 30 * (index % 30),  # a gateway that sends each quarter of an hour
        lambda index: 90 if index % 7 else 0.4,  # a slow link
        lambda _index: -20,  # set by hand
    ],
)
def test_what_comes_late_for_other_reasons_is_no_wrong_clock(late_s):
    assert heard(scattered(400, 2, 0.04), late_s=late_s).clock_behind_ms == 0


def test_a_clock_that_was_set_right_is_right_within_two_hours():
    state = heard(scattered(130, 2, 0.04), late_s=720.0)
    heard(scattered(260, 2, 0.04), state=state, from_s=130 * 30)
    assert state.clock_behind_ms == 0


def test_readings_stamped_on_arrival_say_nothing_of_a_clock():
    state = heard(scattered(130, 2, 0.04), late_s=720.0, quality=Quality.STAMPED_ON_ARRIVAL)
    assert state.late_count == 0


def test_a_spike_is_a_jump_and_a_step_is_none():
    values = scattered(100, 2, 0.04)
    values[40] = 12.0
    values[60:] = [value - 8 for value in values[60:]]
    state = heard(values)
    assert state.jumps_ms == [T0 + 40 * 30_000]
    assert jumps_count(state, T0) == 1
    assert jumps_count(state, T0 + 41 * 30_000) == 0


@pytest.mark.parametrize(("count", "jumps"), [(1, 1), (3, 1), (4, 0)])
def test_a_few_refused_values_between_good_ones_are_a_jump_and_many_are_a_broken_sensor(count, jumps):
    state = heard([25.0])
    for _ in range(count):
        note_refused(state, RejectKind.OUT_OF_RANGE, T0 + 60_000, T0 + 60_000)
    assert state.refused_count == count
    heard([25.0], state=state, from_s=300)
    assert (state.refused_count, len(state.jumps_ms)) == (0, jumps)


def test_garbage_on_a_topic_is_about_all_that_speak_there():
    farm, healths = farm_night().farm, {}
    reject = Reject(T0, "woods/ledge", b"?", "broken JSON", RejectKind.UNREADABLE)
    note_reject(healths, farm, reject, T0)
    assert {name: health.refused_count for name, health in healths.items()} == {
        "ledge-battery": 1,
        "ledge-spare": 1,
    }


def test_a_reject_about_nobody_of_this_farm_changes_nothing():
    healths = {}
    note_reject(healths, farm_night().farm, Reject(T0, "a/b", b"", "", RejectKind.UNREADABLE, "gone"), T0)
    note_reject(healths, farm_night().farm, Reject(T0, "a/b", b"", "", RejectKind.OTHER), T0)
    assert healths == {}


def test_a_clear_fall_has_a_rate_and_a_swing_has_none():
    falling = [(hour, 12.9 - 0.01 * hour, True) for hour in range(40)]
    swinging = [(hour, 12.9 - 0.2 * (hour % 24 > 12), True) for hour in range(60)]
    assert falls_per_s(falling, 86_400.0, 0.2) == pytest.approx(0.01 / 3600)
    assert falls_per_s(swinging, 86_400.0, 0.2) is None
    assert falls_per_s([(hour, 12.0, True) for hour in range(60)], 86_400.0, 0.2) is None
    assert falls_per_s(falling[:20], 86_400.0, 0.2) is None


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(-86_400_000, 400_000_000),
            st.integers(-400_000, 90_000_000),
            st.floats(-3000, 90_000),
            st.booleans(),
            st.none() | st.sampled_from(RejectKind),
        ),
        max_size=120,
    )
)
def test_whatever_comes_it_stays_small_and_survives_a_restart(said):
    state = SensorHealth()
    for at_ms, late_ms, value, still, refused in said:
        if refused is not None:
            note_refused(state, refused, T0 + at_ms, T0 + at_ms + late_ms)
        reading = Reading("gauge", T0 + at_ms, value, T0 + at_ms + late_ms)
        observe_health(state, GAUGE, reading, still=still)
    assert len(state.jumps_ms) <= JUMPS_KEPT
    assert len(state.hours) <= HOURS_KEPT
    assert 0.0 <= state.differ_ratio <= 1.0
    assert 0.0 <= state.wide_ratio <= 1.0
    assert DUMP.validate_json(DUMP.dump_json(state)) == state


def test_hours_are_bounded_over_a_month():
    state = SensorHealth()
    for step in range(30 * 24 * 6):
        observe_health(state, GAUGE, Reading("gauge", T0 + step * 600_000, 1.0 * step, T0), still=False)
    assert len(state.hours) == HOURS_KEPT


def test_nights_of_rest_do_not_push_out_the_days_of_running():
    state = SensorHealth()
    for step in range(6 * 24 * 6):
        night = step // 72 % 2 == 1
        at_ms = T0 + step * 600_000
        observe_health(state, GAUGE, Reading("gauge", at_ms, 1.0 * step, at_ms), still=night)
    assert sum(moving for _, _, moving in state.hours) >= HOURS_KEPT - 13
    assert [hour for hour, _, _ in state.hours] == sorted(hour for hour, _, _ in state.hours)
