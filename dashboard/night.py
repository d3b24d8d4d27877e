"""The night at a glance, for the page Tonight and the plain page alike: what asks, and how all stands."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dashboard import drawn
from dashboard.figures import Frame
from dashboard.sources import Sources
from dashboard.standing import (
    Facts,
    FireRow,
    Unwatched,
    VacuumRow,
    facts,
    fire_row,
    top_of,
    unwatched,
    vacuum_row,
)
from dashboard.tank_rows import TankRow, tank_row
from dashboard.trends import heard_values, in_unit, trend
from dashboard.windows import HOUR_MS, MINUTE_MS, Window, extent
from dashboard.words import Headline, Tone, Top, alert_headline, asking, nothing_heard, number
from shared.alerts import Alert
from shared.estimates.brief import NightBrief, night_brief
from shared.estimates.brief_words import Line, frost_line, gap_line, proof_line, start_lines, verdict
from shared.estimates.picture import fire_view, vacuum_view
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.readings import Quantity
from shared.store import Reader
from shared.units import from_si
from shared.words import duration

NAME = "tonight"
SPARK = Window("12h", "12 h", "the last 12 hours", 12 * HOUR_MS, 15 * MINUTE_MS, 6 * HOUR_MS)
"""48 buckets: the plain page shows the same line in a few hundred bytes."""
LEAST_RANGE_INHG = 4.0
TEXTS_LOOKED_AT = 50
"""Of the outbox, to see whether any was taken today."""


@dataclass(frozen=True, slots=True)
class Night:
    """All that is shown."""

    top: Top
    farm: Farm
    now_ms: int
    heard_ms: int | None
    asks: tuple[Alert, ...]
    before_morning: tuple[Line, ...]
    """Latest starts, frost, and whether texts go out, as the night brief says them."""
    tanks: tuple[TankRow, ...]
    vacuum: tuple[VacuumRow, ...]
    steady: tuple[VacuumRow, ...]
    """Vacuum sensors that hold their usual: said in one line."""
    pictures: dict[str, str]
    """By sensor: its last 12 hours, drawn."""
    fire: FireRow
    unwatched: tuple[Unwatched, ...]


def night(sources: Sources) -> Night:
    """Ask the store and the picture."""
    known = facts(sources)
    farm, now_ms = sources.farm, known.now_ms
    sensors = farm.sensors_of(Quantity.VACUUM)
    proven_ms = _proven_ms(sources.reader)
    brief, drops, burning = sources.ask(
        lambda picture: (
            night_brief(farm, picture, known.alerts, now_ms, proven_ms),
            [vacuum_view(picture, sensor.id, now_ms) for sensor in sensors],
            fire_view(picture, farm, now_ms),
        )
    )
    tank_rows = tuple(tank_row(known, tank, view) for tank, view in zip(farm.tanks, brief.tanks, strict=True))
    rows = [vacuum_row(known, sensor, drop) for sensor, drop in zip(sensors, drops, strict=True)]
    heard = [row for row in rows if row.vacuum_inhg is not None]
    told = tuple(row for row in heard if row.sensor.line == PUMP or row.tone in (Tone.ACT, Tone.MIND))
    told_lines = {row.sensor.line for row in told}
    silent = (*unwatched(known), *_paused(brief))
    frame = Frame(SPARK, SPARK.from_ms(now_ms), now_ms, farm.zone)
    points = {r.sensor.id: trend(sources.reader, farm, r.sensor, frame, in_unit("inHg")) for r in told}
    usuals = [row.usual_inhg for row in told if row.usual_inhg is not None]
    y_range = extent([*heard_values(points.values()), *usuals], LEAST_RANGE_INHG)
    return Night(
        top_of(known, NAME, _headline(known, brief)),
        farm,
        now_ms,
        known.heard_ms,
        tuple(asking(known.alerts, now_ms)),
        (*start_lines(brief), frost_line(brief, _between_f), proof_line(brief)),
        tank_rows,
        told,
        tuple(row for row in heard if row.sensor.line not in told_lines),
        {
            r.sensor.id: drawn.sparkline(points[r.sensor.id], frame.from_ms, now_ms, y_range, r.usual_inhg)
            for r in told
        },
        fire_row(known, burning),
        silent,
    )


def _headline(known: Facts, brief: NightBrief) -> Headline:
    said = verdict(brief)
    return (
        nothing_heard(known.heard_ms, known.now_ms, known.farm.zone)
        or alert_headline(known.alerts, known.now_ms)
        or Headline(said.sentence, " ".join(said.beside))
    )


def _proven_ms(reader: Reader) -> int | None:
    """When a channel last took a text."""
    return max(
        (row.sent_ms for row in reader.outbox(TEXTS_LOOKED_AT) if row.sent_ms is not None), default=None
    )


def _paused(brief: NightBrief) -> Iterator[Unwatched]:
    for gap in brief.gaps:
        if gap.at_ms is not None and gap.at_ms > brief.now_ms:
            line = gap_line(brief, gap)
            yield Unwatched(line.name, line.value, "", count=0)


def _between_f(low_c: float, high_c: float) -> str:
    return f"{number(from_si(low_c, 'degF'))} to {number(from_si(high_c, 'degF'))} °F"


def age_words(view: Night) -> str:
    """How old the newest figure is, by the farm's own clock."""
    if view.heard_ms is None:
        return "Nothing heard yet."
    age_s = max(0.0, (view.now_ms - view.heard_ms) / 1000)
    said = f"{round(age_s)} s" if age_s < 100 else duration(age_s)  # noqa: PLR2004 - from then on minutes
    return f"Newest figure {said} old."


def steady_names(rows: Sequence[VacuumRow]) -> str:
    """`Brook, saddle`: the lines that need no row of their own."""
    names = list(dict.fromkeys(row.sensor.line or "" for row in rows))
    return ", ".join(names)[:1].upper() + ", ".join(names)[1:]


def steady_words(rows: Sequence[VacuumRow]) -> str:
    """How near to their usual they are, at worst; what they read where no usual is known."""
    off = [
        abs(r.usual_inhg - r.vacuum_inhg)
        for r in rows
        if r.usual_inhg is not None and r.vacuum_inhg is not None
    ]
    if len(off) == len(rows):
        return f"within {number(max(0.1, *off), 1)} inHg of their usual"
    values = [r.vacuum_inhg for r in rows if r.vacuum_inhg is not None]
    return f"{number(min(values), 1)} to {number(max(values), 1)} inHg; their usual is still being learnt"
