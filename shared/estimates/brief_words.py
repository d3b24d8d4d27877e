"""The words of the night brief: its one sentence, which text, mail and page share, its lines, and the one text.

"Nothing needs you" opens it only where everything is watched and known; else what is not comes first.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from shared.alerts import Priority
from shared.estimates.brief import Gap, Job, Need, NightBrief
from shared.estimates.deadlines import LatestStart, Outcome, TooLate, Trouble
from shared.estimates.frost import Frost, Turn
from shared.estimates.tank_flow import FillTime
from shared.gsm7 import length
from shared.readings import Unknown
from shared.units import DAY_S, HOUR_S
from shared.words import capitalised, clock_time, degrees, duration, gallons

SLEEP_S = 6 * HOUR_S
"""What is so far away lets one sleep first (our choice)."""
SOON_S = 60.0
LIKELY_CHANCE = 0.5
SURE_CHANCE = 0.95
MOST_NAMES = 60
"""Characters for the names of what is not watched, in a sentence."""
MACHINES = {Job.RO: "RO", Job.BOIL: "boil"}
NOT_WATCHED = "Not watched"
NOT_PROVEN = "not proven today"
UNPROVEN = f"Texts are {NOT_PROVEN}."


@dataclass(frozen=True, slots=True)
class Verdict:
    """May I sleep? One sentence, and what else must be said beside it."""

    sentence: str
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the brief, for a mail and a page alike."""

    name: str
    value: str
    notes: tuple[str, ...] = ()
    asks: bool = False
    """Whether somebody must act on it now."""
    is_known: bool = True

    def __str__(self) -> str:
        """As a mail says it, `RO by 22:10; else lower spills at 23:00`, with its full stop."""
        return f"{'; '.join([f'{self.name} {self.value}', *self.notes])}."


def verdict(brief: NightBrief) -> Verdict:
    """The gravest first; that nothing is wrong comes last, with what it rests on."""
    doubts = tuple(_doubts(brief))
    grave = next(_grave(brief), None)
    if grave is not None:
        return Verdict(grave, doubts)
    until, first = f"before {_clock(brief, brief.morning_ms)}", brief.needs[0] if brief.needs else None
    if first is not None and first.at_ms < brief.morning_ms:
        until = f"before {_clock(brief, first.at_ms)}; then {_job(first)}"
    if doubts == (UNPROVEN,):
        return Verdict(f"If texts reach you ({NOT_PROVEN}), nothing needs you {until}.")
    if doubts:
        return Verdict(doubts[0], (f"Nothing else needs you {until}.", *doubts[1:]))
    return Verdict(f"Nothing needs you {until}.")


def _grave(brief: NightBrief) -> Iterator[str]:
    """What keeps one from sleeping, the gravest first."""
    if brief.is_blind:
        since = "yet" if brief.heard_ms is None else f"since {_clock(brief, brief.heard_ms)}"
        yield f"{NOT_WATCHED}: no sensor heard {since}."
    # What a silent sensor's own alert says, the list of what is not watched says as well.
    asking = [alert for alert in brief.asking if alert.rule != "sensor_silent"]
    if asking and asking[0].priority is Priority.WAKE:
        yield asking[0].sentence
    if brief.too_late is not None:
        yield f"{_run_all(brief)}; {_all_the_same(brief.too_late)}."
    if brief.needs and brief.needs[0].at_ms - brief.now_ms < SLEEP_S * 1000:
        yield f"{start_by(brief, brief.needs[0])}."
    if asking:
        yield asking[0].sentence


def _doubts(brief: NightBrief) -> Iterator[str]:
    """What "nothing needs you" would rest on and does not have."""
    if brief.gaps and not brief.is_blind:
        yield f"{NOT_WATCHED}: {some_of([gap.name for gap in brief.gaps], MOST_NAMES)}."
    for alert in brief.taken[:1]:
        yield f"{alert.acknowledged_by} has it: {alert.sentence}"
    if Job.BOIL in brief.running:
        yield "The fire is lit: stay with it."
    if not brief.farm.contacts:
        yield "Nothing can wake you: the farm file names no contact."
    elif brief.proven_ms is None:
        yield UNPROVEN


def some_of(names: list[str], most: int) -> str:
    """As many as fit, and how many more."""
    shown: list[str] = []
    for name in names:
        if shown and length(", ".join([*shown, name])) > most:
            break
        shown.append(name)
    left = len(names) - len(shown)
    return ", ".join(shown) + (f" and {left} more" if left else "")


def _run_all(brief: NightBrief) -> str:
    return f"Run {'the boil' if brief.farm.ro is None else 'the RO and the boil'} from now on"


def _all_the_same(late: TooLate) -> str:
    if late.spill_m3 > 0.0:
        return f"about {gallons(late.spill_m3)} spill all the same"
    return f"sap gets {duration(late.oldest_s or 0.0)} old all the same"


def _job(need: Need) -> str:
    return {
        Job.RO: f"start the {MACHINES[Job.RO]}",
        Job.BOIL: f"start the {MACHINES[Job.BOIL]}",
        Job.TRANSFER: f"transfer {need.tank}",
        Job.ROOM: f"make room in {need.tank}",
        Job.OLD: f"use the old sap in {need.tank}",
    }[need.job]


