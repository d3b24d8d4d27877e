"""Colours and sizes, once: the same tokens feed the pages' CSS, the drawn SVG and the Plotly template.

Contrast on its own paper is at least 4.5 for text and 3.6 for lines (WCAG 2.2 asks 4.5 and 3); the series
colours were chosen to stay apart for normal, deutan, protan and tritan sight.
"""

from shared.readings import Quantity

TOKENS: dict[str, tuple[str, str]] = {
    "paper": ("#faf8f3", "#15130f"),
    "ink": ("#1d1b17", "#ece4d6"),
    "soft": ("#5c574d", "#a89f90"),
    "rule": ("#d9d3c5", "#3a352c"),
    "act": ("#a3240f", "#ff7a5c"),
    "on-act": ("#ffffff", "#15130f"),
    "mind": ("#8a5a00", "#f0b34a"),
    "fill": ("#c9d4ee", "#2c3556"),
    "band": ("#e4ddcb", "#2b271f"),
    "vacuum": ("#6376e0", "#9288fc"),
    "level": ("#1b6c5a", "#7febdc"),
    "stack": ("#c36c19", "#ea764f"),
    "air": ("#85187c", "#9e8698"),
    "sugar": ("#654b09", "#f1f07e"),
}
"""Name -> (by day, by night)."""

SERIES: dict[Quantity, str] = {
    Quantity.VACUUM: "vacuum",
    Quantity.LEVEL: "level",
    Quantity.FLOW: "level",
    Quantity.STACK_TEMPERATURE: "stack",
    Quantity.AIR_TEMPERATURE: "air",
    Quantity.SAP_TEMPERATURE: "air",
}
"""A quantity keeps its colour on every page."""

SANS = "system-ui,sans-serif"
CHART_PX = 13


def series_token(quantity: Quantity) -> str:
    """The colour of that quantity's lines; sugar's stands for all the rest."""
    return SERIES.get(quantity, "sugar")


def ref(token: str) -> str:
    """How CSS, SVG and figures name a token; the page's script puts the colour in for Plotly.

    >>> ref("ink")
    'var(--ink)'
    """
    if token not in TOKENS:
        raise KeyError(token)
    return f"var(--{token})"


def css_variables(names: tuple[str, ...] = tuple(TOKENS)) -> str:
    """The tokens as CSS variables, day and night."""
    day, night = (";".join(f"--{name}:{TOKENS[name][i]}" for name in names) for i in (0, 1))
    return f":root{{color-scheme:light dark;{day}}}@media(prefers-color-scheme:dark){{:root{{{night}}}}}"
