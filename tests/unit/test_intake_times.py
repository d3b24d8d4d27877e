import json
import re

import pytest

from collector.intake import Memory, take_in
from collector.topics import router_of
from shared.farm_file import parse_farm
from shared.readings import PLAUSIBLE, Quality, RejectKind
from tests.fakes.knoll import NOW_MS, TEXT, reading_of, reason_of, told


@pytest.mark.parametrize(
    ("time", "reason"),
    [
        (NOW_MS + 301_000, "ahead of ours"),
        (NOW_MS - 61 * 86_400_000, "60 days ago"),
        (12, "the sensor's clock is not set \\(1970-01-01T00:00:12"),
        ("2026-03-02T04:05:06", "Z or an offset"),
        ("soon", "Z or an offset"),
        (True, "Z or an offset"),
    ],
)
def test_a_time_that_cannot_be_is_refused_by_name(time, reason):
    intake = told("lantern/knob/ledge-vacuum", {"value": 24.5, "time": time})
    assert re.search(reason, reason_of(intake))


@pytest.mark.parametrize("time", [NOW_MS + 299_000, NOW_MS - 59 * 86_400_000])
def test_a_clock_a_little_ahead_and_a_long_backlog_are_believed(time):
    assert reading_of(told("lantern/knob/ledge-vacuum", {"value": 24.5, "time": time})).measured_ms == time


def test_a_machine_whose_own_clock_is_not_set_stores_nothing_under_a_wrong_time():
    intake = told("lantern/knob/air", "1", at_ms=86_400_000)
    assert "this machine's clock is not set" in reason_of(intake)
    assert intake.rejects[0].kind is RejectKind.OUR_CLOCK


def test_a_retained_value_without_a_time_is_never_taken_as_fresh():
    assert "retained" in reason_of(told("lantern/knob/air", "1", retain=True))


def test_a_retained_value_with_its_time_is_kept_as_what_it_is():
    reading = reading_of(told("lantern/knob/air", {"value": 1, "time": NOW_MS - 60_000}, retain=True))
    assert (reading.measured_ms, reading.quality) == (NOW_MS - 60_000, Quality.RETAINED)


def test_a_queued_value_without_a_time_is_refused_once_it_may_have_waited_long():
    assert reading_of(told("lantern/knob/air", "1", waiting_since_ms=NOW_MS - 60_000))
    reason = reason_of(told("lantern/knob/air", "1", waiting_since_ms=NOW_MS - 3_600_000))
    assert "since 2026-03-02T03:05:06.000Z" in reason
    assert "waited" in reason_of(told("lantern/knob/air", "1", waiting_since_ms=0))


def test_a_queued_value_with_its_time_is_a_late_reading_like_any_other():
    payload = {"value": 1, "time": NOW_MS - 3_000_000}
    assert (
        reading_of(told("lantern/knob/air", payload, waiting_since_ms=NOW_MS - 3_600_000)).quality
        is Quality.GOOD
    )


def air(memory, second, celsius):
    payload = {"value": celsius, "unit": "Cel", "time": NOW_MS + second * 1000}
    return take_in(SLOW, memory, "lantern/knob/mast", json.dumps(payload).encode(), NOW_MS + second * 1000)


SLOW = router_of(parse_farm(TEXT + '[[sensor]]\nid = "mast"\nquantity = "air_temperature"\nunit = "Cel"\n'))
LIMIT_C_S = 1.0


def test_the_air_changes_by_no_more_than_a_degree_a_second():
    assert [f.max_rate_per_s for q, f in PLAUSIBLE.items() if q == "air_temperature"] == [LIMIT_C_S]


def test_a_spike_is_refused_and_what_comes_after_it_is_not():
    memory = Memory()
    assert reading_of(air(memory, 0, 1.0))
    spike = air(memory, 10, 30.0)
    assert "faster than air_temperature can change" in reason_of(spike)
    assert spike.rejects[0].kind is RejectKind.TOO_FAST
    assert reading_of(air(memory, 20, 1.1)).value == pytest.approx(1.1)
    assert "faster" in reason_of(air(memory, 30, 30.0)), "the first spike is forgotten by now"


def test_a_step_that_stays_is_believed_at_its_second_reading():
    memory = Memory()
    air(memory, 0, 1.0)
    assert "will be believed" in reason_of(air(memory, 10, 30.0))
    assert reading_of(air(memory, 20, 31.0)).value == pytest.approx(31.0)
    assert reading_of(air(memory, 30, 31.5))


def test_a_doubted_reading_that_is_delivered_twice_does_not_confirm_itself():
    memory = Memory()
    air(memory, 0, 1.0)
    air(memory, 10, 30.0)
    assert "faster" in reason_of(air(memory, 10, 30.0))


def test_a_long_silence_lets_any_change_be_true():
    memory = Memory()
    air(memory, 0, 1.0)
    assert reading_of(air(memory, 29, 30.0))


def test_a_late_reading_is_taken_and_not_held_against_later_ones():
    memory = Memory()
    air(memory, 100, 1.0)
    assert reading_of(air(memory, 90, 20.0))
    assert reading_of(air(memory, 110, 1.5))


def test_a_flicker_of_the_last_digit_within_a_second_is_no_fast_change():
    memory = Memory()
    take_in(SLOW, memory, "lantern/knob/mast", b"1.0", NOW_MS)
    assert reading_of(take_in(SLOW, memory, "lantern/knob/mast", b"1.1", NOW_MS + 1))
