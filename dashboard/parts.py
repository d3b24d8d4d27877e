"""The pieces pages are built of: the top with its navigation, rows, notes, charts, and "I have it".

The only file that touches Dash's components, whose generated classes are typed too narrowly for attributes
such as `aria-current`; `element` is the typed doorway.
"""

from collections.abc import Iterable, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.figures import HEIGHT_PX, Figure
from dashboard.windows import WINDOWS, Window
from dashboard.words import ADVICE_ONLY, Headline, Note, Top, tab_title
from shared.alerts import Alert, AlertState, Priority
from shared.farm import Farm
from shared.farm_contacts import Contact
from shared.words import clock_time, duration

Children = Component | str | Sequence["Component | str"]

PAGE_NAMES = {"tonight": "Tonight", "woods": "Woods", "tanks": "Tanks", "fire": "Fire", "alerts": "Alerts"}
"""Pages in the order of the navigation."""

STORM = "woods/storm"
"""A view within Woods, with its own address."""
STORM_WORDS = "Before, during and after, line by line"
ABOUT_VACUUM = ("vacuum_lost", "vacuum_slowly_falling", "pump_not_running")
"""Rules whose alerts lead there."""

CHART_CONFIG: Any = {"displayModeBar": False, "responsive": True, "doubleClick": False, "scrollZoom": False}
BLANK: Figure = {
    "data": [],
    "layout": {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "xaxis": {"visible": False},
        "yaxis": {"visible": False},
    },
}
"""What stands in a chart's place until its colours are known: nothing."""


def element(tag: str, children: Children = (), css: str = "", **attributes: Any) -> Component:
    """One HTML element; an attribute's underscore stands for a hyphen (`aria_label`)."""
    named = {
        key.replace("_", "-") if key.startswith(("aria_", "data_")) else key: v
        for key, v in attributes.items()
    }
    if css:
        named["className"] = css
    inner = children if isinstance(children, Component | str) else list(children)
    made: Component = getattr(html, tag)(inner, **named)
    return made


def path_of(page: str) -> str:
    """Where a page lives."""
    return "/dash/" if page == "tonight" else f"/dash/{page}"


def link(words: Children, href: str, *, is_current: bool = False) -> Component:
    """A link to another page of ours, followed without loading everything anew."""
    if is_current:  # Dash's own link cannot say so to a screen reader
        return element("A", words, href=href, aria_current="page")
    made: Component = dcc.Link(words, href=href)
    return made


def header(top: Top, shown: str) -> list[Component]:
    """Farm, time and navigation; `shown` tells the page's script which news this page has drawn."""
    links = []
    for page, name in PAGE_NAMES.items():
        count = (
            [element("I", str(top.asking_count), title="alerts that nobody has answered")]
            if page == "alerts" and top.asking_count
            else []
        )
        links.append(link([name, *count], path_of(page), is_current=page == top.page))
    return [
        element(
            "Div",
            [element("B", top.farm.name), element("Span", top.clock_words)],
            "top",
            data_shown=shown,
            data_title=tab_title(top.headline, top.farm),
        ),
        element("Nav", links, aria_label="Pages"),
    ]


def head(headline: Headline) -> list[Component]:
    """The sentence, and what stands under it."""
    lead = [element("P", headline.lead, "lead")] if headline.lead else []
    return [element("H1", headline.sentence), *lead]


def window_picker(page: str, window: Window) -> Component:
    """The presets from the last hour to the season, as plain links."""
    links = [
        link(preset.label, f"{path_of(page)}?window={preset.key}", is_current=preset == window)
        for preset in WINDOWS
    ]
    return element("Div", links, "windows", role="group", aria_label="How far back the charts go")


def notes(said: Iterable[Note]) -> list[Component]:
    """Notes of a row, with dots between them."""
    spans: list[Component] = []
    for note in said:
        if spans:
            spans.append(element("Span", " · "))
        spans.append(element("Span", note.text, note.tone.value))
    return spans


def row(
    name: Children, value: Children, said: Iterable[Note] = (), picture: Component | None = None
) -> Component:
    """A line of the ledger: what, how much, its picture, and what is to be said of it."""
    spans = notes(said)
    return element(
        "Div",
        [
            element("H3", name),
            element("Span", value, "v"),
            *([picture] if picture is not None else []),
            *([element("P", spans)] if spans else []),
        ],
        "row",
    )


