import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import PayloadError
from shared.requests import Acknowledge, LogKind, Shelve, Unshelve, WriteLog, decode, encode

NOW_MS = 1_772_424_306_000
HOUR_MS = 3_600_000

GOOD = [
    Acknowledge("r1", "Ann", NOW_MS, "vacuum-lost/ledge"),
    Shelve("r2", "Ann", NOW_MS, "vacuum-lost/ledge", NOW_MS + HOUR_MS, "walking the line"),
    Unshelve("r3", "Ann", NOW_MS, "vacuum-lost/ledge"),
    WriteLog(
        "r4", "Ben", NOW_MS, LogKind.LEAK_FIXED, NOW_MS - HOUR_MS, line="ledge", note="squirrel, 3 drops"
    ),
    WriteLog(
        "r5",
        "Ben",
        NOW_MS,
        LogKind.BARREL_DRAWN,
        NOW_MS,
        figures={
            "sugar_brix": 66.9,
            "volume_m3": 0.15,
            "temperature_c": 103.9,
            "transmittance_fraction": 0.62,
        },
    ),
    WriteLog("r6", "Ben", NOW_MS, LogKind.TANK_WASHED, NOW_MS, tank="lower"),
]


@pytest.mark.parametrize("request_", GOOD, ids=lambda r: f"{type(r).__name__}-{r.id}")
def test_a_request_comes_back_as_it_was_asked(request_):
    assert decode(encode(request_)) == request_


def test_a_request_is_json_that_a_person_can_read():
    assert json.loads(encode(GOOD[0])) == {
        "kind": "acknowledge",
        "id": "r1",
        "by": "Ann",
        "time": "2026-03-02T04:05:06.000Z",
        "alert": "vacuum-lost/ledge",
    }


def changed(request_, **keys):
    wire = json.loads(encode(request_))
    wire.update(keys)
    return json.dumps(wire).encode()


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "JSON object"),
        (b"[]", "JSON object"),
        (b"\xff", "JSON object"),
        (b"[" * 100_000, "JSON object"),
        (changed(GOOD[0], kind="erase"), "kind must be"),
        (changed(GOOD[0], id=""), "id must be text"),
        (changed(GOOD[0], id="x" * 81), "id must be text of 1 to 80"),
        (changed(GOOD[0], by=7), "by must be text"),
        (changed(GOOD[0], time="now"), "time must be a time"),
        (changed(GOOD[0], alert=None), "alert must be text"),
        (changed(GOOD[1], until=NOW_MS), "until must be after time"),
        (changed(GOOD[1], until=NOW_MS + 25 * HOUR_MS), "at most 24 h"),
        (changed(GOOD[1], reason=" "), "reason must be text"),
        (changed(GOOD[3], entry="eaten"), "entry must be one of leak found"),
        (changed(GOOD[4], figures=[1]), "figures must be an object"),
        (changed(GOOD[4], figures={"gallons": 3}), "'gallons' is none we know"),
        (changed(GOOD[4], figures={"sugar_brix": "sweet"}), "sugar_brix must be a number"),
        (changed(GOOD[4], figures={"sugar_brix": float("nan")}), "sugar_brix must be a number"),
        (changed(GOOD[4], figures={"sugar_brix": 91}), "from 0 to 90"),
    ],
)
def test_a_request_that_cannot_be_carried_out_says_what_to_mend(payload, reason):
    with pytest.raises(PayloadError, match=reason):
        decode(payload)


def test_a_shelf_without_an_end_cannot_even_be_asked_for():
    with pytest.raises(PayloadError, match="at most 24 h"):
        encode(Shelve("r2", "Ann", NOW_MS, "x", NOW_MS + 10**11, "for ever"))


@given(
    st.binary()
    | st.dictionaries(
        st.sampled_from(["kind", "id", "by", "time", "alert", "entry"]), st.text() | st.integers()
    ).map(lambda d: json.dumps(d).encode())
)
def test_decoding_raises_nothing_but_a_payload_error(payload):
    try:
        request_ = decode(payload)
    except PayloadError:
        return
    assert decode(encode(request_)) == request_
