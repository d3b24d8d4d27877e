import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.payloads import ABSENT, document_of, number_of, pointed_at, switch_of
from shared.errors import PayloadError

RFC_6901 = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", RFC_6901),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_json_pointer_finds_what_the_rfc_says(pointer, value):
    """RFC 6901, section 5: the document and all its pointers."""
    assert pointed_at(RFC_6901, pointer) == value


@pytest.mark.parametrize(
    "pointer", ["/bar", "/foo/2", "/foo/-", "/foo/01", "/foo/-1", "/foo/0/0", "/foo/1e0"]
)
def test_a_place_that_is_not_there_is_absent(pointer):
    """RFC 6901, section 4: no leading zeros, and '-' names the member after the last."""
    assert pointed_at(RFC_6901, pointer) is ABSENT


def test_null_at_a_place_is_not_absence():
    assert pointed_at({"a": None}, "/a") is None


@pytest.mark.parametrize(
    ("value", "number"),
    [(24.5, 24.5), (-3, -3.0), ("24.5", 24.5), (" +0.5 ", 0.5), (".5", 0.5), ("1e3", 1000.0), ("012", 12.0)],
)
def test_a_number_may_be_written_as_text(value, number):
    assert number_of(value) == number


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (None, "null"),
        (True, "true"),
        ("", "''"),
        ("unavailable", "'unavailable'"),
        ("24.5 inHg", "'24.5 inHg'"),
        ("12,5", "'12,5'"),
        ("NaN", "'NaN'"),
        ("Infinity", "'Infinity'"),
        ("1_000", "'1_000'"),
        ("٣", "'٣'"),
        ([1], "an array"),
        ({}, "an object"),
        (float("nan"), "not a finite number"),
        (10**400, "not a finite number"),
        ("9e999", "not a finite number"),
    ],
)
def test_what_is_no_number_is_refused_by_name(value, reason):
    with pytest.raises(PayloadError, match="^" + reason.replace("[", r"\[")):
        number_of(value)


@pytest.mark.parametrize(
    ("payload", "document"),
    [
        (b"24.5", 24.5),
        (b' "24.5"\r\n', "24.5"),
        (b"on", "on"),
        (b"+7", "+7"),
        (b'{"value": 1}', {"value": 1}),
    ],
)
def test_a_payload_is_json_or_else_its_own_text(payload, document):
    assert document_of(payload) == document


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "empty"),
        (b" \n", "empty"),
        (b"\xff\xfe", "not UTF-8"),
        (b'{"value": 1', "broken JSON"),
        (b"[" * 100_000, "nested too deeply"),
    ],
)
def test_a_payload_that_cannot_be_read_says_why(payload, reason):
    with pytest.raises(PayloadError, match=reason):
        document_of(payload)


@pytest.mark.parametrize(
    ("value", "is_on"),
    [(True, True), (False, False), ("ON", True), ("off", False), (" running ", True), ("stopped", False)],
)
def test_a_switch_is_told_in_words_or_truth_values(value, is_on):
    assert switch_of(value) is is_on


@pytest.mark.parametrize("value", ["unavailable", "", 1, 0, None, []])
def test_what_says_neither_on_nor_off_is_neither(value):
    assert switch_of(value) is None


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda x: st.lists(x) | st.dictionaries(st.text(), x),
    )
)
def test_every_key_of_any_document_can_be_pointed_at(document):
    def places(here, pointer):
        assert pointed_at(document, pointer) is here
        if isinstance(here, dict):
            for key, below in here.items():
                places(below, f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}")
        if isinstance(here, list):
            for place, below in enumerate(here):
                places(below, f"{pointer}/{place}")

    places(document, "")


@given(st.binary() | st.text().map(str.encode))
def test_reading_a_payload_raises_nothing_but_a_payload_error(payload):
    try:
        document = document_of(payload)
    except PayloadError:
        return
    json.dumps(document)
