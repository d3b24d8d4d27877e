"""A night's wake-ups, places and forecasts held against its truth."""

from dataclasses import dataclass, field
from itertools import pairwise

from collector.scoring.dice import Drawn
from collector.scoring.due import ANSWERS, Due, due_of, is_earned
from collector.scoring.listening import Forecast, Heard, Places, Told
from collector.scoring.losses import losses_of
from collector.simulate.story_events import Leak, LimbDown
from collector.simulate.truth import Truth
from shared.alerts import Priority
from shared.estimates.suspects import Suspect
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.tuning.tanks import TankNearlyFull

HOUR_MS = 3_600_000
GIVEN_EARLY_MS = 3 * HOUR_MS


@dataclass(frozen=True, slots=True)
class Lead:
    """How long before a tank ran full its wake-up came, and what the fill allowed (None: no full lead)."""

    tank: str
    s: float
    allowed_s: float | None


@dataclass(frozen=True, slots=True)
class Band:
    """How long a tank truly took to fill, and whether the 10-90 band foretold held that."""

    true_s: float
    inside: bool


@dataclass(slots=True)
class Marks:
    """One night's marks; words name what was missed or false, by hour of the night."""

    title: str
    is_calm: bool
    message_count: int = 0
    due: int = 0
    given: int = 0
    missed: list[str] = field(default_factory=list)
    woken: int = 0
    false: list[str] = field(default_factory=list)
    told: int = 0
    leads: list[Lead] = field(default_factory=list)
    ranks: list[int] = field(default_factory=list)
    """Rank of the true place, from 1; 0: it was not among the suspects."""
    bands: list[Band] = field(default_factory=list)


def mark(farm: Farm, drawn: Drawn, truth: Truth, heard: Heard) -> Marks:
    """The marks of a night."""
    losses = losses_of(farm, truth)
    marks = Marks(drawn.story.title, not drawn.troubles, heard.message_count)
    wakes = [told for told in heard.told if told.priority is Priority.WAKE]
    marks.woken, marks.told = len(wakes), len(heard.told) - len(wakes)
    for due in due_of(farm, drawn.story, truth, losses):
        marks.due += 1
        answer = _answer(due, wakes)
        if answer is None:
            marks.missed.append(f"{due.rule}/{due.subjects[0]} due from {_hour(truth, due.from_ms)}")
            if due.full_ms is not None and due.lead_s is not None:
                marks.leads.append(Lead(due.subjects[0], 0.0, due.lead_s))
            continue
        marks.given += 1
        if due.full_ms is not None:
            marks.leads.append(Lead(answer.subject, (due.full_ms - answer.at_ms) / 1000.0, due.lead_s))
    earned: set[tuple[str, int]] = set()
    for told in wakes:
        if is_earned(farm, drawn.story, truth, losses, told):
            earned.add((told.subject, told.at_ms))
        else:
            marks.false.append(f"{_hour(truth, told.at_ms)} {told.body}")
    marks.ranks = _ranks(farm, drawn, truth, [p for p in heard.places if (p.line, p.woken_ms) in earned])
    marks.bands = [band for forecast in heard.forecasts for band in _band(farm, forecast, truth)]
    return marks


def _answer(due: Due, wakes: list[Told]) -> Told | None:
    for told in wakes:
        of_vacuum = due.rule in ("vacuum_lost", "pump_not_running")
        early_ms = due.from_ms - (0 if of_vacuum else GIVEN_EARLY_MS)
        if (
            told.rule in ANSWERS.get(due.rule, (due.rule,))
            and told.subject in due.subjects
            and early_ms <= told.at_ms <= due.by_ms
        ):
            return told
    return None


def _hour(truth: Truth, at_ms: int) -> str:
    return f"{(at_ms - truth.start_ms) / HOUR_MS:.2f} h"


def _ranks(farm: Farm, drawn: Drawn, truth: Truth, believed: list[Places]) -> list[int]:
    """Of each wake-up within one leak's time: where its true place stood."""
    found = []
    for places in believed:
        leaks = [
            event
            for event in drawn.story.events
            if isinstance(event, Leak | LimbDown)
            and truth.at_ms(event.at_s) <= places.woken_ms
            and event.until_s * 1000 + truth.start_ms >= places.woken_ms
        ]
        if len(leaks) == 1 and places.suspects:
            ranked = [i for i, suspect in enumerate(places.suspects, 1) if _holds(farm, suspect, leaks[0])]
            found.append(ranked[0] if ranked else 0)
    return found


def _holds(farm: Farm, suspect: Suspect, leak: Leak | LimbDown) -> bool:
    if not suspect.cause.is_leak:
        return False
    place_m = leak.place_m if leak.place_m is not None else farm.line_by_id[leak.line].length_m / 2
    on_it = suspect.line == leak.line and suspect.from_m <= place_m <= suspect.to_m
    return on_it or leak.line in suspect.joining


def _band(farm: Farm, forecast: Forecast, truth: Truth) -> list[Band]:
    """A forecast counts if its tank is watched for being full, and then ran full without a pause."""
    tank = farm.tank_by_id[forecast.tank]
    if tank.holds is Holds.PERMEATE or not farm.tuning(TankNearlyFull, tank).enabled:
        return []
    full_ms = next(
        (
            o.from_ms
            for o in truth.occurrences
            if o.kind == "full" and o.subject == forecast.tank and o.from_ms > forecast.asked_ms
        ),
        None,
    )
    rows = [r for r in truth.tanks.get(forecast.tank, []) if forecast.asked_ms <= r.at_ms <= (full_ms or 0)]
    if full_ms is None or not rows or any(b.volume_m3 <= a.volume_m3 for a, b in pairwise(rows)):
        return []
    true_s, fill = (full_ms - forecast.asked_ms) / 1000.0, forecast.fill
    return [Band(true_s, fill.low_s <= true_s and (fill.high_s is None or true_s <= fill.high_s))]
