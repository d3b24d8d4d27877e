from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument
from shared.typed_times import local_text, typed_ms

ZONE = ZoneInfo("America/New_York")
HOUR_MS = 3_600_000


def local(text):
    return round(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp() * 1000)


NOW_MS = local("2026-03-25T07:30:00")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("2026-03-24 22:00", "2026-03-24T22:00:00"),
        ("2026-03-24T22:00", "2026-03-24T22:00:00"),
        ("2026-03-24 22:00:30", "2026-03-24T22:00:00"),
        (" 2026-03-24 7:05 ", "2026-03-24T07:05:00"),
        ("22:00", "2026-03-24T22:00:00"),
        ("07:30", "2026-03-25T07:30:00"),
        ("7:29", "2026-03-25T07:29:00"),
        ("07:31", "2026-03-24T07:31:00"),
        ("2026-03-25T02:00:00Z", "2026-03-24T22:00:00"),
        ("2026-03-24T22:00:00-04:00", "2026-03-24T22:00:00"),
        ("12h", "2026-03-24T19:30:00"),
        ("90min", "2026-03-25T06:00:00"),
        ("90m", "2026-03-25T06:00:00"),
        ("1d2h30m", "2026-03-24T05:00:00"),
    ],
)
def test_a_time_is_read_as_it_is_typed(typed, meant):
    assert typed_ms(typed, "--from", ZONE, NOW_MS) == local(meant)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "tonight",
        "25:00",
        "22:60",
        "2026-02-30 10:00",
        "2026-03-24",
        "-3h",
        "h",
        "12",
        "2026-03-25T02:00:00+25:00",
    ],
)
def test_what_is_no_time_is_refused_with_how_to_say_it(typed):
    with pytest.raises(InvalidArgument, match=r"--from is .* it must be .*2026-03-24 22:00.*12h"):
        typed_ms(typed, "--from", ZONE, NOW_MS)


def test_a_time_that_the_clock_leaves_out_is_refused():
    """In the night to Sunday 8 March 2026 clocks of New York go from 02:00 to 03:00."""
    with pytest.raises(InvalidArgument, match="went forward"):
        typed_ms("2026-03-08 02:30", "--from", ZONE, NOW_MS)
    assert typed_ms("2026-03-08 03:30", "--from", ZONE, NOW_MS) == local("2026-03-08T03:30:00")


def test_the_last_time_of_the_clock_steps_over_the_changed_night():
    now_ms = local("2026-03-08T08:00:00")
    assert typed_ms("22:00", "--from", ZONE, now_ms) == now_ms - 9 * HOUR_MS


@given(st.integers(1_770_000_000, 1_780_000_000))
def test_what_a_page_writes_is_read_again(minute):
    at_ms = minute // 60 * 60_000
    assert typed_ms(local_text(at_ms, ZONE), "from", ZONE, NOW_MS) == at_ms
