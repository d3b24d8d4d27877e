"""`lantern storm`: the morning after, which line, since when, where to walk first, and what it cost."""

from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from rich.console import Console
from rich.table import Table

from shared.errors import InvalidArgument, SettingsError
from shared.estimates.storm import StormReview
from shared.estimates.storm_rows import SensorReview, Stand
from shared.estimates.suspects import Suspect
from shared.estimates.troubles import Outcome, Trouble
from shared.farm import Farm
from shared.hindsight import review_as_typed
from shared.physics.contested import Contested
from shared.readings import Unknown
from shared.store import Reader
from shared.storm_words import (
    GAP_MS,
    basis,
    gallons_band,
    happened,
    in_hundred,
    place_words,
    span_words,
    told,
    torn,
)
from shared.units import from_si
from shared.words import clock_time

SUSPECTS_SHOWN = 3
LEAST_PROBABILITY = 0.03


def print_storm(
    reader: Reader,
    farm: Farm,
    now_ms: int,
    from_text: str | None,
    to_text: str | None,
    console: Console,
    *,
    as_json: bool,
) -> None:
    """Print the review of that time.

    Raises:
        SettingsError: a time is not one, or they are no stretch of time; names the option.
    """
    try:
        found = review_as_typed(reader, farm, now_ms, from_text, to_text)
    except InvalidArgument as error:
        raise SettingsError(f"--{error}") from error
    if as_json:
        print_json(found, console)
    else:
        print_review(farm, found, console)


def print_json(found: StormReview, console: Console) -> None:
    """The review as it is reckoned: SI, times in ms since 1970 UTC."""
    text = TypeAdapter(StormReview).dump_json(found, indent=2).decode()
    console.print(text, markup=False, highlight=False, soft_wrap=True)


def print_review(farm: Farm, found: StormReview, console: Console) -> None:
    """Sentence, places to walk, every line, and the sap."""
    zone = farm.zone
    console.print(f"{farm.name}, {span_words(found, zone)}", highlight=False)
    first = told(farm, found)
    console.print(f"\n[bold]{first.sentence}[/bold]\n{first.lead}", highlight=False)
    for number, trouble in enumerate(found.troubles):
        if number:  # of the first it is said already
            console.print(f"\n[bold]{happened(farm, trouble, found.to_ms)}[/bold]", highlight=False)
        _print_places(farm, trouble, console)
    lines = Table(
        title="\nLine by line, inHg", title_justify="left", title_style="bold", box=None, pad_edge=False
    )
    for column in ("sensor", "before", "during", "lowest", "after", "change"):
        lines.add_column(column, header_style="italic", justify="left" if column == "sensor" else "right")
    for column in ("fell", "now", "sap lost so far", "a day"):
        lines.add_column(column, header_style="italic")
    for row in found.sensors:
        lines.add_row(*_cells(row, zone, found.to_ms))
    console.print(lines)
    if found.sap_lost_m3 is not None:
        console.print(f"\n{basis(found)}", highlight=False)


def _print_places(farm: Farm, trouble: Trouble, console: Console) -> None:
    if isinstance(trouble.suspects, Unknown):
        console.print(f"Where is not known: {trouble.suspects.reason}.", highlight=False)
        return
    shown = [s for s in trouble.suspects if s.probability >= LEAST_PROBABILITY][:SUSPECTS_SHOWN]
    places = Table(box=None, pad_edge=False, show_header=False)
    for suspect in shown:
        places.add_row(in_hundred(suspect), place_words(suspect), *_size(trouble, suspect))
    console.print(places)
    if shown and shown[0].why:
        console.print(f"{shown[0].why[:1].upper()}{shown[0].why[1:]}.", highlight=False)
    if said := torn(farm, trouble):
        console.print(said, highlight=False)


def _size(trouble: Trouble, suspect: Suspect) -> tuple[str, str]:
    leak, lost = suspect.leak_m3_s, suspect.sap_lost_m3_day
    air = "" if leak is None else f"{from_si(leak.low, 'CFM'):.1f} to {from_si(leak.high, 'CFM'):.1f} CFM"
    if lost is None or trouble.outcome is not Outcome.DOWN:
        return air, ""
    return air, f"sap a day {gallons_band(lost)}"


def _cells(row: SensorReview, zone: ZoneInfo, end_ms: int) -> tuple[str, ...]:
    fell = "" if row.onset is None else clock_time(row.onset.at_ms, zone, end_ms)
    if row.onset is not None and row.onset.at_ms - row.onset.heard_before_ms > GAP_MS:
        fell = f"{clock_time(row.onset.heard_before_ms, zone, end_ms)}-{fell}"
    return (
        row.sensor,
        _inhg(row.before_pa),
        _inhg(row.during_pa),
        _inhg(row.worst_pa),
        _inhg(row.after_pa),
        "" if row.change_pa is None else f"{from_si(row.change_pa, 'inHg'):+.1f}",
        fell,
        _now(row, zone, end_ms),
        _gallons(row.sap_lost_m3),
        _gallons(row.sap_lost_m3_day),
    )


def _now(row: SensorReview, zone: ZoneInfo, end_ms: int) -> str:
    match row.stand:
        case Stand.BACK if row.recovered is not None:
            return f"back {clock_time(row.recovered.at_ms, zone, end_ms)}"
        case Stand.UNKNOWN:
            return row.unknown
        case _:
            return str(row.stand.value)


def _inhg(pressure_pa: float | None) -> str:
    return "" if pressure_pa is None else f"{max(0.0, from_si(pressure_pa, 'inHg')):.1f}"


def _gallons(lost_m3: Contested | None) -> str:
    if lost_m3 is None or from_si(lost_m3.usual, "gal") < 0.5:  # noqa: PLR2004 - half a gallon is nothing
        return ""
    return gallons_band(lost_m3)