def start_by(brief: NightBrief, need: Need) -> str:
    """`Start the RO by 22:10`, or now; of what runs already that it must go on."""
    is_now = need.at_ms - brief.now_ms < SOON_S * 1000
    if need.job in brief.running:
        keep = f"Keep the {MACHINES[need.job]} going"
        return keep if is_now else f"{keep}, or restart it by {_clock(brief, need.at_ms)}"
    return f"{capitalised(_job(need))} {'now' if is_now else f'by {_clock(brief, need.at_ms)}'}"


def _clock(brief: NightBrief, at_ms: int) -> str:
    return clock_time(at_ms, brief.farm.zone, brief.now_ms)


def ahead(brief: NightBrief, ahead_s: float | None) -> str:
    """The local time so far ahead; `later` where nobody can say."""
    if ahead_s is None or ahead_s >= 2 * DAY_S:
        return "later"
    return _clock(brief, brief.now_ms + round(ahead_s * 1000))


def span(brief: NightBrief, turn: Turn | FillTime, between: str = " to ") -> str:
    """The two ends of a band, as local times."""
    return f"{ahead(brief, turn.low_s)}{between}{ahead(brief, turn.high_s)}"


def start_lines(brief: NightBrief) -> list[Line]:
    """Latest starts, what comes of starting later, and what cannot be helped; nothing where the farm has no boil."""
    if brief.plan is None:
        return []
    if isinstance(brief.plan, Unknown):
        return [Line("Latest starts", "not known", (brief.plan.reason,), is_known=False)]
    middle, strong = brief.plan.at_middle_inflow, brief.plan.at_high_inflow
    if isinstance(middle, TooLate):
        worse: tuple[str, ...] = ()
        if isinstance(strong, TooLate) and strong.spill_m3 > middle.spill_m3:
            worse = (f"{gallons(strong.spill_m3)} in a strong run",)
        name = "Boil" if brief.farm.ro is None else "RO and boil"
        return [Line(name, "from now on", (_all_the_same(middle), *worse), asks=True)]
    lines = [] if brief.farm.ro is None else [_start_line(brief, Job.RO, middle.ro, strong)]
    return [*lines, _start_line(brief, Job.BOIL, middle.boil, strong)]


def _start_line(brief: NightBrief, job: Job, start: LatestStart | None, strong: Outcome) -> Line:
    late = "can wait a day" if start is None else _at_or_now(brief, start.start_s)
    early, notes = late, []
    if isinstance(strong, TooLate):
        early = "now"
    elif (strong_start := strong.ro if job is Job.RO else strong.boil) is not None:
        early = _at_or_now(brief, strong_start.start_s)
    if early != late:
        notes.append(f"{early} in a strong run")
    if start is not None:
        trouble = "spills"
        if start.trouble is Trouble.HELD:
            trouble = f"holds sap {duration(brief.hold_limit_s)} old"
        notes.append(f"else {start.tank} {trouble} at {ahead(brief, start.trouble_s)}")
    if isinstance(strong, TooLate) and job is Job.BOIL:
        notes.append(f"in a strong run {_all_the_same(strong)}")
    name = capitalised(MACHINES[job])
    if job in brief.running:
        again = "it can rest a day" if start is None else f"were it to stop, again {late}"
        return Line(name, "runs now", (again, *notes))
    return Line(name, late, tuple(notes), asks=late == "now")


def _at_or_now(brief: NightBrief, ahead_s: float) -> str:
    return "now" if ahead_s < SOON_S else f"by {ahead(brief, ahead_s)}"


def frost_line(brief: NightBrief, between: Callable[[float, float], str] | None = None) -> Line:
    """When it freezes and thaws; `between` writes two temperatures in C as its reader wants them."""
    found = brief.frost
    if isinstance(found, Unknown):
        return Line("Frost", "not known", (found.reason,), is_known=False)
    low_c, high_c = found.coldest_c.low, found.coldest_c.high
    coldest = f"coldest {between(low_c, high_c) if between else f'{degrees(low_c)} to {degrees(high_c)}'}"
    if found.is_freezing:
        return Line("Frost", "now", (_thaw_words(brief, found), coldest))
    if found.freezes is None:
        return Line("Frost", "none expected", (coldest,))
    value = f"about {ahead(brief, found.freezes.middle_s)}"
    if found.chance < LIKELY_CHANCE:
        value = f"perhaps, {value}"
    tenths = min(9, max(1, round(10 * found.chance)))
    chance = () if found.chance >= SURE_CHANCE else (f"{tenths} in 10",)
    return Line("Frost", value, (span(brief, found.freezes), *chance, _thaw_words(brief, found), coldest))


def _thaw_words(brief: NightBrief, found: Frost) -> str:
    if found.thaws is None:
        return "no thaw within a day"
    return f"thaws about {ahead(brief, found.thaws.middle_s)} ({span(brief, found.thaws)})"


def gap_line(brief: NightBrief, gap: Gap) -> Line:
    """What is not watched, why, and since or until when."""
    when = ""
    if gap.at_ms is not None:
        when = f" {'until' if gap.at_ms > brief.now_ms else 'since'} {_clock(brief, gap.at_ms)}"
    return Line(capitalised(gap.name), f"{gap.why}{when}")


def proof_line(brief: NightBrief) -> Line:
    """Whether texts were seen to go out today."""
    if brief.proven_ms is None:
        return Line("Texts", NOT_PROVEN, ("the command lantern drill proves them",), is_known=False)
    return Line("Texts", f"proven {_clock(brief, brief.proven_ms)}")
