"""Tanks: each tank's contents over time, when it is full, and how old its sap is."""

from dataclasses import dataclass

from dash import Dash
from dash.development.base_component import Component

from dashboard import drawn
from dashboard.figures import Figure, Forecast, Frame, Mark, Trend, chart, frame
from dashboard.live import Content, keep, page, place
from dashboard.parts import (
    caution,
    chart_slot,
    element,
    figure_and_unit,
    head,
    quiet,
    row,
    window_picker,
)
from dashboard.sources import Sources
from dashboard.standing import Facts, facts, top_of
from dashboard.tank_rows import TankRow, level_to_m3, tank_row
from dashboard.tokens import series_token
from dashboard.trends import trend
from dashboard.windows import HOUR_MS, Window
from dashboard.words import (
    TANK_CAUTION,
    Headline,
    Top,
    alert_headline,
    belongs,
    nothing_heard,
    number,
)
from shared.estimates.picture import tank_view
from shared.farm import Farm
from shared.farm_parts import Sensor, Tank
from shared.readings import Quantity
from shared.store import Reader
from shared.units import from_si
from shared.words import clock_time

NAME = "tanks"
QUANTITIES = frozenset({Quantity.LEVEL, Quantity.SAP_TEMPERATURE})
FORECAST_SHOWN_FRACTION = 0.5
"""A forecast may take at most this share of the window's own length beyond now."""
DASHES = ("solid", "dash", "dot")


@dataclass(frozen=True, slots=True)
class View:
    """All that the page shows."""

    top: Top
    farm: Farm
    frame: Frame
    rows: tuple[TankRow, ...]
    points: dict[str, list[list[tuple[int, float | None]]]]
    """By tank: gallons by each of its level sensors."""


def load(sources: Sources, window: Window) -> View:
    """Ask the store and the picture."""
    known = facts(sources)
    farm, now_ms = sources.farm, known.now_ms
    views = sources.ask(lambda picture: [tank_view(picture, farm, tank.id, now_ms) for tank in farm.tanks])
    rows = tuple(tank_row(known, tank, view) for tank, view in zip(farm.tanks, views, strict=True))
    framed = frame(window, now_ms, farm.zone)
    return View(
        top_of(known, NAME, headline(known, rows)),
        farm,
        framed,
        rows,
        {
            tank.id: [
                _gallons(sources.reader, farm, sensor, tank, framed)
                for sensor in farm.sensors_of(Quantity.LEVEL, tank=tank.id)
            ]
            for tank in farm.tanks
        },
    )


def _gallons(
    reader: Reader, farm: Farm, sensor: Sensor, tank: Tank, framed: Frame
) -> list[tuple[int, float | None]]:
    # Volume rises with level, so the highest level of a bucket is its largest volume.
    return trend(reader, farm, sensor, framed, lambda level_m: from_si(level_to_m3(tank, level_m), "gal"))


def headline(known: Facts, rows: tuple[TankRow, ...]) -> Headline:
    """An alert's sentence, else which tank is the first to fill."""
    mine = [a for a in known.alerts if belongs(a, known.farm, QUANTITIES, tanks=True)]
    said = nothing_heard(known.heard_ms, known.now_ms, known.farm.zone) or alert_headline(mine, known.now_ms)
    if said is not None:
        return said
    if not rows:
        return Headline("No tank is watched.", "The farm file has no tank.")
    unknown = [row.name for row in rows if row.volume_gal is None]
    lead = f"Not known: {', '.join(unknown)}." if unknown else ""
    filling = [(row.fill.middle_s, row.name) for row in rows if row.fill is not None]
    if filling:
        left_s, name = min(filling)
        at = clock_time(known.now_ms + round(left_s * 1000), known.farm.zone, known.now_ms)
        return Headline(f"{name} is the first to fill, about {at}.", lead)
    if len(unknown) == len(rows):
        return Headline("No tank is watched now.", lead)
    return Headline("No tank is filling.", lead)


def content(view: View) -> Content:
    """What changes with the farm."""
    words: dict[str, list[Component]] = {"tanks-head": head(view.top.headline)}
    charts = {}
    for tank in view.rows:
        words[f"tanks-{tank.tank.id}"] = [_row(tank)]
        charts[f"tanks-{tank.tank.id}"] = _figure(view, tank)
    return Content(view.top, words, charts)


def layout(view: View) -> Component:
    """The whole page."""
    made = content(view)
    pieces = [
        element(
            "Section",
            [
                element("H2", _name(tank)),
                place(made, f"tanks-{tank.tank.id}"),
                chart_slot(
                    f"tanks-{tank.tank.id}",
                    f"Contents of {tank.name} over time, and when it may be full",
                    made.charts[f"tanks-{tank.tank.id}"],
                ),
            ],
            "piece",
        )
        for tank in view.rows
    ] or [quiet("No tank in the farm file.")]
    return page(
        NAME,
        view.frame.window,
        made,
        [
            place(made, "tanks-head"),
            window_picker(NAME, view.frame.window),
            element("Div", pieces, "columns"),
            element(
                "P",
                "Shaded: when it may be full, in 80 of 100 such fills. A freeze is not foreseen.",
                "soft note",
            ),
            caution(TANK_CAUTION),
        ],
    )


def connect(app: Dash, sources: Sources) -> None:
    """Keep an open page true."""
    keep(app, NAME, lambda window: content(load(sources, window)))


def _name(tank: TankRow) -> list[Component | str]:
    holds = tank.tank.holds.value
    return [tank.name] if holds == tank.tank.id else [f"{tank.name} ", element("Small", holds)]


def _row(tank: TankRow) -> Component:
    if tank.volume_gal is None or tank.full_fraction is None:
        return row("Contents", element("Span", tank.silence, "soft"), tank.notes)
    return row(
        f"{number(100 * tank.full_fraction)} % full",
        figure_and_unit(number(tank.volume_gal), f"of {number(tank.capacity_gal)} gal"),
        tank.notes,
        element(
            "Img",
            src=drawn.image_source(drawn.tank_bar(tank.full_fraction, is_filling=tank.fill is not None)),
            alt="",
        ),
    )


def _figure(view: View, tank: TankRow) -> Figure:
    all_points = view.points[tank.tank.id]
    label = "silent" if tank.volume_gal is None else number(tank.volume_gal)
    trends = [
        Trend(
            label if index == 0 else "",
            points,
            series_token(Quantity.LEVEL),
            DASHES[index % len(DASHES)],
            label_token="soft" if tank.volume_gal is None else "ink",
        )
        for index, points in enumerate(all_points)
    ]
    return chart(
        view.frame,
        trends,
        unit="gal",
        y_range=(0.0, tank.capacity_gal * 1.1),
        decimals=0,
        marks=[Mark(tank.capacity_gal, f"full {number(tank.capacity_gal)}", "solid")],
        forecast=_forecast(view.frame, tank),
    )


def _forecast(framed: Frame, tank: TankRow) -> Forecast | None:
    if tank.fill is None or tank.volume_gal is None:
        return None
    now_ms = framed.now_ms
    early_ms = now_ms + round(tank.fill.low_s * 1000)
    longest_ms = max(HOUR_MS, round(framed.window.span_ms * FORECAST_SHOWN_FRACTION))
    if early_ms - now_ms > longest_ms:
        return None
    late_ms = early_ms + longest_ms if tank.fill.high_s is None else now_ms + round(tank.fill.high_s * 1000)
    return Forecast(tank.volume_gal, tank.capacity_gal, early_ms, late_ms, now_ms + longest_ms)
