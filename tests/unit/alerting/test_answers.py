"""Codes: whoever has the text may answer for what it tells, once, for a day, and for nothing else."""

import hmac
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alerting.answers import ANSWERABLE_MS, CODE_LENGTH, answer_of, code_for, remember, take
from shared.errors import PayloadError
from shared.requests import HOUR_MS, Answer, decode, encode
from shared.store import Text

T0 = 1_774_330_860_000
CODE = "K7QX3M2TAB"


def text(code=CODE, key="tank_nearly_full/lower", also=()):
    return Text(key, "1.1", "owner", "push", "body", "long", T0, also=also, code=code)


def test_a_code_is_the_published_mac_of_what_it_is_about():
    """RFC 4231, test case 2: HMAC-SHA-256 of "what do ya want for nothing?" under the key "Jefe"."""
    published = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.new(b"Jefe", b"what do ya want for nothing?", "sha256").hexdigest() == published
    code = code_for(b"secret", "a/b", "1.1", "owner")
    assert len(code) == CODE_LENGTH
    assert set(code) <= set(string.ascii_uppercase + "234567")
    assert code_for(b"secret", "a/b", "1.1", "owner") == code


@given(st.tuples(st.text(), st.text(), st.text()), st.tuples(st.text(), st.text(), st.text()))
def test_codes_of_different_texts_differ(one, other):
    if "\n".join(one) != "\n".join(other):
        assert code_for(b"s", *one) != code_for(b"s", *other)


def test_a_code_answers_for_all_that_its_text_told_and_for_nothing_else():
    answerable = {}
    remember(answerable, [text(also=("vacuum_lost/ledge",)), text(code="")], T0)
    taken = take(answerable, answer_of(CODE, T0 + 1000))
    assert taken.keys == ("tank_nearly_full/lower", "vacuum_lost/ledge")
    assert taken.contact == "owner"
    assert take(answerable, answer_of("AAAAAAAAAA", T0)) is None


def test_a_code_is_taken_once():
    answerable = {}
    remember(answerable, [text()], T0)
    assert take(answerable, answer_of(CODE, T0)) is not None
    assert take(answerable, answer_of(CODE, T0 + 1)) is None


def test_a_code_is_over_after_a_day_and_forgotten():
    answerable = {}
    remember(answerable, [text()], T0)
    assert take(answerable, answer_of(CODE, T0 + ANSWERABLE_MS + 1)) is None
    remember(answerable, [], T0 + ANSWERABLE_MS + 1)
    assert answerable == {}


@pytest.mark.parametrize("said", [CODE, f" #{CODE.lower()}\n", f'"{CODE}"', f"{CODE}."])
def test_a_code_is_understood_as_people_type_it(said):
    assert answer_of(said, T0) == Answer(f"answer-{CODE}", "whoever has the text", T0, code=CODE)


def test_quiet_is_asked_for_in_hours():
    assert answer_of(f"{CODE} quiet 4", T0).quiet_ms == 4 * HOUR_MS
    assert answer_of(f"{CODE} QUIET 1.5h", T0).quiet_ms == 1.5 * HOUR_MS


@pytest.mark.parametrize(
    "said", ["", "thanks", f"{CODE} {CODE}", f"{CODE} quiet", f"{CODE} quiet 25", "K7QX"]
)
def test_what_is_no_answer_is_refused_with_what_one_is(said):
    with pytest.raises(PayloadError):
        answer_of(said, T0)


@given(st.text(max_size=80))
def test_no_words_from_outside_trip_it(said):
    try:
        answer = answer_of(said, T0)
    except PayloadError:
        return
    assert decode(encode(answer)) == answer
