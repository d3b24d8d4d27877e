"""Where vacuum sensors sit on the picture of the lines, and how they stand; for tree and profile; pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.figures import Figure, label
from dashboard.words import Tone
from shared.estimates.lines import Place, distance_from_pump_m, place_of
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.units import from_si


@dataclass(frozen=True, slots=True)
class Spot:
    """A vacuum sensor on the picture; `vacuum_inhg` is None where it is silent."""

    sensor: Sensor
    vacuum_inhg: float | None
    usual_inhg: float | None
    tone: Tone


def distance_ft(farm: Farm, place: Place) -> float:
    """Feet of line between the pump and a place."""
    return from_si(distance_from_pump_m(farm, place), "ft")


def spot_ft(farm: Farm, spot: Spot) -> float:
    """Feet of line between the pump and a sensor."""
    return distance_ft(farm, place_of(farm, spot.sensor))


def on_line(farm: Farm, line: str, spots: Sequence[Spot]) -> list[Spot]:
    """The spots of one line, from the pump outward."""
    mine = [spot for spot in spots if spot.sensor.line == line]
    return sorted(mine, key=lambda spot: place_of(farm, spot.sensor).at_m)


def worst_tone(spots: Sequence[Spot]) -> Tone:
    """How loudly a line is drawn."""
    tones = {spot.tone for spot in spots}
    return next((tone for tone in (Tone.ACT, Tone.MIND) if tone in tones), Tone.INK)


def label_at(
    text: str,
    x: float,
    y: float,
    token: str,
    *,
    shift_px: tuple[float, float] = (0.0, 0.0),
    is_bold: bool = False,
) -> Figure:
    """A label that begins at a point of the chart, moved by pixels."""
    return label(text, token, is_bold=is_bold) | {
        "x": x,
        "y": y,
        "xanchor": "left",
        "xshift": shift_px[0],
        "yshift": shift_px[1],
    }
