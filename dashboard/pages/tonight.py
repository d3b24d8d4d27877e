"""Tonight: may I sleep? What asks, then each tank, the vacuum, the fire, and what is not watched."""

from dash import Dash
from dash.development.base_component import Component

from dashboard import drawn
from dashboard.live import Content, keep, page, place
from dashboard.night import NAME, Night, age_words, night, steady_names, steady_words
from dashboard.parts import (
    asking_block,
    caution,
    element,
    figure_and_unit,
    head,
    link,
    path_of,
    quiet,
    row,
)
from dashboard.sources import Sources
from dashboard.tank_rows import TankRow
from dashboard.windows import DEFAULT, Window
from dashboard.words import Note, Tone, number
from shared.alerts import Alert
from shared.estimates.brief_words import Line


def load(sources: Sources, window: Window) -> Night:
    """Ask the store and the picture; the pictures here have a window of their own."""
    del window
    return night(sources)


def content(view: Night) -> Content:
    """What changes with the farm."""
    return Content(
        view.top,
        {
            "tonight-head": _head(view),
            "tonight-before": [_before(line) for line in view.before_morning],
            "tonight-tanks": [_tank(tank) for tank in view.tanks] or [quiet("No tank in the farm file.")],
            "tonight-vacuum": _vacuum(view),
            "tonight-fire": _fire(view),
            "tonight-unwatched": _unwatched(view),
            "tonight-age": [element("P", age_words(view), "soft note")],
        },
    )


def layout(view: Night) -> Component:
    """The whole page."""
    made = content(view)
    left = [
        element("H2", "Before morning"),
        place(made, "tonight-before"),
        element("H2", "Tanks"),
        place(made, "tonight-tanks"),
        element("H2", "Fire"),
        place(made, "tonight-fire"),
    ]
    right = [
        element("H2", ["Vacuum, last 12 h ", element("Small", "(dots: its usual)")]),
        place(made, "tonight-vacuum"),
        element("H2", "Not watched"),
        place(made, "tonight-unwatched"),
    ]
    return page(
        NAME,
        DEFAULT,
        made,
        [
            place(made, "tonight-head"),
            element("Div", [element("Div", left), element("Div", right)], "columns"),
            place(made, "tonight-age"),
            element("P", element("A", "The plain page, for a weak link", href="/"), "soft note"),
            caution("In an emergency call for help first."),
        ],
    )


def connect(app: Dash, sources: Sources) -> None:
    """Keep an open page true."""
    keep(app, NAME, lambda window: content(load(sources, window)))


def _head(view: Night) -> list[Component]:
    if not view.asks or view.top.headline.sentence != view.asks[0].sentence:
        return [*head(view.top.headline), *(_block(alert, view, "H2") for alert in view.asks)]
    first, *others = view.asks
    return [_block(first, view, "H1"), *(_block(alert, view, "H2") for alert in others)]


def _block(alert: Alert, view: Night, heading: str) -> Component:
    return asking_block(alert, view.farm, view.now_ms, path_of(NAME), heading=heading)


def _before(line: Line) -> Component:
    tone = Tone.ACT if line.asks else Tone.INK if line.is_known else Tone.SOFT
    return row(line.name, element("Span", line.value, tone.value), [Note(note) for note in line.notes])


def _tank(tank: TankRow) -> Component:
    name = link(tank.name, path_of("tanks"))
    if tank.volume_gal is None or tank.full_fraction is None:
        return row(name, element("Span", tank.silence, "soft"), tank.notes)
    return row(
        name,
        figure_and_unit(number(tank.volume_gal), f"of {number(tank.capacity_gal)} gal"),
        tank.notes,
        element(
            "Img",
            src=drawn.image_source(drawn.tank_bar(tank.full_fraction, is_filling=tank.fill is not None)),
            alt=f"{number(100 * tank.full_fraction)} percent full",
        ),
    )


def _vacuum(view: Night) -> list[Component]:
    rows = [
        row(
            link(vacuum.name, path_of("woods")),
            figure_and_unit(number(vacuum.vacuum_inhg or 0.0, 1), "inHg"),
            vacuum.notes,
            element(
                "Img",
                src=drawn.image_source(view.pictures[vacuum.sensor.id]),
                alt=f"the last 12 hours at {vacuum.name}",
            ),
        )
        for vacuum in view.vacuum
    ]
    if view.steady:
        rows.append(row(steady_names(view.steady), "", [Note(steady_words(view.steady))]))
    return rows or [quiet("No vacuum sensor is heard.")]


def _fire(view: Night) -> list[Component]:
    fire = view.fire
    value = (
        element("Span", "unknown", "soft")
        if fire.stack_f is None
        else figure_and_unit(number(fire.stack_f), "°F")
    )
    tone = fire.tone if fire.tone in (Tone.ACT, Tone.MIND) else Tone.SOFT
    return [row(link("Stack", path_of("fire")), value, [Note(fire.sentence.rstrip("."), tone), *fire.notes])]


def _unwatched(view: Night) -> list[Component]:
    return [
        row(
            item.name,
            element("Span", item.silence, "soft"),
            [Note(item.consequence)] if item.consequence else [],
        )
        for item in view.unwatched
    ] or [quiet("Every sensor in the farm file speaks.")]
