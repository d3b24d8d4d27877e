"""Woods: the lines by distance from the pump, where to walk first, and each line against its usual."""

from dataclasses import dataclass

from dash import Dash
from dash.development.base_component import Component

from dashboard.figures import Figure, Frame, Mark, Trend, chart, frame
from dashboard.lines_figure import Walk, lines_figure
from dashboard.live import Content, keep, page, place
from dashboard.parts import (
    STORM,
    caution,
    chart_slot,
    element,
    figure_and_unit,
    head,
    link,
    path_of,
    row,
    window_picker,
)
from dashboard.sources import Sources
from dashboard.spots import Spot
from dashboard.standing import PUMP_OFF, Facts, VacuumRow, by_line, facts, top_of, vacuum_row
from dashboard.tokens import series_token
from dashboard.trends import heard_values, in_unit, trend
from dashboard.windows import Window, extent
from dashboard.words import (
    WOODS_CAUTION,
    Headline,
    Note,
    Tone,
    Top,
    alert_headline,
    belongs,
    nothing_heard,
    number,
)
from shared.estimates.picture import vacuum_view
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.woods_views import suspects
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.readings import Quantity, Unknown
from shared.units import from_si
from shared.words import capitalised, clock_time

NAME = "woods"
LEAST_RANGE_INHG = 4.0
"""A chart narrower than this would show a releaser's dumps as if they were news."""
EMPTY_AXIS_INHG = [0.0, 28.0]
SUSPECTS_SHOWN = 4
LEAST_PROBABILITY = 0.03
QUANTITIES = frozenset({Quantity.VACUUM})
DASHES = ("solid", "dash", "dot", "dashdot")


@dataclass(frozen=True, slots=True)
class View:
    """All that the page shows."""

    top: Top
    farm: Farm
    now_ms: int
    frame: Frame
    rows: tuple[VacuumRow, ...]
    points: dict[str, list[tuple[int, float | None]]]
    suspects: tuple[Suspect, ...]


def load(sources: Sources, window: Window) -> View:
    """Ask the store and the picture."""
    known = facts(sources)
    farm, now_ms = sources.farm, known.now_ms
    sensors = farm.sensors_of(Quantity.VACUUM)
    drops, found = sources.ask(
        lambda picture: (
            {sensor.id: vacuum_view(picture, sensor.id, now_ms) for sensor in sensors},
            suspects(picture, farm, now_ms),
        )
    )
    rows = tuple(vacuum_row(known, sensor, drops[sensor.id]) for sensor in sensors)
    framed = frame(window, now_ms, farm.zone)
    has_drop = any(vacuum.tone in (Tone.ACT, Tone.MIND) for vacuum in rows)
    return View(
        top_of(known, NAME, headline(known, rows)),
        farm,
        now_ms,
        framed,
        rows,
        {s.id: trend(sources.reader, farm, s, framed, in_unit("inHg")) for s in sensors},
        _worth_a_walk(found) if has_drop else (),
    )


def _worth_a_walk(found: tuple[Suspect, ...] | Unknown) -> tuple[Suspect, ...]:
    if isinstance(found, Unknown):
        return ()
    likely = [s for s in found if s.probability >= LEAST_PROBABILITY and s.cause is not Cause.NOTHING]
    return tuple(likely[:SUSPECTS_SHOWN])


def headline(known: Facts, rows: tuple[VacuumRow, ...]) -> Headline:
    """An alert's sentence, else how the lines hold."""
    mine = [a for a in known.alerts if belongs(a, known.farm, QUANTITIES)]
    said = nothing_heard(known.heard_ms, known.now_ms, known.farm.zone) or alert_headline(mine, known.now_ms)
    if said is not None:
        return said
    heard = [vacuum for vacuum in rows if vacuum.vacuum_inhg is not None]
    silent = len(rows) - len(heard)
    lead = f"{silent} of {len(rows)} vacuum sensors are silent: nothing is known there." if silent else ""
    return Headline(_state_words(heard), lead if rows else "The farm file has no vacuum sensor.")


def _state_words(heard: list[VacuumRow]) -> str:
    low = [vacuum for vacuum in heard if vacuum.tone in (Tone.ACT, Tone.MIND)]
    if not heard:
        return "No line is watched now."
    if low:
        names = ", ".join(dict.fromkeys(vacuum.sensor.line or "" for vacuum in low))
        return f"Have a look at {names}: below its usual."
    if all(vacuum.usual_inhg is None for vacuum in heard):
        return "The lines' usual is still being learnt."
    if any(note.text == PUMP_OFF for vacuum in heard for note in vacuum.notes):
        return "The pump is off."
    return "Every line that is watched holds its usual."


