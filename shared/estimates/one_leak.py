"""One leak is one text: of all places that lost vacuum together one speaks, and it explains what the others lost.

The place that was hit hardest speaks: a line's own gauges beyond a leak lose most. Where the pump lost as much as
any line, it speaks. Another is spoken for if it fell at the same time, and one cause that is at all likely explains
both falls; what fell at another time, or further than any such cause can make it, has a trouble of its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from shared.estimates.onset import MINUTE_MS
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.units import INHG_PA

TOGETHER_MS = 15 * MINUTE_MS
"""Drops of one leak begin within minutes of each other (isothermal emptying); sensors far apart in their intervals
see it a few minutes later."""
ALIKE_PA = 1.0 * INHG_PA
"""Places hit alike to within this take turns in being hit hardest, which must not change who speaks."""
LEAST_PROBABILITY = 0.05
"""A cause less likely than this explains nothing away."""


@dataclass(frozen=True, slots=True)
class Lost:
    """A place that lost enough to be told of: its sensor that lost most."""

    sensor: str
    drop: VacuumDrop


def spoken_for_by(farm: Farm, place: str, lost: Mapping[str, Lost], suspects: tuple[Suspect, ...]) -> str:
    """Who speaks for what this place lost: a line or the pump; empty: it does itself.

    `lost` has every place that would be told of if it stood alone, this one among them.
    """
    causes = [
        set(suspect.sensors)
        for suspect in suspects
        if (suspect.cause.is_leak or suspect.cause is Cause.PUMP) and suspect.probability >= LEAST_PROBABILITY
    ]
    speakers: list[str] = []
    for name in _hardest_first(farm, lost):
        mine = lost[name]
        speaker = next(
            (
                one
                for one in speakers
                if _together(lost[one].drop, mine.drop)
                and any({lost[one].sensor, mine.sensor} <= cause for cause in causes)
            ),
            "",
        )
        if name == place:
            return speaker
        if not speaker:
            speakers.append(name)
    return ""


def _hardest_first(farm: Farm, lost: Mapping[str, Lost]) -> list[str]:
    """In the order in which they may speak; those hit as hard as the hardest in the farm file's order."""
    least_pa = max((each.drop.drop_pa for each in lost.values()), default=0.0) - ALIKE_PA
    order = [PUMP, *farm.line_by_id]
    return sorted(
        lost,
        key=lambda name: (max(0.0, least_pa - lost[name].drop.drop_pa), order.index(name)),
    )


def _together(one: VacuumDrop, other: VacuumDrop) -> bool:
    if one.since_ms is None or other.since_ms is None:
        return True
    return abs(one.since_ms - other.since_ms) <= TOGETHER_MS
