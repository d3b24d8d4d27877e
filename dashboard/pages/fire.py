"""Fire: the stack's temperature with its firings, its limits and its usual, and what the fire does now."""

from dataclasses import dataclass

from dash import Dash
from dash.development.base_component import Component

from dashboard.figures import Figure, Frame, Mark, Trend, chart, frame
from dashboard.live import Content, keep, page, place
from dashboard.parts import caution, chart_slot, element, figure_and_unit, head, quiet, row, window_picker
from dashboard.sources import Sources
from dashboard.standing import Facts, FireRow, facts, fire_row, top_of
from dashboard.tokens import series_token
from dashboard.trends import heard_values, in_unit, trend
from dashboard.windows import Window, extent
from dashboard.words import (
    FIRE_CAUTION,
    Headline,
    Note,
    Tone,
    Top,
    alert_headline,
    belongs,
    nothing_heard,
    number,
)
from shared.estimates.fire import Fire
from shared.estimates.fire_boil import CREOSOTE_C
from shared.estimates.picture import fire_view
from shared.readings import Quantity, Unknown
from shared.units import from_si
from shared.words import duration

NAME = "fire"
CHART_PX = 320
LEAST_RANGE_F = 400.0
"""Less would make a cold stack's drift look like a fire."""
QUANTITIES = frozenset({Quantity.STACK_TEMPERATURE, Quantity.PAN_TEMPERATURE})


@dataclass(frozen=True, slots=True)
class View:
    """All that the page shows."""

    top: Top
    frame: Frame
    row: FireRow
    fire: Fire | None
    limit_f: float | None
    points: list[tuple[int, float | None]]
    has_stack: bool


def load(sources: Sources, window: Window) -> View:
    """Ask the store."""
    known = facts(sources)
    farm = sources.farm
    burning = sources.ask(lambda picture: fire_view(picture, farm, known.now_ms))
    row = fire_row(known, burning)
    stacks = farm.sensors_of(Quantity.STACK_TEMPERATURE)
    framed = frame(window, known.now_ms, farm.zone)
    return View(
        top_of(known, NAME, headline(known, row)),
        framed,
        row,
        None if isinstance(burning, Unknown) else burning,
        from_si(farm.evaporator.over_fire_c, "degF") if farm.evaporator is not None else None,
        trend(sources.reader, farm, stacks[0], framed, in_unit("degF")) if stacks else [],
        bool(stacks),
    )


def headline(known: Facts, row: FireRow) -> Headline:
    """An alert's sentence, else what the fire does."""
    mine = [a for a in known.alerts if belongs(a, known.farm, QUANTITIES)]
    return (
        nothing_heard(known.heard_ms, known.now_ms, known.farm.zone)
        or alert_headline(mine, known.now_ms)
        or Headline(row.sentence)
    )


def content(view: View) -> Content:
    """What changes with the farm."""
    return Content(
        view.top,
        {"fire-head": head(view.top.headline), "fire-now": _now(view)},
        {"fire-stack": _figure(view)},
    )


def layout(view: View) -> Component:
    """The whole page."""
    made = content(view)
    return page(
        NAME,
        view.frame.window,
        made,
        [
            place(made, "fire-head"),
            window_picker(NAME, view.frame.window),
            chart_slot(
                "fire-stack",
                "Stack temperature with its limit, and a tick at each firing",
                made.charts["fire-stack"],
                CHART_PX,
            ),
            element(
                "P",
                "A tick at the bottom: the door was opened to fire. Dots, while it burns: this boil's usual.",
                "soft note",
            ),
            element("H2", "The boil"),
            place(made, "fire-now"),
            caution(FIRE_CAUTION),
        ],
    )


def connect(app: Dash, sources: Sources) -> None:
    """Keep an open page true."""
    keep(app, NAME, lambda window: content(load(sources, window)))


def _now(view: View) -> list[Component]:
    value = (
        element("Span", "unknown", "soft")
        if view.row.stack_f is None
        else figure_and_unit(number(view.row.stack_f), "°F")
    )
    if not view.has_stack:
        return [quiet("No stack sensor in the farm file: the fire is not watched.")]
    rows = [row("Stack", value, view.row.notes)]
    fire = view.fire
    if fire is not None and fire.boil_s > 0:
        rows.append(row("Boil" if fire.is_lit else "Last boil", duration(fire.boil_s), _boil_notes(fire)))
    return rows


def _boil_notes(fire: Fire) -> list[Note]:
    notes = [Note(f"above {number(from_si(CREOSOTE_C, 'degF'))} °F for {duration(fire.above_creosote_s)}")]
    if fire.usual is not None:
        low, peak = (number(from_si(t_c, "degF")) for t_c in (fire.usual.low_c, fire.usual.peak_c))
        notes.append(Note(f"usual between firings {low} to {peak} °F"))
    if fire.evenness_ratio is not None and fire.firings_complete:
        # 0.1 is even, 0.4 is not (see shared.estimates.fire).
        is_even = fire.evenness_ratio <= 0.25  # noqa: PLR2004
        notes.append(Note("fired evenly" if is_even else "fired unevenly", Tone.SOFT))
    return notes


def _figure(view: View) -> Figure:
    creosote_f = from_si(CREOSOTE_C, "degF")
    marks = [Mark(creosote_f, f"creosote forms below {number(creosote_f)}", "solid")]
    if view.limit_f is not None:
        is_over = view.fire is not None and view.fire.over_fire is not None
        marks.append(
            Mark(view.limit_f, f"limit {number(view.limit_f)}", "solid", "act" if is_over else "soft")
        )
    if view.fire is not None and view.fire.is_lit and view.fire.usual is not None:
        low_f, peak_f = (from_si(t_c, "degF") for t_c in (view.fire.usual.low_c, view.fire.usual.peak_c))
        marks += [Mark(peak_f, f"usual {number(low_f)} to {number(peak_f)}"), Mark(low_f, "")]
    values = heard_values([view.points])
    last = values[-1] if values else None
    is_silent = view.row.stack_f is None
    label = "" if last is None else "silent" if is_silent else f"{number(last)} °F"
    low, high = extent([*values, 0.0, view.limit_f or LEAST_RANGE_F], LEAST_RANGE_F)
    return chart(
        view.frame,
        [
            Trend(
                label,
                view.points,
                series_token(Quantity.STACK_TEMPERATURE),
                label_token="soft" if is_silent else "ink",
            )
        ],
        unit="°F",
        y_range=(max(low, -40.0), high),
        decimals=0,
        marks=marks,
        events_ms=view.fire.firings_ms if view.fire is not None else (),
        height_px=CHART_PX,
    )
