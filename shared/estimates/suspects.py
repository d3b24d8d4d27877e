"""What a suspected cause is: where, how probable, how large, what it costs, and the words to say so."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from shared.estimates.lines import AT_PUMP, Place, Tree, distance_from_pump_m
from shared.estimates.onset import slack_pa
from shared.estimates.vacuum import VacuumDrop
from shared.farm import PUMP, Farm
from shared.physics.air import yield_response_ratio
from shared.physics.contested import Contested
from shared.readings import Band
from shared.units import GALLON_M3, from_si

TAP_YIELD_M3_DAY = GALLON_M3
"""Sap of a tap on a good day: about a gallon (trade forums; up to three under high vacuum, from memory)."""
APART_RATIO = 0.25
"""Part of a drop by which sensors that drop alike may differ: usual flows lose less at a higher pressure (common
practice, no source)."""
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
    laterals: tuple[str, ...]
    """Laterals that join here and cannot be told apart from the line."""
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


def sap_lost_m3_day(drop: VacuumDrop, taps_count: float, tap_yield_m3_day: float) -> Contested:
    """Sap that so many taps give less in a day because of this drop; nothing when there is none.

    Source: linear yield response, 5 % of the gravity yield per inHg, contested at 4 to 7 %.
    """
    kept = yield_response_ratio(min(drop.now_pa, drop.usual_pa), drop.usual_pa)
    whole_m3_day = taps_count * tap_yield_m3_day
    return Contested(*(whole_m3_day * (1.0 - part) for part in (kept.high, kept.usual, kept.low)))


def added(losses: Iterable[Contested]) -> Contested | None:
    """Their sum, least to least and most to most; None of none."""
    columns = [(loss.low, loss.usual, loss.high) for loss in losses]
    return Contested(*(sum(column) for column in zip(*columns, strict=True))) if columns else None


def fallen(known: Mapping[str, VacuumDrop], names: Iterable[str]) -> tuple[str, ...]:
    """Those of the sensors that have fallen beyond noise, the hardest hit first."""
    down = [name for name in names if known[name].drop_pa > slack_pa(known[name].noise_pa)]
    return tuple(sorted(down, key=lambda name: -known[name].drop_pa))


def unexplained(tree: Tree, known: Mapping[str, VacuumDrop], at: int) -> tuple[str, ...]:
    """Sensors that fell further than a leak at that piece (or the pump's fault) makes them, the hardest hit first.

    Lines that branch off at the same joint on the way to a leak drop alike, and so does all beyond it. What
    falls further than the least of them by their slack has a trouble of its own.
    """
    way = tree.way(at)
    alike: dict[int, list[str]] = {}
    for name in known:
        passed = [piece for piece in tree.way(tree.sensors[name]) if piece in way]
        alike.setdefault(passed[-1] if passed else AT_PUMP, []).append(name)
    strange: list[str] = []
    for names in alike.values():
        least_pa = min(known[name].drop_pa for name in names)
        strange += [name for name in names if known[name].drop_pa > least_pa + _apart_pa(known[name])]
    return fallen(known, strange)


def where_words(farm: Farm, cause: Cause, line: str, from_m: float, to_m: float) -> str:
    """Where to go, in feet from the pump."""
    if cause is Cause.NOTHING:
        return "nowhere"
    if line == PUMP:
        return "the pump or its releaser"
    near_ft, far_ft = (
        from_si(distance_from_pump_m(farm, Place(line, at_m)), "ft") for at_m in (from_m, to_m)
    )
    if cause is Cause.SENSOR:
        return f"the sensor on {line} itself, {near_ft:,.0f} ft from the pump"
    return f"{line}, {near_ft:,.0f} to {far_ft:,.0f} ft from the pump"


def why_words(known: Mapping[str, VacuumDrop], names: Iterable[str]) -> str:
    """What fell by how much, and how many others held."""
    down = fallen(known, names)
    told = [f"{name} fell {from_si(known[name].drop_pa, 'inHg'):.1f} inHg" for name in down[:TOLD_COUNT]]
    if len(down) > TOLD_COUNT:
        told.append(f"{len(down) - TOLD_COUNT} more fell less")
    held = len(known) - len(fallen(known, known))
    return ", ".join(told or ["none fell beyond noise"]) + (f"; {held} held" if held and told else "")


def _apart_pa(drop: VacuumDrop) -> float:
    """By this much two sensors that drop alike may differ."""
    return 2.0 * slack_pa(drop.noise_pa) + APART_RATIO * drop.drop_pa
