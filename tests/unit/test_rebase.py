import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.rebase import rebased
from collector.senml import resolve
from shared.requests import LogKind, Shelve, WriteLog, decode, encode

HOUR_MS = 3_600_000


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ({"value": 1, "time": 1_772_424_306}, {"value": 1, "time": 1_772_427_906}),
        ({"value": 1, "time": 1_772_424_306_000}, {"value": 1, "time": 1_772_427_906_000}),
        ({"value": 1, "time": 1_772_424_306.5}, {"value": 1, "time": 1_772_427_906.5}),
        ({"value": 1, "time": "1772424306"}, {"value": 1, "time": "1772427906"}),
        (
            {"value": 1, "time": "2026-03-01T23:05:06-05:00"},
            {"value": 1, "time": "2026-03-02T05:05:06.000Z"},
        ),
        ([{"bt": 1_772_424_306, "t": -5, "v": 1}], [{"bt": 1_772_427_906, "t": -5, "v": 1}]),
        ([{"bt": "1772424306", "v": 1}], [{"bt": "1772427906", "v": 1}]),
        ([{"t": 1_772_424_306, "v": 1}, {"v": 2}], [{"t": 1_772_427_906, "v": 1}, {"v": 2}]),
    ],
)
def test_absolute_times_of_known_forms_move(before, after):
    assert json.loads(rebased(json.dumps(before).encode(), HOUR_MS)) == after


def test_a_sensors_own_time_field_moves():
    payload = b'{"Epoch":1772424306,"nested":{"at/time":"2026-03-02T04:05:06Z"}}'
    moved = json.loads(rebased(payload, HOUR_MS, ("/Epoch", "/nested/at~1time", "/nowhere")))
    assert moved == {"Epoch": 1_772_427_906, "nested": {"at/time": "2026-03-02T05:05:06.000Z"}}


REQUEST_TOPIC = "lantern/knob/request"
WASHED = WriteLog("a1", "Wren", 1_772_424_306_000, LogKind.TANK_WASHED, 1_772_420_000_000, tank="lower")
SHELVED = Shelve("a2", "Wren", 1_772_424_306_000, "vacuum_lost/ledge", 1_772_430_000_000, "we know")


@pytest.mark.parametrize("request_", [WASHED, SHELVED])
def test_all_times_of_a_request_move_and_it_becomes_another(request_):
    moved = decode(rebased(encode(request_), HOUR_MS, topic=REQUEST_TOPIC))
    times = {
        name: getattr(request_, name)
        for name in ("asked_ms", "happened_ms", "until_ms")
        if hasattr(request_, name)
    }
    assert moved == replace(
        request_, id=f"{request_.id}+3600000", **{name: at_ms + HOUR_MS for name, at_ms in times.items()}
    )


def test_the_id_of_a_moved_request_is_not_too_long_for_one():
    long = replace(WASHED, id="x" * 80)
    assert len(decode(rebased(encode(long), -HOUR_MS, topic=REQUEST_TOPIC)).id) == 80


@pytest.mark.parametrize("topic", ["lantern/knob/ledge/request", "request", "lantern/knob/requests", ""])
def test_only_lanterns_own_requests_are_moved_as_such(topic):
    payload = encode(WASHED)
    assert rebased(payload, HOUR_MS, topic=topic) == payload


def test_what_does_not_move_stays_byte_for_byte():
    assert rebased(b'{"value": 1, "time": 1772424306}', 0) == b'{"value": 1, "time": 1772424306}'


def test_a_time_that_is_named_twice_moves_once():
    payload = b'{"value":1,"time":1772424306}'
    assert json.loads(rebased(payload, HOUR_MS, ("/time",)))["time"] == 1_772_427_906


@pytest.mark.parametrize(
    "payload",
    [
        b"24.5",
        b"on",
        b"",
        b"\xff",
        b'{"value": 1}',
        b'{"value": 1, "time": null}',
        b'{"value": 1, "time": 12}',
        b'{"value": 1, "time": "soon"}',
        b'{"time": 1772424306, "other": 1}',
        b'[{"n": "a", "t": -5, "v": 1}]',
        b"[1, 2]",
        b"{",
    ],
)
def test_what_holds_no_such_time_stays_byte_for_byte(payload):
    assert rebased(payload, HOUR_MS) == payload


RECORDS = st.fixed_dictionaries(
    {"v": st.floats(-9, 9)},
    optional={
        "bt": st.integers(1_600_000_000, 1_800_000_000) | st.integers(-100, 100),
        "t": st.integers(-100, 100),
    },
)


@given(st.lists(RECORDS, min_size=1, max_size=5), st.integers(-(10**10), 10**10))
def test_in_a_pack_every_absolute_time_moves_by_the_same_and_no_relative_one(pack, shift_ms):
    before = resolve(pack)
    after = resolve(json.loads(rebased(json.dumps(pack).encode(), shift_ms)))
    for old, new in zip(before, after, strict=True):
        shift = 0 if old.is_relative else shift_ms
        assert new.measured_ms(0) == pytest.approx(old.measured_ms(0) + shift, abs=1)
