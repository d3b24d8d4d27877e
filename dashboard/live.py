"""Keeps an open page true: when the farm has news, its words and charts are computed anew and put in place.

A page is drawn whole when it is opened; then only the parts it names are replaced, so that a chart is
redrawn in its place and a finger on a button loses nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from dash import MATCH, ClientsideFunction, Dash, Input, Output, State, dcc
from dash.development.base_component import Component

from dashboard.figures import Figure
from dashboard.parts import element, header
from dashboard.windows import Window, window_named
from dashboard.words import Top


@dataclass(frozen=True, slots=True)
class Content:
    """What of a page changes with the farm: words by the id of their place, charts by name."""

    top: Top
    words: dict[str, list[Component]]
    charts: dict[str, Figure] = field(default_factory=dict)


class Keyed(Protocol):
    """What an open page shows, as it remembers it."""

    @property
    def key(self) -> str:
        """Short, and enough to show the same again."""


Shown = TypeVar("Shown", bound=Keyed)


def page(name: str, window: Keyed, content: Content, main: list[Component]) -> Component:
    """A whole page around its main part."""
    return element(
        "Div",
        [
            dcc.Store(id=f"{name}-window", data=window.key),
            element("Header", header(content.top, ""), id=f"{name}-top"),
            element("Main", main),
        ],
        "page",
    )


def place(content: Content, name: str, css: str = "") -> Component:
    """Where changing words stand."""
    return element("Div", content.words[name], css, id=name)


def keep(app: Dash, name: str, render: Callable[[Window], Content]) -> None:
    """Connect the changing parts of a page that shows a window to the pulse of the farm."""
    first = render(window_named(None))
    keep_shown(app, name, render, window_named, tuple(first.words), tuple(first.charts))


def keep_shown(
    app: Dash,
    name: str,
    render: Callable[[Shown], Content],
    named: Callable[[str | None], Shown],
    words: Sequence[str],
    charts: Sequence[str] = (),
) -> None:
    """The same, of a page that shows something else: `named` finds it again by its key; its parts are named."""

    def refresh(pulse: str, window_key: str) -> list[Any]:
        content = render(named(window_key))
        return [
            header(content.top, pulse),
            *(content.words[place] for place in words),
            *(content.charts[chart] for chart in charts),
        ]

    app.callback(
        [
            Output(f"{name}-top", "children"),
            *(Output(place, "children") for place in words),
            *(Output({"chart": chart, "part": "drawn"}, "data") for chart in charts),
        ],
        Input("pulse", "data"),
        State(f"{name}-window", "data"),
        prevent_initial_call=True,
    )(refresh)


def colour_charts(app: Dash) -> None:
    """Let the page's script colour each chart, now and when day turns to night."""
    app.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("lantern", "figure"),
        Output({"chart": MATCH, "part": "graph"}, "figure"),
        Input({"chart": MATCH, "part": "drawn"}, "data"),
        Input("scheme", "data"),
    )
