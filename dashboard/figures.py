"""Readings to Plotly figures, pure: peaks kept, gaps open, the unit on top, each line named at its end.

Colours are written as `var(--name)`; the page's script puts the day's or the night's in before Plotly draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.tokens import CHART_PX, SANS, ref
from dashboard.windows import Window, local_ms, ticks

Figure = dict[str, Any]
Points = Sequence[tuple[int, float | None]]

HEIGHT_PX = 190
TOP_PX, BOTTOM_PX, LEFT_PX = 26, 40, 44
LABEL_GAP_PX = 16
"""Two labels nearer than this would overprint each other."""
CHARACTER_PX = 7.4
"""Width of a figure of the chart's type, and a little more."""

TEMPLATE: Figure = {
    "layout": {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": SANS, "size": CHART_PX, "color": ref("soft")},
        "showlegend": False,
        "dragmode": False,  # anything else traps the finger that scrolls the page
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": ref("paper"),
            "bordercolor": ref("rule"),
            "font": {"family": SANS, "size": CHART_PX, "color": ref("ink")},
        },
        "xaxis": {
            "type": "date",
            "showgrid": False,
            "zeroline": False,
            "linecolor": ref("rule"),
            "ticks": "outside",
            "ticklen": 5,
            "tickcolor": ref("rule"),
            "fixedrange": True,
        },
        "yaxis": {
            "gridcolor": ref("rule"),
            "gridwidth": 1,
            "zeroline": False,
            "nticks": 5,
            "fixedrange": True,
            "tickformat": ",",
        },
    }
}


@dataclass(frozen=True, slots=True)
class Trend:
    """One line: its points in the chart's unit, and what stands at its end."""

    label: str
    points: Points
    token: str
    dash: str = "solid"
    is_bold: bool = False
    label_token: str = "ink"  # noqa: S105 - the name of a colour


@dataclass(frozen=True, slots=True)
class Mark:
    """A level across the chart: dotted for its usual, a hairline for a limit."""

    value: float
    label: str
    dash: str = "dot"
    token: str = "soft"  # noqa: S105 - the name of a colour


@dataclass(frozen=True, slots=True)
class Forecast:
    """A band from now to where the target is reached, at the earliest and the latest; shown to `until_ms`."""

    value: float
    target: float
    early_ms: int
    late_ms: int
    until_ms: int


@dataclass(frozen=True, slots=True)
class Frame:
    """What all charts of a page share: the window, and where the farm's clock stands in it."""

    window: Window
    from_ms: int
    now_ms: int
    zone: ZoneInfo


def frame(window: Window, now_ms: int, zone: ZoneInfo) -> Frame:
    """The frame of that window at `now_ms`."""
    return Frame(window, window.from_ms(now_ms), now_ms, zone)


def chart(
    frame: Frame,
    trends: Sequence[Trend],
    *,
    unit: str,
    y_range: tuple[float, float],
    decimals: int = 1,
    marks: Sequence[Mark] = (),
    forecast: Forecast | None = None,
    events_ms: Sequence[int] = (),
    height_px: int = HEIGHT_PX,
) -> Figure:
    """Trends over the frame's window, as a figure dict."""
    until_ms = max(frame.now_ms, min(forecast.late_ms, forecast.until_ms) if forecast else 0)
    at_ms, words = ticks(frame.window, frame.from_ms, until_ms, frame.zone)
    right_px = 14 + CHARACTER_PX * max((len(trend.label) for trend in trends if _last(trend)), default=0)
    data = [_forecast_band(frame, forecast)] if forecast else []
    data += [_line(frame, trend, unit, decimals) for trend in trends]
    if events_ms:
        data.append(_events(frame, y_range[0], events_ms))
    return {
        "data": data,
        "layout": {
            "template": TEMPLATE,
            "height": height_px,
            "margin": {"l": LEFT_PX, "r": round(right_px), "t": TOP_PX, "b": BOTTOM_PX},
            "xaxis": {
                "range": [local_ms(frame.from_ms, frame.zone), local_ms(until_ms, frame.zone)],
                "tickvals": at_ms,
                "ticktext": words,
            },
            "yaxis": {"range": list(y_range)},
            "shapes": [_mark_shape(mark) for mark in marks],
            "annotations": [
                _unit_label(unit),
                *(_mark_label(mark, y_range) for mark in marks if mark.label),
                *_end_labels(frame, trends, y_range, height_px - TOP_PX - BOTTOM_PX, until_ms),
            ],
        },
    }


def _last(trend: Trend) -> tuple[int, float] | None:
    return next(((at_ms, v) for at_ms, v in reversed(trend.points) if v is not None), None)


