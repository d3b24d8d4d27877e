import pytest

from dashboard.tokens import TOKENS, css_variables, ref, series_token
from shared.readings import Quantity

TEXT = ("ink", "soft", "act", "mind")
LINES = ("vacuum", "level", "stack", "air", "sugar")


def luminance(colour):
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Source: WCAG 2.2, definition of contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_white_on_black_is_21_to_1():
    """Source: WCAG 2.2: contrast ratios range from 1 to 21."""
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", [0, 1], ids=["day", "night"])
@pytest.mark.parametrize("name", TEXT)
def test_text_can_be_read_on_its_paper(name, scheme):
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1."""
    assert contrast(TOKENS[name][scheme], TOKENS["paper"][scheme]) >= 4.5


@pytest.mark.parametrize("scheme", [0, 1], ids=["day", "night"])
@pytest.mark.parametrize("name", LINES)
def test_a_line_can_be_seen_on_its_paper(name, scheme):
    """WCAG 2.2, success criterion 1.4.11: 3 to 1."""
    assert contrast(TOKENS[name][scheme], TOKENS["paper"][scheme]) >= 3.0


@pytest.mark.parametrize("scheme", [0, 1], ids=["day", "night"])
def test_what_asks_can_be_read(scheme):
    assert contrast(TOKENS["on-act"][scheme], TOKENS["act"][scheme]) >= 4.5


def test_css_holds_each_token_by_day_and_by_night():
    css = css_variables()
    day, _, night = css.partition("@media(prefers-color-scheme:dark)")
    for name, (by_day, by_night) in TOKENS.items():
        assert f"--{name}:{by_day}" in day
        assert f"--{name}:{by_night}" in night


def test_a_colour_that_is_no_token_is_refused():
    with pytest.raises(KeyError):
        ref("green")


@pytest.mark.parametrize("quantity", Quantity)
def test_every_quantity_has_a_colour(quantity):
    assert series_token(quantity) in LINES
