"""What a storm's review says in sentences, the same in the terminal and on the page: where to walk, and the cost."""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from shared.estimates.falls import Instant
from shared.estimates.lines import Place, taps_uphill_count
from shared.estimates.storm import StormReview
from shared.estimates.storm_rows import Stand
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.troubles import Outcome, Trouble
from shared.farm import Farm
from shared.physics.contested import Contested
from shared.readings import Unknown
from shared.units import GALLON_M3, from_si
from shared.words import capitalised, clock_time, inches_of_mercury

SURE = 0.995
"""Above it "99 in 100" is said: no reckoning from gauges is surer."""
GAP_MS = 5 * 60_000
LEAST_GALLONS = 0.5
LEAST_TAP_GALLONS = 0.05


@dataclass(frozen=True, slots=True)
class Told:
    """What comes first: the sentence, and what stands under it."""

    sentence: str
    lead: str


def told(farm: Farm, review: StormReview) -> Told:
    """What it means, and what to do."""
    unknown = [row for row in review.sensors if row.stand is Stand.UNKNOWN]
    blind = f"{len(unknown)} of {len(review.sensors)} vacuum sensors tell nothing there." if unknown else ""
    if review.sensors and len(unknown) == len(review.sensors):
        return Told(
            "Nothing is known of that time.", "No vacuum sensor was heard well enough; see each below."
        )
    if not review.troubles:
        sentence = "No line fell." if not unknown else "No line that is watched fell."
        return Told(sentence, _joined([_hidden(review), blind]))
    first = review.troubles[0]
    lead = [happened(farm, first, review.to_ms)]
    likely = likeliest(first)
    if first.outcome is Outcome.DOWN and likely is not None and likely.cause.is_leak:
        lead.append(f"{in_hundred(likely)} that the leak is there.")
    if first.outcome is Outcome.BACK:
        if len(review.troubles) > 1:
            lead.append(f"{len(review.troubles)} troubles are told below.")
        if likely is not None and likely.cause.is_leak:
            lead.append(f"Unless somebody mended it, look by day at {likely.where}.")
        return Told("All that fell has come back.", _joined([*lead, cost(review), blind]))
    down = sum(trouble.outcome is Outcome.DOWN for trouble in review.troubles)
    if down > 1:
        lead.append(f"{down} troubles are still there: all are told below.")
    return Told(_to_do(first), _joined([*lead, cost(review), blind]))


def _hidden(review: StormReview) -> str:
    """What the end does not show."""
    frozen = sum(row.stand is Stand.FROZEN for row in review.sensors)
    if any(row.stand is Stand.PUMP_OFF for row in review.sensors):
        return "The pump rests, so a line that is open now would not be seen."
    return f"The frost hides {frozen} of {len(review.sensors)} gauges." if frozen else ""


def _to_do(trouble: Trouble) -> str:
    first = likeliest(trouble)
    if trouble.outcome is Outcome.UNKNOWN:
        return f"Whether {_what(trouble)} is back cannot be seen now."
    if trouble.is_pump_off:
        return "The pump is off."
    match first.cause if first is not None else Cause.NOTHING:
        case Cause.NOTHING:
            said = f"Have a look at {_what(trouble)}: most likely it is nothing."
        case Cause.PUMP:
            said = "Look at the pump, its releaser and moisture trap first."
        case Cause.FROZEN:
            said = f"{capitalised(_what(trouble))} has frozen: it comes back with the thaw."
        case Cause.SENSOR:
            said = f"Look at {_where(first)}, by day: the line itself seems to hold."
        case _:
            said = f"Walk first: {_where(first)}."
    return said


def _where(suspect: Suspect | None) -> str:
    return "" if suspect is None else suspect.where


def happened(farm: Farm, trouble: Trouble, end_ms: int) -> str:
    """`Ledge fell 6.6 inHg at 02:10 and was back at 06:01`, as a sentence."""
    zone, onset = farm.zone, trouble.onset
    if trouble.is_pump_off:
        since = clock_time(onset.at_ms, zone, end_ms)
        if trouble.over is None:
            return f"The pump has been off since {since}."
        return f"The pump was off from {since} to {clock_time(trouble.over.at_ms, zone, end_ms)}."
    first = likeliest(trouble)
    if first is not None and first.cause is Cause.SENSOR:
        less = f"The gauge {trouble.sensors[0]} began to show less {when(onset, zone, end_ms)}"
        less += f", {inches_of_mercury(trouble.drop_pa)} in all"
        return (
            f"{less}."
            if trouble.over is None
            else f"{less}, and was right again {when(trouble.over, zone, end_ms)}."
        )
    if first is not None and first.cause is Cause.FROZEN:
        did = f"{capitalised(_what(trouble))} froze {when(onset, zone, end_ms)}"
    else:
        did = f"{capitalised(_what(trouble))} fell {inches_of_mercury(trouble.drop_pa)} {when(onset, zone, end_ms)}"
    match trouble.outcome:
        case Outcome.DOWN:
            return f"{did} and is still down."
        case Outcome.UNKNOWN:
            return f"{did}; frost, a rest of the pump or silence hides it since."
        case Outcome.BACK:
            assert trouble.over is not None
            return f"{did} and was back {when(trouble.over, zone, end_ms)}."


