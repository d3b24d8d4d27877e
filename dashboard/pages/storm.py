"""The woods after a storm: line by line before, during and after, where to walk first, and what it cost in sap."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

from dash import Dash
from dash.development.base_component import Component

from dashboard.live import Content, keep_shown, page, place
from dashboard.parts import STORM, caution, element, figure_and_unit, head, link, path_of, quiet, row
from dashboard.sources import Sources
from dashboard.standing import facts, top_of
from dashboard.storm_lines import storm_lines
from dashboard.words import WOODS_CAUTION, Headline, Note, Top, number
from shared.errors import InvalidArgument
from shared.estimates.storm import StormReview
from shared.estimates.suspects import Suspect
from shared.estimates.troubles import Outcome, Trouble
from shared.farm import Farm
from shared.hindsight import DAY_MS, HOUR_MS, review_as_typed
from shared.physics.contested import Contested
from shared.readings import Unknown
from shared.storm_words import (
    basis,
    gallons_band,
    happened,
    in_hundred,
    likeliest,
    place_words,
    span_words,
    told,
    torn,
)
from shared.typed_times import local_text
from shared.units import from_si
from shared.words import capitalised

NAME = "storm"
PARTS = ("storm-head", "storm-walk", "storm-lines", "storm-sap")
SUSPECTS_SHOWN = 4
LEAST_PROBABILITY = 0.03
LONGEST_TEXT = 40
PICKED_HOURS = 48
PRESETS = (("Last storm", ""), ("12 h", "12h"), ("24 h", "24h"), ("3 d", "3d"))
LEAST_GALLONS = 0.5


@dataclass(frozen=True, slots=True)
class Asked:
    """The time that somebody wants to see, as the address has it; empty: the last storm, until now."""

    from_text: str = ""
    to_text: str = ""

    @property
    def key(self) -> str:
        """As the open page remembers it."""
        return f"{self.from_text}~{self.to_text}"

    @property
    def query(self) -> str:
        """As an address has it."""
        return urlencode({k: v for k, v in (("from", self.from_text), ("to", self.to_text)) if v})


def asked(query: Mapping[str, object]) -> Asked:
    """What an address asks for; it may hold anything."""
    said = {name: value for name, value in query.items() if isinstance(value, str)}
    return Asked(said.get("from", "")[:LONGEST_TEXT], said.get("to", "")[:LONGEST_TEXT])


def asked_by_key(key: str | None) -> Asked:
    """What an open page remembers."""
    from_text, _, to_text = (key or "").partition("~")
    return Asked(from_text, to_text)


@dataclass(frozen=True, slots=True)
class View:
    """All that the page shows."""

    top: Top
    farm: Farm
    now_ms: int
    asked: Asked
    review: StormReview | None
    """None where the time that is asked for is none."""


def load(sources: Sources, wanted: Asked) -> View:
    """Ask the store; the review itself once a minute of farm time."""
    known, farm = facts(sources), sources.farm
    now_ms = known.now_ms

    def make() -> StormReview | str:
        try:
            return review_as_typed(sources.reader, farm, now_ms, wanted.from_text, wanted.to_text)
        except InvalidArgument as error:
            return f"{capitalised(str(error))}."

    found = sources.once_a_minute((NAME, wanted.key), make)
    if isinstance(found, str):
        return View(
            top_of(known, "woods", Headline("That time cannot be shown.", found)), farm, now_ms, wanted, None
        )
    first = told(farm, found)
    return View(top_of(known, "woods", Headline(first.sentence, first.lead)), farm, now_ms, wanted, found)


def content(view: View) -> Content:
    """What changes with the farm."""
    found = view.review
    said = [] if found is None else [_walk(view.farm, found), storm_lines(view.farm, found), _sap(found)]
    parts = [head(view.top.headline), *(said or [[], [], []])]
    return Content(view.top, dict(zip(PARTS, parts, strict=True)))


def layout(view: View) -> Component:
    """The whole page."""
    made = content(view)
    span = [] if view.review is None else [element("P", span_words(view.review, view.farm.zone), "soft")]
    return page(
        NAME,
        view.asked,
        made,
        [
            *span,
            place(made, "storm-head"),
            place(made, "storm-walk"),
            _picker(view),
            place(made, "storm-lines"),
            place(made, "storm-sap"),
            element("P", link("The lines as they are now", path_of("woods")), "note"),
            caution(WOODS_CAUTION),
        ],
    )


def connect(app: Dash, sources: Sources) -> None:
    """Keep an open page true."""
    keep_shown(app, NAME, lambda wanted: content(load(sources, wanted)), asked_by_key, PARTS)


def _picker(view: View) -> Component:
    """Presets as links, and two lists of hours: what a phone's own picker shows, with nothing to type."""
    links = [
        link(
            words,
            path_of(STORM) + (f"?{Asked(text).query}" if text else ""),
            is_current=view.asked == Asked(text),
        )
        for words, text in PRESETS
    ]
    hour_ms = view.now_ms - view.now_ms % HOUR_MS
    hours = [hour_ms - back * HOUR_MS for back in range(PICKED_HOURS)]
    begin_ms = view.now_ms - DAY_MS if view.review is None else view.review.from_ms
    end_ms = view.now_ms if view.review is None else view.review.to_ms
    form = element(
        "Form",
        [
            element("Label", ["From ", _hours(view.farm, "from", hours, begin_ms)]),
            element("Label", ["to ", _hours(view.farm, "to", hours, end_ms)]),
            element("Button", "Show", type="submit"),
        ],
        "pick",
        action=path_of(STORM),
        method="GET",
    )
    return element(
        "Div", [element("Div", links, "windows", role="group", aria_label="Which time is shown"), form]
    )


