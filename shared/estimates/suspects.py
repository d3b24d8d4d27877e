"""What a suspected cause is: where, how probable, how large, what it costs, and the words to say so."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from shared.estimates.lines import AT_PUMP, Place, Stretch, Tree, distance_from_pump_m
from shared.estimates.onset import slack_pa
from shared.estimates.vacuum import VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP, LineKind
from shared.physics.air import yield_response_ratio
from shared.physics.contested import Contested
from shared.readings import Band
from shared.units import GALLON_M3, from_si

TAP_YIELD_M3_DAY = GALLON_M3
"""Sap of a tap on a good day: about a gallon (trade forums; up to three under high vacuum, from memory)."""
APART_RATIO = 0.25
"""Part of a drop by which sensors that drop alike may differ: usual flows lose less at a higher pressure
(common practice, no source)."""
LEAST_DROP_PA = 1.0
"""Below a pascal rounding is larger than the loss."""
TOLD_COUNT = 3
"""More sensors than this say nothing more in a sentence."""


class Cause(StrEnum):
    """What may have taken the vacuum."""

    PUMP = "pump"
    """Pump or releaser: everything drops alike."""
    CONDUCTOR = "conductor"
    MAINLINE = "mainline"
    LATERAL = "lateral"
    FROZEN = "frozen"
    """Ice has cut off what lies uphill."""
    SENSOR = "sensor"
    """Only this sensor, in no pattern that air can make."""
    NOTHING = "nothing"

    @property
    def is_leak(self) -> bool:
        """Whether air comes in along a line."""
        return self in (Cause.CONDUCTOR, Cause.MAINLINE, Cause.LATERAL)


@dataclass(frozen=True, slots=True)
class Suspect:
    """One cause: of leak and ice a stretch of line, of sensor and pump a point, of nothing no place."""

    cause: Cause
    line: str
    """The line, `pump` for the pump, empty for nothing; of a sensor the line it sits on."""
    from_m: float
    to_m: float
    """Along the line, from its pump end."""
    joining: tuple[str, ...]
    """Lines that join here, unwatched: nothing measured can tell them from the line itself."""
    probability: float
    onset_ms: int | None
    """Of the sensor that it hit hardest; None while none has fallen beyond noise."""
    leak_m3_s: Band | None
    """Free air that comes in; None where the cause is no leak."""
    sap_lost_m3_day: Contested | None
    """By the taps uphill of it; None where no sap is lost, or nobody watches."""
    sensors: tuple[str, ...]
    """Those that fell because of it, the hardest hit first."""
    unexplained: tuple[str, ...]
    """Those that fell, or fell further, for another reason: a second trouble."""
    where: str
    why: str


def sap_lost_m3_day(usual_pa: float, drop_pa: float, whole_m3_day: float) -> Contested:
    """Of so much sap a day at the usual vacuum, what this drop costs; nothing when there is none.

    Source: linear yield response, 5 % of the gravity yield per inHg, contested at 4 to 7 %.

    >>> round(sap_lost_m3_day(25 * 3386.389, 5 * 3386.389, 9.0).usual, 6)
    1.0
    """
    if drop_pa <= LEAST_DROP_PA:
        return Contested(0.0, 0.0, 0.0)
    # Blown air can take a line a little below no vacuum; the trees then run as by gravity.
    kept = yield_response_ratio(max(0.0, usual_pa - drop_pa), usual_pa)
    return Contested(*(whole_m3_day * (1.0 - part) for part in (kept.high, kept.usual, kept.low)))


def added(losses: Iterable[Contested]) -> Contested | None:
    """Their sum, least to least and most to most; None of none."""
    columns = [(loss.low, loss.usual, loss.high) for loss in losses]
    return Contested(*(sum(column) for column in zip(*columns, strict=True))) if columns else None


def fallen(known: Mapping[str, VacuumDrop]) -> tuple[str, ...]:
    """The sensors that have fallen beyond noise, the hardest hit first."""
    down = [name for name, drop in known.items() if drop.drop_pa > slack_pa(drop.noise_pa)]
    return tuple(sorted(down, key=lambda name: -known[name].drop_pa))


def unexplained(tree: Tree, known: Mapping[str, VacuumDrop], at: int) -> frozenset[str]:
    """Sensors that fell further than a leak in that piece (or the pump's fault, at AT_PUMP) makes them.

    Lines that branch off at the same joint on the way to a leak drop alike, and so does all beyond it. What
    falls further than the least of them by their slack has a trouble of its own.
    """
    way = set(tree.way(at))
    alike: dict[int, list[str]] = {}
    for name, end in tree.sensors.items():
        parted = next((piece for piece in reversed(tree.way(end)) if piece in way), AT_PUMP)
        alike.setdefault(parted, []).append(name)
    strange = set()
    for names in alike.values():
        least_pa = min(known[name].drop_pa for name in names)
        strange |= {name for name in names if known[name].drop_pa > least_pa + _apart_pa(known[name])}
    return frozenset(strange)


def where_words(farm: Farm, cause: Cause, stretch: Stretch, joining: Iterable[str]) -> str:
    """Where to go, in feet from the pump."""
    if cause is Cause.NOTHING:
        return "nowhere"
    if stretch.line == PUMP:
        return "the sensor at the pump" if cause is Cause.SENSOR else "the pump or its releaser"
    near_ft, far_ft = (
        from_si(distance_from_pump_m(farm, Place(stretch.line, at_m)), "ft")
        for at_m in (stretch.from_m, stretch.to_m)
    )
    if cause is Cause.SENSOR:
        return f"the sensor on {stretch.line}, {near_ft:,.0f} ft from the pump"
    branches = [name for name in joining if farm.line_by_id[name].kind is not LineKind.LATERAL]
    with_them = f", or {', '.join(branches)}" if branches else ""
    return f"{stretch.line} {near_ft:,.0f} to {far_ft:,.0f} ft from the pump{with_them}"


def why_words(known: Mapping[str, VacuumDrop], down: Sequence[str], held_count: int) -> str:
    """What fell by how much, and how many others held."""
    if not down:
        return "none fell beyond noise"
    told = [f"{name} fell {from_si(known[name].drop_pa, 'inHg'):.1f} inHg" for name in down[:TOLD_COUNT]]
    if len(down) > TOLD_COUNT:
        told.append(f"{len(down) - TOLD_COUNT} more fell less")
    return ", ".join(told) + (f"; {held_count} held" if held_count else "")


def _apart_pa(drop: VacuumDrop) -> float:
    """By this much two sensors that drop alike may differ."""
    return 2.0 * slack_pa(drop.noise_pa) + APART_RATIO * drop.drop_pa
