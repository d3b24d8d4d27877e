"""One leak is one text: of all places that lost vacuum together one speaks, and it explains what the others lost.

1. Lines that lost much beyond what the pump did have a trouble of their own, the hardest hit first: a line's own
   gauges beyond a leak lose most. Two of them are one trouble if they fell together and one cause is likely enough
   to have made both fall so far.
2. The pump is spoken for by one of those in the same way, or speaks.
3. What is left lost little beyond what the pump did, and is spoken for with it. Where that is all there is, the
   line that clearly lost most speaks for the pump too: a leak takes most where it is.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from shared.estimates.onset import MINUTE_MS
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.units import INHG_PA

TOGETHER_MS = 8 * MINUTE_MS
"""Drops of one leak begin within minutes of each other (isothermal emptying), as seen every minute or five."""
ALIKE_PA = 0.3 * INHG_PA
"""Places hit alike to within gauges' noise take turns in being hit hardest, which must not change who speaks."""
LEADS_PA = 1.0 * INHG_PA
"""A trouble at the pump takes no more from a line than from the pump, but for gauges and flow."""
LIKELY = 0.25
"""That one cause made both fall, for two places to be one trouble."""


@dataclass(frozen=True, slots=True)
class Lost:
    """A place that lost enough to be told of: its sensor that lost most, and what is enough there."""

    sensor: str
    drop: VacuumDrop
    trip_pa: float


def spoken_for_by(farm: Farm, place: str, lost: Mapping[str, Lost], suspects: tuple[Suspect, ...]) -> str:
    """Who speaks for what this place lost: a line or the pump; empty: it does itself.

    `lost` has every place that would be told of if it stood alone, this one among them.
    """
    lines = [name for name in _hardest_first(farm, lost) if name != PUMP]
    pump = lost.get(PUMP)
    pump_pa = 0.0 if pump is None else pump.drop.drop_pa
    own = [name for name in lines if pump is None or lost[name].drop.drop_pa - pump_pa >= lost[name].trip_pa]
    speakers: list[str] = []
    for name in own:
        by = _spoken_for(lost[name], speakers, lost, suspects)
        if name == place:
            return by
        if not by:
            speakers.append(name)
    if pump is None:
        return ""
    of_pump = _spoken_for(pump, speakers, lost, suspects) or PUMP
    if not speakers and lines:
        lead = lost[lines[0]].drop
        leads = lead.drop_pa - pump_pa >= LEADS_PA and _together(lead, pump.drop)
        of_pump = lines[0] if leads else PUMP
    return "" if place == of_pump else of_pump


def _spoken_for(
    each: Lost, speakers: Iterable[str], lost: Mapping[str, Lost], suspects: tuple[Suspect, ...]
) -> str:
    return next((one for one in speakers if _one_cause(lost[one], each, suspects)), "")


def _one_cause(one: Lost, other: Lost, suspects: tuple[Suspect, ...]) -> bool:
    both = {one.sensor, other.sensor}
    chance = sum(
        suspect.probability
        for suspect in suspects
        if (suspect.cause.is_leak or suspect.cause is Cause.PUMP) and both <= set(suspect.sensors)
    )
    return chance >= LIKELY and _together(one.drop, other.drop)


def _hardest_first(farm: Farm, lost: Mapping[str, Lost]) -> list[str]:
    """In the order in which they may speak; those hit as hard as the hardest in the farm file's order."""
    least_pa = max((each.drop.drop_pa for each in lost.values()), default=0.0) - ALIKE_PA
    order = [PUMP, *farm.line_by_id]
    return sorted(lost, key=lambda name: (max(0.0, least_pa - lost[name].drop.drop_pa), order.index(name)))


def _together(one: VacuumDrop, other: VacuumDrop) -> bool:
    if one.since_ms is None or other.since_ms is None:
        return True
    return abs(one.since_ms - other.since_ms) <= TOGETHER_MS
