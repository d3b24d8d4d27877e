"""The score of many nights, as numbers, as a table and as JSON."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from rich.table import Table

from collector.scoring.marks import Band, Lead, Marks
from shared.units import HOUR_S

MINUTE_S = 60.0
TOP = 3
"""A list of places longer than this nobody walks."""
NEAR_S = 2 * HOUR_S
"""When somebody has to get up for it."""
LEAST_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Score:
    """All nights together."""

    nights: int
    calm_nights: int
    messages: int
    due: int
    given: int
    missed: tuple[str, ...]
    woken: int
    false: tuple[str, ...]
    told: int
    leads: tuple[Lead, ...]
    ranks: tuple[int, ...]
    bands: tuple[Band, ...]

    @property
    def in_time(self) -> int:
        """Fills that allowed their lead and got it."""
        return sum(lead.allowed_s is not None and lead.s >= lead.allowed_s for lead in self.leads)

    @property
    def allowed(self) -> tuple[float, ...]:
        """Leads of the fills that allowed one, shortest first, s."""
        return tuple(sorted(lead.s for lead in self.leads if lead.allowed_s is not None))


def score_of(nights: Iterable[Marks]) -> Score:
    """The sum of nights."""
    every = list(nights)
    return Score(
        nights=len(every),
        calm_nights=sum(marks.is_calm for marks in every),
        messages=sum(marks.message_count for marks in every),
        due=sum(marks.due for marks in every),
        given=sum(marks.given for marks in every),
        missed=tuple(f"{marks.title}: {words}" for marks in every for words in marks.missed),
        woken=sum(marks.woken for marks in every),
        false=tuple(f"{marks.title}: {words}" for marks in every for words in marks.false),
        told=sum(marks.told for marks in every),
        leads=tuple(lead for marks in every for lead in marks.leads),
        ranks=tuple(rank for marks in every for rank in marks.ranks),
        bands=tuple(band for marks in every for band in marks.bands),
    )


def json_of(score: Score) -> dict[str, Any]:
    """The score for programs; times in seconds."""
    return {
        "nights": score.nights,
        "calm_nights": score.calm_nights,
        "messages": score.messages,
        "wake_ups": {
            "due": score.due,
            "given": score.given,
            "missed": list(score.missed),
            "sent": score.woken,
            "false": list(score.false),
        },
        "told_count": score.told,
        "tank_leads": {
            "s": list(score.allowed),
            "median_s": median(score.allowed) if score.allowed else None,
            "fifth_percentile_s": fifth_percentile_s(score.allowed),
            "in_time_count": score.in_time,
        },
        "leak_ranks": list(score.ranks),
        "tank_band": {
            "count": len(score.bands),
            "inside_count": sum(band.inside for band in score.bands),
            "near_count": len(near_of(score)),
            "near_inside_count": sum(band.inside for band in near_of(score)),
        },
    }


def table_of(score: Score) -> Table:
    """The score for people."""
    table = Table(title=f"{score.nights} nights, {score.calm_nights} of them calm", show_header=False)
    table.add_column("what")
    table.add_column("figure", justify="right")
    rows: Sequence[tuple[str, str]] = (
        ("Wake-ups due", str(score.due)),
        ("given", str(score.given)),
        ("missed", str(len(score.missed))),
        ("Wake-ups sent", str(score.woken)),
        ("false", f"{len(score.false)}{_one_in(score)}"),
        ("Other texts, a night", f"{score.told / max(1, score.nights):.1f}"),
        ("Tanks that ran full and allowed a lead", str(len(score.allowed))),
        ("with that lead", str(score.in_time)),
        ("lead, median", _minutes(median(score.allowed) if score.allowed else None)),
        ("lead, 5th percentile", _minutes(fifth_percentile_s(score.allowed))),
        ("Leaks placed", str(len(score.ranks))),
        ("true place first", str(sum(rank == 1 for rank in score.ranks))),
        (f"among the first {TOP}", str(sum(0 < rank <= TOP for rank in score.ranks))),
        ("Times to full inside their 10-90 band", _part(score.bands)),
        ("of those within two hours", _part(near_of(score))),
    )
    for what, figure in rows:
        table.add_row(what if what[0].isupper() else f"  {what}", figure)
    return table


def near_of(score: Score) -> tuple[Band, ...]:
    """Forecasts of tanks that were full within two hours."""
    return tuple(band for band in score.bands if band.true_s <= NEAR_S)


def fifth_percentile_s(leads_s: Sequence[float]) -> float | None:
    """The lead that 95 of 100 fills have at least, of leads in rising order."""
    return leads_s[int(LEAST_SHARE * len(leads_s))] if leads_s else None


def _part(bands: Sequence[Band]) -> str:
    return f"{sum(band.inside for band in bands)} of {len(bands)}"


def _one_in(score: Score) -> str:
    return f", one in {score.nights / len(score.false):.0f} nights" if score.false else ""


def _minutes(seconds: float | None) -> str:
    return "-" if seconds is None else f"{seconds / MINUTE_S:.0f} min"
