"""The vacuum along each line from the pump outward, its usual dotted where it fell; pure."""

from collections.abc import Sequence

from dashboard.figures import LEFT_PX, Figure, label, spread
from dashboard.spots import Spot, label_at, on_line, spot_ft, worst_tone
from dashboard.tokens import ref
from dashboard.words import Tone
from shared.farm import Farm
from shared.farm_parts import PUMP

PROFILE_PX = 150
LEAST_RANGE_INHG = 2.0
"""Less would make a gauge's scatter look like a slope."""


def _runs(farm: Farm, spots: Sequence[Spot]) -> list[tuple[Tone, list[Spot]]]:
    """The heard sensors of each line from the pump outward, with the pump's own in front."""
    heard = [spot for spot in spots if spot.vacuum_inhg is not None]
    pump = on_line(farm, PUMP, heard)[:1]
    runs = []
    for line in farm.lines:
        mine = on_line(farm, line.id, heard)
        if mine:
            runs.append((worst_tone(mine), [*pump, *mine]))
    return runs


def profiles(farm: Farm, spots: Sequence[Spot]) -> list[Figure]:
    """The lines on the second y axis, those that fell in front."""
    # Plotly draws no axis that nothing refers to.
    traces: list[Figure] = [{"type": "scatter", "x": [None], "y": [None], "yaxis": "y2"}]
    for tone, run in sorted(_runs(farm, spots), key=lambda item: item[0] is Tone.ACT):
        at_ft = [spot_ft(farm, spot) for spot in run]
        is_bad = tone in (Tone.ACT, Tone.MIND)
        common: Figure = {"type": "scatter", "mode": "lines", "yaxis": "y2", "hoverinfo": "skip"}
        if is_bad and all(spot.usual_inhg is not None for spot in run):
            traces.append(
                common
                | {
                    "x": at_ft,
                    "y": [spot.usual_inhg for spot in run],
                    "line": {"color": ref("soft"), "width": 1.4, "dash": "dot"},
                }
            )
        traces.append(
            common
            | {
                "x": at_ft,
                "y": [round(spot.vacuum_inhg or 0.0, 2) for spot in run],
                "line": {
                    "color": ref(tone.value if is_bad else "vacuum"),
                    "width": 2.4 if is_bad else 1.6,
                },
            }
        )
    return traces


def profile_labels(farm: Farm, spots: Sequence[Spot]) -> list[Figure]:
    """The names of lines that fell, at the ends of their profiles, moved apart where they would overprint."""
    runs = [(tone, run[-1]) for tone, run in _runs(farm, spots) if tone is not Tone.INK]
    low, high = profile_range(spots)
    wanted = [((spot.vacuum_inhg or low) - low) / (high - low) * PROFILE_PX for _, spot in runs]
    return [
        label_at(
            spot.sensor.line or "",
            spot_ft(farm, spot),
            spot.vacuum_inhg or low,
            tone.value,
            shift_px=(6, round(placed - wish, 1)),
        )
        | {"yref": "y2"}
        for (tone, spot), wish, placed in zip(runs, wanted, spread(wanted, 15.0), strict=True)
    ]


def profile_range(spots: Sequence[Spot]) -> list[float]:
    """An axis that holds what is and what is usual."""
    values = [v for spot in spots for v in (spot.vacuum_inhg, spot.usual_inhg) if v is not None]
    low, high = (min(values), max(values)) if values else (0.0, 28.0)
    return [min(low, high - LEAST_RANGE_INHG) - 0.4, high + 0.4]


def profile_unit(plot_px: int) -> Figure:
    """The unit at the top of the profile's axis."""
    return label("inHg", "soft") | {
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "xshift": 4 - LEFT_PX,
        "xanchor": "left",
        "y": PROFILE_PX / plot_px,
        "yshift": 4,
        "yanchor": "bottom",
    }
