import json

import pytest

from collector.senml import resolve
from shared.errors import PayloadError

NOW_MS = 1_772_424_306_000
DEVICE = "urn:dev:ow:10e2073a01080063"


def test_a_single_datapoint_resolves_to_itself_now():
    """RFC 8428, section 5.1.1."""
    (record,) = resolve(json.loads('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'))
    assert (record.name, record.unit, record.value) == (DEVICE, "Cel", 23.1)
    assert record.is_relative
    assert record.measured_ms(NOW_MS) == NOW_MS


def test_multiple_datapoints_share_a_base_name():
    """RFC 8428, section 5.1.2, first example."""
    pack = """[
        {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
        {"n":"current","u":"A","v":1.2}]"""
    records = resolve(json.loads(pack))
    assert [(r.name, r.unit, r.value) for r in records] == [
        (f"{DEVICE}:voltage", "V", 120.1),
        (f"{DEVICE}:current", "A", 1.2),
    ]


def test_base_time_and_base_unit_resolve_as_in_the_rfc():
    """RFC 8428, section 5.1.2, second example, against its resolved form in section 5.1.4."""
    pack = json.loads("""[
        {"bn":"urn:dev:ow:10e2073a01080063:","bt":1.276020076001e+09,"bu":"A","bver":5,
         "n":"voltage","u":"V","v":120.1},
        {"n":"current","t":-5,"v":1.2},
        {"n":"current","t":-4,"v":1.3},
        {"n":"current","t":-3,"v":1.4},
        {"n":"current","t":-2,"v":1.5},
        {"n":"current","t":-1,"v":1.6},
        {"n":"current","v":1.7}]""")
    resolved = json.loads("""[
        {"n":"urn:dev:ow:10e2073a01080063:voltage","u":"V","t":1.276020076001e+09,"v":120.1},
        {"n":"urn:dev:ow:10e2073a01080063:current","u":"A","t":1.276020071001e+09,"v":1.2},
        {"n":"urn:dev:ow:10e2073a01080063:current","u":"A","t":1.276020072001e+09,"v":1.3},
        {"n":"urn:dev:ow:10e2073a01080063:current","u":"A","t":1.276020073001e+09,"v":1.4},
        {"n":"urn:dev:ow:10e2073a01080063:current","u":"A","t":1.276020074001e+09,"v":1.5},
        {"n":"urn:dev:ow:10e2073a01080063:current","u":"A","t":1.276020075001e+09,"v":1.6},
        {"n":"urn:dev:ow:10e2073a01080063:current","u":"A","t":1.276020076001e+09,"v":1.7}]""")
    records = resolve(pack)
    assert records == resolve(resolved)
    assert [(r.name, r.unit, r.measured_ms(NOW_MS), r.value) for r in records] == [
        (r["n"], r["u"], round(r["t"] * 1000), r["v"]) for r in resolved
    ]
    assert not any(r.is_relative for r in records)


def test_one_name_may_stand_for_several_units():
    """RFC 8428, section 5.1.3: a hygrometer with its position."""
    pack = """[
        {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
        {"u":"lon","v":24.30621}]"""
    assert [r.unit for r in resolve(json.loads(pack))] == ["%RH", "lon"]


@pytest.mark.parametrize(
    ("times", "measured_ms", "is_relative"),
    [
        ({"t": -10}, NOW_MS - 10_000, True),
        ({"bt": -10, "t": -5}, NOW_MS - 15_000, True),
        ({"t": 2**28 - 1}, NOW_MS + (2**28 - 1) * 1000, True),
        ({"t": 2**28}, 2**28 * 1000, False),
        ({"bt": 1_276_020_076, "t": -0.5}, 1_276_020_075_500, False),
    ],
)
def test_a_time_below_2_to_the_28th_is_relative_to_now(times, measured_ms, is_relative):
    """RFC 8428, section 4.5.3."""
    (record,) = resolve([{"n": "a", "v": 1, **times}])
    assert (record.measured_ms(NOW_MS), record.is_relative) == (measured_ms, is_relative)


def test_base_fields_hold_until_they_are_set_again():
    records = resolve([{"bn": "a", "bv": 20, "v": 1}, {"v": 2}, {"bn": "b", "bv": 0, "v": 3}, {"v": 4}])
    assert [(r.name, r.value) for r in records] == [("a", 21), ("a", 22), ("b", 3), ("b", 4)]


def test_a_record_may_only_set_the_base():
    assert [r.name for r in resolve([{"bn": "dev1/", "bt": -3}, {"n": "level", "v": 1}])] == ["dev1/level"]


@pytest.mark.parametrize(
    ("pack", "reason"),
    [
        ({}, "array"),
        ([], "array"),
        ([1], "an object"),
        ([{"n": "a"}], "holds no value"),
        ([{"n": "a", "v": 1, "vs": "x"}], "exclude each other"),
        ([{"n": "a", "v": 1, "new_": 1}], "must be understood"),
        ([{"bver": 11, "n": "a", "v": 1}], "newer than 10"),
        ([{"n": 5, "v": 1}], "n must be text"),
        ([{"n": "a", "t": "soon", "v": 1}], "'soon' is no number"),
        ([{"n": "a", "t": 1e300, "v": 1}], "beyond the year 9999"),
    ],
)
def test_a_pack_that_must_be_refused_says_why(pack, reason):
    with pytest.raises(PayloadError, match=reason):
        resolve(pack)
