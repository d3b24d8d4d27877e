"""A text is one GSM-7 message whatever goes into it. Source: 3GPP TS 23.038, tables of section 6.2.1."""

from hypothesis import given
from hypothesis import strategies as st

from shared.gsm7 import ALPHABET, EXTENSION, LIMIT, fit, length


def test_the_alphabet_has_the_128_places_of_the_standard_less_its_escape():
    assert len(ALPHABET) == 127
    assert not ALPHABET & EXTENSION


def test_a_euro_sign_takes_two_places():
    assert length("5 €") == 4


def test_a_degree_sign_and_typographic_marks_do_not_cost_the_alphabet():
    assert fit("39 °F – it’s “cold”…") == '39 F - it\'s "cold"...'


def test_a_long_text_ends_after_a_whole_word():
    said = fit("Lower tank is full about 04:50. " * 9)
    assert length(said) <= LIMIT
    assert said.endswith("...")
    assert said[:-3].split()[-1] in {"Lower", "tank", "is", "full", "about", "04:50"}


@given(st.text(max_size=400), st.integers(10, 160))
def test_any_text_fits(text, limit):
    said = fit(text, limit)
    assert length(said) <= limit
    assert all(c in ALPHABET or c in EXTENSION for c in said)