def _what(trouble: Trouble) -> str:
    """What fell: the line of the gauge that lost most."""
    first = likeliest(trouble)
    if first is not None and (first.cause.is_leak or first.cause is Cause.FROZEN):
        return first.line
    if first is not None and first.cause is Cause.PUMP:
        return "vacuum at the pump"
    return trouble.sensors[0]


def when(at: Instant, zone: ZoneInfo, end_ms: int) -> str:
    """`at 02:10`; `between 22:05 and 01:10` where a gap hides it."""
    said = clock_time(at.at_ms, zone, end_ms)
    if at.at_ms - at.heard_before_ms <= GAP_MS:
        return f"at {said}"
    return f"between {clock_time(at.heard_before_ms, zone, end_ms)} and {said}"


def likeliest(trouble: Trouble) -> Suspect | None:
    """Its first suspect; None where no sensor told of it."""
    return None if isinstance(trouble.suspects, Unknown) else trouble.suspects[0]


def place_words(suspect: Suspect) -> str:
    """Where to go; ice and a leak in one place are told apart."""
    return f"ice in {suspect.where}" if suspect.cause is Cause.FROZEN else suspect.where


def in_hundred(suspect: Suspect) -> str:
    """`83 in 100`."""
    return f"{round(100 * min(suspect.probability, SURE - 0.005))} in 100"


def gallons_band(lost_m3: Contested) -> str:
    """`18 gal (12 to 28)`; below half a gallon `hardly any`.

    >>> gallons_band(Contested(0.045, 0.068, 0.106))
    '18 gal (12 to 28)'
    """
    low, usual, high = (from_si(value, "gal") for value in (lost_m3.low, lost_m3.usual, lost_m3.high))
    if high < LEAST_GALLONS:
        return "hardly any"
    return f"{usual:,.0f} gal ({low:,.0f} to {high:,.0f})"


def cost(review: StormReview) -> str:
    """What it cost so far and goes on costing; empty where nothing was lost."""
    if review.sap_lost_m3 is None:
        return ""
    said = f"Sap lost so far by less vacuum: {gallons_band(review.sap_lost_m3)}"
    if review.sap_lost_m3_day is not None:
        said += f"; as it stands {gallons_band(review.sap_lost_m3_day)} a day"
    return f"{said}."


def basis(review: StormReview) -> str:
    """What the gallons rest on."""
    if review.is_sap_measured:
        tap = review.tap_m3_day.usual / GALLON_M3
        runs = f"{tap:.1f} gal a tap and day" if tap >= LEAST_TAP_GALLONS else "next to nothing"
        return f"Reckoned by what ran into the tanks; at last {runs}."
    return "No tank told how the sap ran: reckoned at a gallon a tap and day, so roughly."


def torn(farm: Farm, trouble: Trouble) -> str:
    """What else may run out at a break; empty where the cause is no leak in a line that is still down."""
    first = likeliest(trouble)
    if first is None or not first.cause.is_leak or trouble.outcome is not Outcome.DOWN:
        return ""
    taps = round(taps_uphill_count(farm, Place(first.line, first.from_m)))
    return (
        f"If it is torn through, what comes from up to {taps:,} taps uphill runs out there too."
        if taps
        else ""
    )


def span_words(review: StormReview, zone: ZoneInfo) -> str:
    """`Thu 2 Apr 22:00 to Fri 3 Apr 04:30`, the day once if it is one."""
    begin, end = _moment(review.from_ms, zone), _moment(review.to_ms, zone)
    if begin.rpartition(" ")[0] == end.rpartition(" ")[0]:
        end = end.rpartition(" ")[2]
    return f"{begin} to {end}"


def _moment(at_ms: int, zone: ZoneInfo) -> str:
    local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    return f"{local:%a} {local.day} {local:%b} {local:%H:%M}"


def _joined(sentences: list[str]) -> str:
    return " ".join(sentence for sentence in sentences if sentence)
