import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument
from shared.instants import instant_ms, instant_text


@pytest.mark.parametrize(
    ("text", "at_ms"),
    [
        ("1985-04-12T23:20:50.52Z", 482_196_050_520),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
        ("1985-04-12t23:20:50.52z", 482_196_050_520),
        ("1985-04-12 23:20:50Z", 482_196_050_000),
        ("1985-04-12T23:20:50.123456789Z", 482_196_050_123),
    ],
)
def test_rfc_3339_text_is_read(text, at_ms):
    """RFC 3339, section 5.8; the numbers by GNU date."""
    assert instant_ms(text) == at_ms


@pytest.mark.parametrize("value", [1276020076.001, 1276020076001, "1276020076.001", "1276020076001"])
def test_unix_seconds_and_ms_are_told_apart(value):
    assert instant_ms(value) == 1_276_020_076_001


@pytest.mark.parametrize(
    "value",
    [
        "2026-03-02T04:05:06",
        "2026-03-02",
        "04:05:06",
        "yesterday",
        "",
        None,
        True,
        -1,
        float("nan"),
        float("inf"),
        10**30,
        "9" * 400,
        "2026-02-30T04:05:06Z",
        "2026-03-02T04:05:60Z",
        "0001-01-01T00:00:00+23:59",
        [],
    ],
)
def test_what_names_no_instant_is_refused(value):
    with pytest.raises(InvalidArgument):
        instant_ms(value)


@given(st.integers(-62_135_596_800_000, 253_402_300_799_999))
def test_writing_and_reading_an_instant_gives_it_back(at_ms):
    assert instant_ms(instant_text(at_ms)) == at_ms


@pytest.mark.parametrize("at_ms", [-62_135_596_800_001, 253_402_300_800_000])
def test_an_instant_outside_rfc_3339_cannot_be_written(at_ms):
    with pytest.raises(InvalidArgument):
        instant_text(at_ms)
