"""The lines by distance from the pump, and under them the vacuum along each, on the same axis; pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from dashboard.figures import CHARACTER_PX, LEFT_PX, TEMPLATE, Figure
from dashboard.profile_figure import PROFILE_PX, profile_labels, profile_range, profile_unit, profiles
from dashboard.spots import Spot, distance_ft, label_at, on_line, spot_ft, worst_tone
from dashboard.tokens import ref
from dashboard.words import Tone, number
from shared.estimates.lines import Place
from shared.farm import Farm
from shared.farm_parts import PUMP, Line, LineKind

ROW_PX = 30
BETWEEN_PX = 44
BOTTOM_PX = 34
TOP_PX = 10
WIDTHS_PX = {LineKind.CONDUCTOR: 5.0, LineKind.MAINLINE: 2.4, LineKind.LATERAL: 1.4}
UNWATCHED_PX = 1.2
TICKS_FT = (100, 200, 500, 1000, 2000, 5000)
TICKS_COUNT = 4
"""More do not fit on a phone."""


@dataclass(frozen=True, slots=True)
class Walk:
    """The stretch of a line to walk first."""

    line: str
    from_m: float
    to_m: float


def lines_figure(farm: Farm, spots: Sequence[Spot], walk: Walk | None) -> Figure:
    """Conductor, mainlines and whatever else is watched, each on its own row below the one it joins."""
    watched = {spot.sensor.line for spot in spots}
    shown = [line for line in _in_order(farm) if line.kind is not LineKind.LATERAL or line.id in watched]
    rows = {PUMP: 0.0} | {line.id: float(-index) for index, line in enumerate(shown)}
    tree_px = ROW_PX * max(len(shown), 1)
    plot_px = tree_px + BETWEEN_PX + PROFILE_PX
    mine = {line.id: on_line(farm, line.id, spots) for line in shown}
    longest = max((len(_label_words(line, mine[line.id])) for line in shown), default=0)
    reach_ft = max((distance_ft(farm, Place(line.id, line.length_m)) for line in shown), default=100.0)
    data = [_drawn(farm, line, rows, mine[line.id]) for line in shown]
    annotations = [
        label_at("pump", 0.0, 0.0, "soft", shift_px=(0, 18)),
        profile_unit(plot_px),
        *(_end_label(farm, line, rows, mine[line.id]) for line in shown),
        *profile_labels(farm, spots),
    ]
    if walk is not None and walk.line in rows:
        data.append(_walked(farm, walk, rows))
        annotations.append(_walk_label(farm, walk, rows))
    data += [_dots(farm, spots, rows), *profiles(farm, spots)]
    step_ft = next((s for s in TICKS_FT if reach_ft / s <= TICKS_COUNT), TICKS_FT[-1])
    at_ft = [step_ft * i for i in range(ceil(reach_ft / step_ft) + 1) if step_ft * i <= reach_ft]
    return {
        "data": data,
        "layout": {
            "template": TEMPLATE,
            "height": plot_px + BOTTOM_PX + TOP_PX + ROW_PX,
            "margin": {
                "l": LEFT_PX,
                "r": round(16 + CHARACTER_PX * longest),
                "t": TOP_PX + ROW_PX,
                "b": BOTTOM_PX,
            },
            "xaxis": {
                "type": "linear",
                "range": [0, reach_ft],
                "anchor": "y2",
                "tickvals": at_ft,
                "ticktext": [f"{number(at)}{' ft' if at == at_ft[-1] else ''}" for at in at_ft],
            },
            "yaxis": {
                "visible": False,
                "range": [-max(len(shown) - 1, 0) - 0.5, 0.5],
                "domain": [1 - tree_px / plot_px, 1],
            },
            "yaxis2": {"domain": [0, PROFILE_PX / plot_px], "range": profile_range(spots)},
            "annotations": annotations,
        },
    }


def _in_order(farm: Farm) -> list[Line]:
    """Each line, then those that join it, the nearest to the pump first."""

    def below(parent: str) -> Iterable[Line]:
        for line in sorted((x for x in farm.lines if x.parent == parent), key=lambda x: x.joins_at_m):
            yield line
            yield from below(line.id)

    return list(below(PUMP))


def _drawn(farm: Farm, line: Line, rows: dict[str, float], mine: Sequence[Spot]) -> Figure:
    start_ft = distance_ft(farm, Place(line.id, 0.0))
    end_ft = distance_ft(farm, Place(line.id, line.length_m))
    row, parent_row = rows[line.id], rows.get(line.parent, 0.0)
    # Silent is drawn as unknown; a line that nobody planned to watch is thin and soft.
    is_silent = bool(mine) and all(spot.vacuum_inhg is None for spot in mine)
    is_planned = bool(mine) or line.kind is LineKind.CONDUCTOR
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [start_ft, start_ft, end_ft],
        "y": [parent_row, row, row],
        "line": {
            "color": ref(worst_tone(mine).value if is_planned and not is_silent else "soft"),
            "width": WIDTHS_PX[line.kind] if is_planned else UNWATCHED_PX,
            "dash": "3px,5px" if is_silent else "solid",
        },
        "hoverinfo": "skip",
    }


def _walked(farm: Farm, walk: Walk, rows: dict[str, float]) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [distance_ft(farm, Place(walk.line, at_m)) for at_m in (walk.from_m, walk.to_m)],
        "y": [rows[walk.line]] * 2,
        "line": {"color": ref("act"), "width": 7},
        "hoverinfo": "skip",
    }


def _walk_label(farm: Farm, walk: Walk, rows: dict[str, float]) -> Figure:
    at_ft = distance_ft(farm, Place(walk.line, walk.from_m))
    placed = label_at("walk here first", at_ft, rows[walk.line], "act", shift_px=(0, 14), is_bold=True)
    return placed | {"bgcolor": ref("paper")}


def _label_words(line: Line, mine: Sequence[Spot]) -> str:
    if not mine:
        return line.id
    last = mine[-1]
    if last.vacuum_inhg is None:
        return f"{line.id}, silent"
    fell_inhg = 0.0 if last.usual_inhg is None else last.usual_inhg - last.vacuum_inhg
    drop = f" ▼ {number(fell_inhg, 1)}" if last.tone in (Tone.ACT, Tone.MIND) else ""
    return f"{line.id} {number(last.vacuum_inhg, 1)}{drop}"


def _end_label(farm: Farm, line: Line, rows: dict[str, float], mine: Sequence[Spot]) -> Figure:
    tone = worst_tone(mine)
    is_known = any(spot.vacuum_inhg is not None for spot in mine)
    return label_at(
        _label_words(line, mine),
        distance_ft(farm, Place(line.id, line.length_m)),
        rows[line.id],
        tone.value if is_known else "soft",
        shift_px=(9, 0),
        is_bold=tone is Tone.ACT,
    )


def _dots(farm: Farm, spots: Sequence[Spot], rows: dict[str, float]) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [spot_ft(farm, spot) for spot in spots],
        "y": [rows.get(spot.sensor.line or PUMP, 0.0) for spot in spots],
        "marker": {
            "size": 11,
            "color": ref("paper"),
            "line": {
                "width": 2,
                "color": [ref("soft" if spot.vacuum_inhg is None else spot.tone.value) for spot in spots],
            },
        },
        "text": [
            f"{spot.sensor.id}: "
            + ("silent" if spot.vacuum_inhg is None else f"{number(spot.vacuum_inhg, 1)} inHg")
            for spot in spots
        ],
        "hovertemplate": "%{text}<extra></extra>",
        "cliponaxis": False,
    }