def figure_and_unit(figure: str, unit: str) -> list[Component | str]:
    """A large figure with its small unit."""
    return [figure, " ", element("Small", unit)]


def chart_slot(name: str, words: str, drawn: Figure, height_px: int = HEIGHT_PX) -> Component:
    """A place for a chart; the page's script colours what is drawn and hands it to Plotly."""
    return element(
        "Figure",
        [
            dcc.Store(id={"chart": name, "part": "drawn"}, data=drawn),
            dcc.Graph(
                id={"chart": name, "part": "graph"},
                figure=BLANK,
                config=CHART_CONFIG,
                style={"height": f"{height_px}px"},
            ),
        ],
        role="group",
        aria_label=words,
    )


def have_it(alert: Alert, contacts: Sequence[Contact], back: str) -> Component:
    """The form that says who has it: one button a contact, the first solid."""
    query = urlencode({"alert": alert.key, "back": back})
    words = "I have it" if alert.is_active else "I have seen it"
    buttons = [
        element(
            "Button",
            [f"{words} ", element("Small", contact.name.split()[0])] if len(contacts) > 1 else words,
            name="by",
            value=contact.id,
            type="submit",
        )
        for contact in contacts
    ] or [element("Button", words, name="by", value="", type="submit")]
    return element("Form", buttons, "have", action=f"/have-it?{query}", method="POST")


PAUSE_H = (1, 4, 12, 24)


def pause(alert: Alert, back: str, *, is_paused: bool) -> Component:
    """The form that stops an alert's texts for some hours, with a reason, or lets them go on."""
    query = urlencode({"alert": alert.key, "back": back})
    if is_paused:
        resume = element("Button", "Let its texts go on", name="hours", value="0", type="submit")
        return element("Form", [resume], "have", action=f"/pause?{query}", method="POST")
    hours = [element("Button", f"{h} h", name="hours", value=str(h), type="submit") for h in PAUSE_H]
    reason = element("Label", ["Why ", dcc.Input(name="reason", required=True, maxLength=200)])
    form = element("Form", [reason, *hours], "have", action=f"/pause?{query}", method="POST")
    return element("Details", [element("Summary", "No texts of it for a while"), form])


def asking_block(
    alert: Alert, farm: Farm, now_ms: int, back: str, *, heading: str = "H2", may_pause: bool = False
) -> Component:
    """An alert that asks: what, how much, what to do first, since when, and the button."""
    return element(
        "Section",
        [
            element(heading, alert.sentence),
            *([element("P", alert.advice, "lead")] if alert.advice else []),
            element("P", since_words(alert, farm, now_ms), "since"),
            have_it(alert, farm.contacts, back),
            *(
                [element("P", link(STORM_WORDS, path_of(STORM)), "more")]
                if alert.rule in ABOUT_VACUUM
                else []
            ),
            *([pause(alert, back, is_paused=False)] if may_pause else []),
        ],
        "ask" if alert.priority is Priority.WAKE else "ask tell",
        aria_label=alert.sentence,
    )


def since_words(alert: Alert, farm: Farm, now_ms: int) -> str:
    """When it was raised, and what else is to be known of it."""
    said = []
    if alert.raised_ms is not None:
        lasted_s = ((alert.cleared_ms or now_ms) - alert.raised_ms) / 1000
        since = clock_time(alert.raised_ms, farm.zone, now_ms)
        if alert.is_active:
            said.append(f"Raised {since}, {duration(max(lasted_s, 0))} ago.")
        elif alert.cleared_ms is not None:
            said.append(f"{since} to {clock_time(alert.cleared_ms, farm.zone, now_ms)}.")
    if alert.stale:
        said.append("Its sensor is silent now: this may be old.")
    if alert.state is AlertState.ACKNOWLEDGED and alert.acknowledged_ms is not None:
        at = clock_time(alert.acknowledged_ms, farm.zone, now_ms)
        said.insert(0, f"{contact_name(farm, alert.acknowledged_by)} has it since {at}.")
    return " ".join(said)


def contact_name(farm: Farm, contact_id: str | None) -> str:
    """A contact's name; whoever else it was, as it was said."""
    named = next((contact.name for contact in farm.contacts if contact.id == contact_id), None)
    return named or contact_id or "Somebody"


def caution(text: str) -> Component:
    """One calm line of safety, where it is needed."""
    return element("P", f"{text} {ADVICE_ONLY}", "caution")


def quiet(text: str) -> Component:
    """What stands where there is nothing to show."""
    return element("Div", element("P", text), "row")