def content(view: View) -> Content:
    """What changes with the farm."""
    lines = by_line(view.rows)
    words: dict[str, list[Component]] = {"woods-head": head(view.top.headline), "woods-walk": _walk(view)}
    charts = {"woods-lines": _lines(view)}
    y_range = extent(heard_values(view.points.values()) or EMPTY_AXIS_INHG, LEAST_RANGE_INHG)
    for line, rows in lines.items():
        words[f"woods-{line}"] = [_row(vacuum) for vacuum in rows]
        charts[f"woods-{line}"] = _figure(view, rows, y_range)
    return Content(view.top, words, charts)


def layout(view: View) -> Component:
    """The whole page."""
    made = content(view)
    pieces = [
        element(
            "Section",
            [
                element("H2", "Pump" if line == PUMP else capitalised(line)),
                place(made, f"woods-{line}"),
                chart_slot(f"woods-{line}", f"Vacuum of {line}", made.charts[f"woods-{line}"]),
            ],
            "piece",
        )
        for line in by_line(view.rows)
    ]
    picture = made.charts["woods-lines"]
    return page(
        NAME,
        view.frame.window,
        made,
        [
            place(made, "woods-head"),
            chart_slot(
                "woods-lines",
                "The lines by distance from the pump, and the vacuum along them",
                picture,
                picture["layout"]["height"],
            ),
            element(
                "P",
                "Distance from the pump runs left to right in both pictures. Dashed: silent. Thin: not"
                " watched. Dots: its usual. A leak is uphill of the last sensor that holds.",
                "soft note",
            ),
            place(made, "woods-walk"),
            element(
                "P", link("After a storm: before, during and after, line by line", path_of(STORM)), "note"
            ),
            window_picker(NAME, view.frame.window),
            element("Div", pieces, "columns"),
            caution(WOODS_CAUTION),
        ],
    )


def connect(app: Dash, sources: Sources) -> None:
    """Keep an open page true."""
    keep(app, NAME, lambda window: content(load(sources, window)))


def _row(vacuum: VacuumRow) -> Component:
    value = (
        element("Span", "unknown", "soft")
        if vacuum.vacuum_inhg is None
        else figure_and_unit(number(vacuum.vacuum_inhg, 1), "inHg")
    )
    return row("At the releaser" if vacuum.end == "pump" else capitalised(vacuum.end), value, vacuum.notes)


def _lines(view: View) -> Figure:
    spots = [Spot(r.sensor, r.vacuum_inhg, r.usual_inhg, r.tone) for r in view.rows]
    first = view.suspects[0] if view.suspects else None
    is_line = first is not None and first.line in view.farm.line_by_id
    walk = Walk(first.line, first.from_m, first.to_m) if first is not None and is_line else None
    return lines_figure(view.farm, spots, walk)


def _figure(view: View, rows: list[VacuumRow], y_range: tuple[float, float]) -> Figure:
    trends, marks = [], []
    # The far end tells most: it is drawn solid, its neighbours by dashes.
    for vacuum, dash in zip(reversed(rows), DASHES * len(rows), strict=False):
        points = view.points[vacuum.sensor.id]
        end = "" if vacuum.end == "pump" else f"{vacuum.end.removesuffix(' end')} "
        value = "silent" if vacuum.vacuum_inhg is None else number(vacuum.vacuum_inhg, 1)
        trends.append(
            Trend(
                f"{end}{value}",
                points,
                series_token(Quantity.VACUUM),
                dash,
                is_bold=vacuum.tone is Tone.ACT,
                label_token="soft" if vacuum.vacuum_inhg is None else vacuum.tone.value,
            )
        )
    if rows and rows[-1].usual_inhg is not None:
        marks.append(Mark(rows[-1].usual_inhg, ""))
    return chart(view.frame, trends, unit="inHg", y_range=y_range, marks=marks)


def _walk(view: View) -> list[Component]:
    if not view.suspects:
        return []
    entries = []
    for suspect in view.suspects:
        lost = suspect.sap_lost_m3_day
        # All suspects rest on the same drops: they are told once.
        notes = [Note(suspect.why)] if suspect.why and suspect is view.suspects[0] else []
        if suspect.leak_m3_s is not None:
            low, high = (from_si(v, "CFM") for v in (suspect.leak_m3_s.low, suspect.leak_m3_s.high))
            notes.append(Note(f"{number(low, 1)} to {number(high, 1)} CFM"))
        if lost is not None:
            least, most = (number(from_si(v, "gal")) for v in (lost.low, lost.high))
            notes.append(Note(f"{least} to {most} gal of sap a day"))
        if suspect.onset_ms is not None:
            notes.append(Note(f"since {clock_time(suspect.onset_ms, view.farm.zone, view.now_ms)}"))
        entries.append(
            row(
                capitalised(suspect.where),
                figure_and_unit(number(min(99.0, 100 * suspect.probability)), "in 100"),
                notes,
            )
        )
    return [element("H2", "Where to walk, the likeliest first"), *entries]