def _line(frame: Frame, trend: Trend, unit: str, decimals: int) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": trend.label,
        "x": [local_ms(at_ms, frame.zone) for at_ms, _ in trend.points],
        "y": [None if value is None else round(value, decimals + 1) for _, value in trend.points],
        "connectgaps": False,
        "line": {"color": ref(trend.token), "width": 2.4 if trend.is_bold else 1.7, "dash": trend.dash},
        "hovertemplate": f"%{{y:,.{decimals}f}} {unit}, %{{x|%a %H:%M}}<extra></extra>",
    }


def _events(frame: Frame, bottom: float, events_ms: Sequence[int]) -> Figure:
    """Ticks that stand on the time axis."""
    shown = [at_ms for at_ms in events_ms if frame.from_ms <= at_ms <= frame.now_ms]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [local_ms(at_ms, frame.zone) for at_ms in shown],
        "y": [bottom] * len(shown),
        "marker": {
            "symbol": "line-ns-open",
            "size": 12,
            "color": ref("ink"),
            "line": {"width": 1.5, "color": ref("ink")},
        },
        "cliponaxis": False,
        "hovertemplate": "%{x|%H:%M}<extra></extra>",
    }


def _forecast_band(frame: Frame, forecast: Forecast) -> Figure:
    now, early, late = (
        local_ms(at_ms, frame.zone) for at_ms in (frame.now_ms, forecast.early_ms, forecast.late_ms)
    )
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [now, early, late, now],
        "y": [forecast.value, forecast.target, forecast.target, forecast.value],
        "fill": "toself",
        "fillcolor": ref("band"),
        "line": {"width": 0},
        "hoverinfo": "skip",
    }


def _mark_shape(mark: Mark) -> Figure:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": "y",
        "y0": mark.value,
        "y1": mark.value,
        "layer": "below",
        "line": {"color": ref(mark.token), "width": 1.2, "dash": mark.dash},
    }


def _mark_label(mark: Mark, y_range: tuple[float, float]) -> Figure:
    # A label over a line at the very top would leave the picture.
    is_high = mark.value > y_range[1] - 0.15 * (y_range[1] - y_range[0])
    return label(mark.label, mark.token) | {
        "xref": "paper",
        "x": 0.01,
        "xanchor": "left",
        "y": mark.value,
        "yanchor": "top" if is_high else "bottom",
    }


def _unit_label(unit: str) -> Figure:
    return label(unit, "soft") | {
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "xshift": -LEFT_PX + 4,
        "xanchor": "left",
        "y": 1,
        "yshift": 4,
        "yanchor": "bottom",
    }


def label(text: str, token: str, *, is_bold: bool = False) -> Figure:
    """An annotation without an arrow, in a token's colour."""
    # A weight, not <b>: Plotly writes that as a style attribute, which the content security policy forbids.
    weight = "bold" if is_bold else "normal"
    return {
        "text": text,
        "showarrow": False,
        "font": {"color": ref(token), "size": CHART_PX, "weight": weight},
    }


def _end_labels(
    frame: Frame, trends: Sequence[Trend], y_range: tuple[float, float], plot_px: float, until_ms: int
) -> list[Figure]:
    ends = [(trend, end) for trend in trends if trend.label and (end := _last(trend)) is not None]
    pixel = plot_px / (y_range[1] - y_range[0])
    wanted = [(end[1] - y_range[0]) * pixel for _, end in ends]
    return [
        label(trend.label, trend.label_token, is_bold=trend.is_bold)
        | {
            # Plotly hides a label whose place has left the picture, as a reading newer than the page would.
            "x": local_ms(min(end[0], until_ms), frame.zone),
            "y": min(max(end[1], y_range[0]), y_range[1]),
            "xanchor": "left",
            "xshift": 6,
            "yshift": round(placed - wish, 1),
        }
        for (trend, end), wish, placed in zip(ends, wanted, spread(wanted, LABEL_GAP_PX), strict=True)
    ]


def spread(wanted: Sequence[float], gap: float) -> list[float]:
    """Places at least `gap` apart, in the same order; those that would touch stand around their middle.

    >>> spread([10.0, 12.0], 16.0)
    [3.0, 19.0]
    """
    groups: list[list[int]] = []
    order = sorted(range(len(wanted)), key=wanted.__getitem__)

    def middle(group: list[int]) -> float:
        return sum(wanted[i] for i in group) / len(group)

    for index in order:
        groups.append([index])
        while len(groups) > 1 and middle(groups[-1]) - middle(groups[-2]) < gap * (
            (len(groups[-1]) + len(groups[-2])) / 2
        ):
            groups[-2:] = [groups[-2] + groups[-1]]
    placed = [0.0] * len(wanted)
    for group in groups:
        start = middle(group) - gap * (len(group) - 1) / 2
        for step, index in enumerate(group):
            placed[index] = start + step * gap
    return placed