def _hours(farm: Farm, name: str, hours: list[int], shown_ms: int) -> Component:
    options = []
    for at_ms in sorted({*hours, shown_ms}, reverse=True):
        local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(farm.zone)
        words = f"{local:%a} {local.day} {local:%b} {local:%H:%M}"
        options.append(
            element("Option", words, value=local_text(at_ms, farm.zone), selected=at_ms == shown_ms)
        )
    return element("Select", options, name=name)


def _walk(farm: Farm, found: StormReview) -> list[Component]:
    parts: list[Component] = []
    for order, trouble in enumerate(found.troubles):
        # Of the first the sentence under the headline tells already.
        first = likeliest(trouble)
        go = "walk" if first is not None and first.cause.is_leak else "look"
        words = f"Where to {go}, the likeliest first" if order == 0 else happened(farm, trouble, found.to_ms)
        parts.append(element("H2", words))
        parts.extend(_places(farm, trouble))
    return parts


def _places(farm: Farm, trouble: Trouble) -> list[Component]:
    if isinstance(trouble.suspects, Unknown):
        return [quiet(f"Where is not known: {trouble.suspects.reason}.")]
    shown = [s for s in trouble.suspects if s.probability >= LEAST_PROBABILITY][:SUSPECTS_SHOWN]
    rows = []
    for suspect in shown:
        chance, unit = in_hundred(suspect).split(" ", 1)
        is_first = suspect is shown[0]
        notes = _notes(trouble, suspect, is_first=is_first)
        if is_first and (more := torn(farm, trouble)):
            notes.append(Note(more))
        rows.append(row(capitalised(place_words(suspect)), figure_and_unit(chance, unit), notes))
    return rows


def _notes(trouble: Trouble, suspect: Suspect, *, is_first: bool) -> list[Note]:
    # All suspects rest on the same drops: they are told once.
    notes = [Note(suspect.why)] if suspect.why and is_first else []
    if suspect.leak_m3_s is not None:
        low, high = (from_si(v, "CFM") for v in (suspect.leak_m3_s.low, suspect.leak_m3_s.high))
        notes.append(Note(f"{number(low, 1)} to {number(high, 1)} CFM"))
    if suspect.sap_lost_m3_day is not None and trouble.outcome is Outcome.DOWN:
        notes.append(Note(f"{gallons_band(suspect.sap_lost_m3_day)} of sap a day"))
    return notes


def _sap(found: StormReview) -> list[Component]:
    if found.sap_lost_m3 is None:
        return []
    rows = [_sap_row("So far, by less vacuum", found.sap_lost_m3)]
    if found.sap_lost_m3_day is not None:
        rows.append(_sap_row("A day, as it stands now", found.sap_lost_m3_day))
    return [element("H2", "Sap lost"), *rows, element("P", basis(found), "note")]


def _sap_row(name: str, lost_m3: Contested) -> Component:
    usual = from_si(lost_m3.usual, "gal")
    if from_si(lost_m3.high, "gal") < LEAST_GALLONS:
        return row(name, "hardly any")
    low, high = (number(from_si(value, "gal")) for value in (lost_m3.low, lost_m3.high))
    return row(name, figure_and_unit(number(usual), "gal"), [Note(f"{low} to {high} gal")])
