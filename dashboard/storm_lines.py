"""A storm line by line, as a table that fits a phone: before, during and after, and under them what is to be said."""

from dash.development.base_component import Component

from dashboard.parts import element
from dashboard.words import Tone, number, place_name
from shared.estimates.falls import Instant
from shared.estimates.storm import StormReview
from shared.estimates.storm_rows import SensorReview, Stand
from shared.estimates.suspects import Cause
from shared.estimates.troubles import Outcome
from shared.farm import Farm
from shared.storm_words import GAP_MS, LEAST_GALLONS, gallons_band, likeliest
from shared.units import INHG_PA, from_si
from shared.words import clock_time

NEWS_PA = 0.5 * INHG_PA
"""A lowest that is hardly lower than the middle of the fall says nothing new."""


def storm_lines(farm: Farm, found: StormReview) -> list[Component]:
    """Heading and table, outwards from the pump."""
    heads = [element("Th", "Line"), *(element("Th", words, "n") for words in ("Before", "During", "After"))]
    tones = tones_of(farm, found)
    body = [cells for row in found.sensors for cells in _row(farm, row, tones[row.sensor], found.to_ms)]
    table = element("Table", [element("Thead", element("Tr", heads)), element("Tbody", body)], "storm")
    return [element("H2", ["Line by line ", element("Small", "vacuum in inHg")]), table]


def tones_of(farm: Farm, found: StormReview) -> dict[str, Tone]:
    """By sensor: colour only where somebody must go, or look; what else is down is down because of that."""
    hidden = (Stand.UNKNOWN, Stand.FROZEN, Stand.PUMP_OFF)
    tones = {row.sensor: Tone.SOFT if row.stand in hidden else Tone.INK for row in found.sensors}
    down = {row.sensor: row.place.line for row in found.sensors if row.stand is Stand.DOWN}
    for trouble in found.troubles:
        first = likeliest(trouble)
        if trouble.outcome is not Outcome.DOWN or first is None:
            continue
        hit = trouble.sensors[0]
        if first.cause is Cause.SENSOR and hit in down:
            tones[hit] = Tone.MIND
        elif first.cause.is_leak or first.cause is Cause.PUMP:
            lines = {first.line} if first.cause is Cause.PUMP else {first.line, farm.sensor_by_id[hit].line}
            tones |= {name: Tone.ACT for name, line in down.items() if line in lines}
    return tones


def _row(farm: Farm, row: SensorReview, tone: Tone, end_ms: int) -> list[Component]:
    after = "unknown" if row.stand is Stand.UNKNOWN else _inhg(row.after_pa)
    cells = [
        element("Td", element("B", place_name(farm, farm.sensor_by_id[row.sensor]))),
        element("Td", _inhg(row.before_pa), "n"),
        element("Td", _inhg(row.during_pa), "n"),
        element("Td", after, f"n {tone.value}"),
    ]
    said = _said(farm, row, end_ms)
    if not said:
        return [element("Tr", cells)]
    # Under the figures there is room for a whole line, on a phone too.
    return [element("Tr", cells, "told"), element("Tr", element("Td", said, "said", colSpan="4"))]


def _said(farm: Farm, row: SensorReview, end_ms: int) -> str:
    """`▼ 6.5 · fell 02:10 · lowest 14.1 · lost 7 gal (4 to 11)`, in one string."""
    said = []
    if row.stand is Stand.DOWN and row.change_pa is not None:
        said.append(f"▼ {number(from_si(-row.change_pa, 'inHg'), 1)}")
    if row.onset is not None:
        fell = f"{'froze' if row.in_frost else 'fell'} {_clock(farm, row.onset, end_ms)}"
        if row.stand is Stand.BACK and row.recovered is not None:
            fell += f", back {clock_time(row.recovered.at_ms, farm.zone, end_ms)}"
        said.append(fell)
        if row.worst_pa is not None and row.worst_pa < (row.during_pa or 0.0) - NEWS_PA and not row.in_frost:
            said.append(f"lowest {_inhg(row.worst_pa)}")
    if row.stand in (Stand.FROZEN, Stand.PUMP_OFF):
        said.append(row.stand.value)
    if row.unknown:
        said.append(row.unknown)
    if row.sap_lost_m3 is not None and from_si(row.sap_lost_m3.usual, "gal") >= LEAST_GALLONS:
        said.append(f"lost {gallons_band(row.sap_lost_m3)}")
    return " · ".join(said)


def _clock(farm: Farm, at: Instant, end_ms: int) -> str:
    said = clock_time(at.at_ms, farm.zone, end_ms)
    if at.at_ms - at.heard_before_ms <= GAP_MS:
        return said
    return f"between {clock_time(at.heard_before_ms, farm.zone, end_ms)} and {said}"


def _inhg(pressure_pa: float | None) -> str:
    return "" if pressure_pa is None else number(max(0.0, from_si(pressure_pa, "inHg")), 1)
