"""The night brief as people get it: the whole of it for a mail, one text, and their rows in the outbox; pure."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from operator import itemgetter

from collector.alerting.brief import readers
from shared.alerts import Priority
from shared.estimates.brief import Need, NightBrief, filling_rule
from shared.estimates.brief_words import (
    LIKELY_CHANCE,
    MACHINES,
    NOT_WATCHED,
    UNPROVEN,
    ahead,
    frost_line,
    gap_line,
    proof_line,
    some_of,
    span,
    start_by,
    start_lines,
    verdict,
)
from shared.estimates.house_tonight import is_emptied
from shared.estimates.picture import TankView
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime, TankFlow
from shared.farm import Farm
from shared.gsm7 import LIMIT, fit, length
from shared.readings import Unknown
from shared.store import Text
from shared.words import capitalised, duration, gallons, gallons_an_hour

KEY = "night_brief/tonight"
ADVICE_ONLY = "Lantern advises; it is never the only protection."
MOST_NAMES = 30
"""Characters for the names of what is not watched, where a text has more to say."""


def brief_texts(farm: Farm, brief: NightBrief, set_ms: int) -> Iterator[Text]:
    """One row for each channel of each reader; its event is the day, so that it can be stored once only."""
    day = datetime.fromtimestamp(set_ms / 1000, UTC).astimezone(farm.zone).date().isoformat()
    short, long = text_form(brief), long_form(brief)
    for contact in farm.contacts:
        if contact.id in readers(farm):
            for index, channel in enumerate(contact.channels):
                waits_s = channel.waits_s(index)
                due_ms = brief.now_ms + round(waits_s * 1000)
                text = Text(KEY, day, contact.id, channel.id, short, long, due_ms, Priority.TELL)
                yield replace(text, fallback=waits_s > 0)


def long_form(brief: NightBrief) -> str:
    """The whole brief as plain text for a mail, in the farm's own time."""
    local = datetime.fromtimestamp(brief.now_ms / 1000, UTC).astimezone(brief.farm.zone)
    said = verdict(brief)
    sections = [
        [f"{brief.farm.name}, {local:%A} {local.day} {local:%B}, {local:%H:%M}", said.sentence, *said.beside],
        ["Tanks, at their present rates", *(_tank_line(brief, view) for view in brief.tanks)],
        ["Before morning", *map(str, (*start_lines(brief), frost_line(brief), proof_line(brief)))],
        ["Waiting for an answer", *(f"{alert.sentence} {alert.advice}".strip() for alert in brief.asking)],
        ["Somebody has it", *(f"{alert.acknowledged_by}: {alert.sentence}" for alert in brief.taken)],
        ["Not watched", *(str(gap_line(brief, gap)) for gap in brief.gaps)],
    ]
    shown = [section for section in sections if len(section) > 1]
    return "\n\n".join("\n".join(section) for section in [*shown, [ADVICE_ONLY]])


def _tank_line(brief: NightBrief, view: TankView) -> str:
    name = capitalised(view.tank_id)
    if view.volume_m3 is None:
        return f"{name}: contents not known."
    parts = [f"{gallons(view.volume_m3).removesuffix(' gal')} of {gallons(view.capacity_m3)}"]
    if isinstance(view.flow, TankFlow):
        rising = "+" if view.flow.net_m3_s.middle >= 0 else ""
        parts.append(f"{rising}{gallons_an_hour(view.flow.net_m3_s.middle)}")
    parts.append(_fill_words(brief, view))
    if isinstance(view.age, SapAge):
        at_least = "at least " if view.age.at_least else ""
        parts.append(f"oldest sap {at_least}{duration(view.age.oldest_s)}")
    return f"{name}: {', '.join(parts)}."


def _fill_words(brief: NightBrief, view: TankView) -> str:
    left = view.time_to_full
    if isinstance(left, Unknown):
        return f"time to full not known ({left.reason})"
    if isinstance(left, FillTime):
        if left.high_s == 0.0:
            return "full now"
        return f"full {span(brief, left)}, likeliest {ahead(brief, left.middle_s)}"
    return "emptying" if is_emptied(view.flow) else "not filling"


def text_form(brief: NightBrief, limit: int = LIMIT) -> str:
    """The brief as one text of at most `limit` GSM-7 characters: first the verdict and what is not watched or proven.

    Then, as far as there is room: the starts, the frost, and the tanks that fill first or are oldest.
    """
    said = verdict(brief)
    must: list[str] = []
    may: list[str] = []
    for part in said.beside:
        if part.startswith(NOT_WATCHED):
            must.append(f"{NOT_WATCHED}: {some_of([gap.name for gap in brief.gaps], MOST_NAMES)}.")
        else:
            (must if part == UNPROVEN else may).append(part)
    must = [fit(part) for part in must]
    room = limit - sum(1 + length(part) for part in must)
    kept = [fit(f"Tonight: {said.sentence}", room)]
    for part in map(fit, (*may, *_short_parts(brief, said.sentence))):
        if length(" ".join([*kept, part])) <= room:
            kept.append(part)
    return " ".join([*kept, *must])


def _short_parts(brief: NightBrief, said: str) -> Iterator[str]:
    starts = [need for need in brief.needs if need.job in MACHINES and not _names_job(said, need)]
    tonight = [need for need in starts if need.at_ms < brief.morning_ms and brief.too_late is None]
    yield from (_short_start(brief, need) for need in tonight)
    yield _short_frost(brief)
    filling = [
        (view.time_to_full.low_s, view.time_to_full, tank.id)
        for tank, view in zip(brief.farm.tanks, brief.tanks, strict=True)
        if isinstance(view.time_to_full, FillTime) and filling_rule(brief.farm, tank) is not None
    ]
    for _, left, name in sorted(filling, key=itemgetter(0)):
        yield f"{capitalised(name)} full {span(brief, left, '-')}."
    ages = [(view.age.oldest_s, view.tank_id) for view in brief.tanks if isinstance(view.age, SapAge)]
    for oldest_s, name in sorted(ages, reverse=True):
        yield f"{capitalised(name)} sap {duration(oldest_s)}."
    yield from (_short_start(brief, need) for need in starts if need not in tonight)


def _names_job(said: str, need: Need) -> bool:
    return f"the {MACHINES[need.job]}" in said


def _short_start(brief: NightBrief, need: Need) -> str:
    return f"{capitalised(start_by(brief, need).removeprefix('Start the '))}."


def _short_frost(brief: NightBrief) -> str:
    found = brief.frost
    if isinstance(found, Unknown):
        return "Frost unknown."
    if found.is_freezing:
        thaws = found.thaws
        return "Freezing all day." if thaws is None else f"Freezing to {span(brief, thaws, '-')}."
    if found.freezes is None:
        return "No freeze."
    word = "Freeze" if found.chance >= LIKELY_CHANCE else "Maybe freeze"
    return f"{word} {span(brief, found.freezes, '-')}."
