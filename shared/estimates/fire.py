"""The fire under the pan, from the stack's thermometer alone: firings, a dying fire, an over-fire.

A sharp fall that recovers is a firing. A fire below its own usual is dying once ten minutes have passed
since the door was last opened, and if nobody opened it, after five minutes below.

    readings -> recent (the last minute, in the order of time) -> Boil; fire() folds the recent too

What the stack alone cannot tell: wood going in from a door held open as long; a dying fire from the
wanted burn-down (`note_burn_down` says which); and with a reading a minute two firings in five pass between
two readings.
"""

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from statistics import median

from shared.errors import InvalidArgument
from shared.estimates.fire_boil import NO_RECOVERY_MS, Boil, OverFireKind, Sample, burn
from shared.readings import Unknown
from shared.units import to_si

AIR_C = 5.0
"""Stands in for the air where no sensor tells it: a boiling day. 10 °C wrong moves a dip's share by 3 %."""
LATE_MS = 60_000
"""How late a reading may come and still be put at its own time."""
STALE_MS = 5 * 60_000
"""Older news says nothing of a fire."""
SINKING_MS = 5 * 60_000
"""Below its usual with the door shut, before it is dying: the least of firing intervals, which are 5 to 9 min
(producers' accounts)."""
COUNTING_INTERVAL_S = 20.0
"""With rarer readings a door may open and shut unseen: firings are then a lower bound, and a fire below its
usual is given the whole ten minutes. Found on simulated boils (tests/unit/estimates/test_fire.py)."""
INTERVALS_NEEDED_COUNT = 3
ROBUST_SIGMA = 1.4826
"""Turns a median absolute deviation into a standard deviation (normal distribution)."""


class FireState(StrEnum):
    """What the fire does, in the words of who stands at the arch."""

    OUT = "out"
    LEARNING = "learning"
    """Lit, but its usual is not known yet: neither is a dying fire."""
    STEADY = "steady"
    DOOR_OPEN = "door_open"
    """Fell sharply and is not back yet."""
    LOW = "low"
    """Below its usual, not yet for so long that it is dying."""
    DYING = "dying"
    BURNING_DOWN = "burning_down"
    """As a dying fire, but wanted."""


@dataclass(frozen=True, slots=True)
class OverFire:
    """The stack is far too hot, or was until a minute ago."""

    kind: OverFireKind
    since_ms: int
    peak_c: float


@dataclass(frozen=True, slots=True)
class UsualBand:
    """This boil's stack between firings: the low that its crew lets it sink to, and its peak."""

    low_c: float
    peak_c: float


@dataclass(frozen=True, slots=True)
class Fire:
    """The fire as of its last reading. When it is out, boil and firings are those of the last boil."""

    measured_ms: int
    stack_c: float
    state: FireState
    since_ms: int
    """Lit or out since."""
    firings_ms: tuple[int, ...]
    """When the door was opened to fire, in this boil (the last 240)."""
    last_interval_s: float | None
    median_interval_s: float | None
    evenness_ratio: float | None
    """Robust spread of the intervals over their median: 0.1 is even, 0.4 is not. None below four firings."""
    firings_complete: bool
    """False where readings are too rare to see each firing: count and intervals are then bounds."""
    low_since_ms: int | None
    """Below its usual since; None while it is not."""
    usual: UsualBand | None
    over_fire: OverFire | None
    burn_down_wanted: bool
    boil_s: float
    above_creosote_s: float

    @property
    def is_lit(self) -> bool:
        """Something burns."""
        return self.state is not FireState.OUT


@dataclass(slots=True)
class FireHistory:
    """What one stack sensor has said; `over_fire_c` is the farm's limit for it."""

    over_fire_c: float = to_si(1000, "degF")
    boil: Boil = field(default_factory=Boil)
    recent: list[Sample] = field(default_factory=list)
    burn_down_ms: int | None = None


def observe_stack(state: FireHistory, measured_ms: int, stack_c: float, air_c: float | None) -> None:
    """Takes one reading of the stack, with the air's temperature at that time where it is known.

    A reading up to a minute late is put at its own time; an older one, or one already there, is ignored.

    Raises:
        InvalidArgument: a temperature is not a finite number.
    """
    for name, value in (("stack_c", stack_c), ("air_c", air_c)):
        if value is not None and not math.isfinite(value):
            raise InvalidArgument(name, value, "a finite number")
    last = state.boil.last
    if last is not None and measured_ms <= last[0]:
        return
    recent = state.recent
    at = len(recent)
    while at > 0 and recent[at - 1][0] >= measured_ms:
        at -= 1
    if at < len(recent) and recent[at][0] == measured_ms:
        return
    recent.insert(at, (measured_ms, stack_c, stack_c - (AIR_C if air_c is None else air_c)))
    settled_ms = recent[-1][0] - LATE_MS
    while recent[0][0] < settled_ms:
        state.boil = burn(state.boil, recent.pop(0), state.over_fire_c)


def note_burn_down(state: FireHistory, measured_ms: int) -> None:
    """The fire may burn down: somebody said so, or the feed tank is empty. Firing again takes it back."""
    state.burn_down_ms = measured_ms


def fire(state: FireHistory, now_ms: int) -> Fire | Unknown:
    """The fire now; Unknown without a reading of the last five minutes."""
    boil = _with_recent(state)
    if boil.last is None:
        return Unknown("the stack sensor has not spoken yet")
    measured_ms, stack_c, excess_c = boil.last
    if now_ms - measured_ms > STALE_MS:
        return Unknown(f"the stack sensor has been silent for {(now_ms - measured_ms) // 60_000} min")
    intervals_s = [(b - a) / 1000 for a, b in zip(boil.firings_ms, boil.firings_ms[1:], strict=False)]
    wanted = _is_burn_down_wanted(boil, state.burn_down_ms)
    usual = None
    if boil.usual_low_c is not None and boil.usual_peak_c is not None:
        air_c = stack_c - excess_c
        usual = UsualBand(boil.usual_low_c + air_c, boil.usual_peak_c + air_c)
    return Fire(
        measured_ms,
        stack_c,
        _state(boil, measured_ms, wanted=wanted),
        boil.turned_ms,
        tuple(boil.firings_ms),
        intervals_s[-1] if intervals_s else None,
        median(intervals_s) if intervals_s else None,
        _evenness_ratio(intervals_s),
        boil.interval_s <= COUNTING_INTERVAL_S,
        boil.low_since_ms if boil.lit else None,
        usual,
        OverFire(boil.over.kind, boil.over.since_ms, boil.over.peak_c) if boil.over is not None else None,
        wanted,
        ((measured_ms if boil.lit else boil.turned_ms) - boil.lit_ms) / 1000,
        boil.above_creosote_ms / 1000,
    )


def _with_recent(state: FireHistory) -> Boil:
    """The boil with the readings that late ones may still overtake; the state is left as it is."""
    settled = state.boil
    boil = replace(
        settled,
        trail=settled.trail.copy(),
        firings_ms=settled.firings_ms.copy(),
        blocks_c=settled.blocks_c.copy(),
        dip=None if settled.dip is None else replace(settled.dip),
        over=None if settled.over is None else replace(settled.over),
    )
    for sample in state.recent:
        boil = burn(boil, sample, state.over_fire_c)
    return boil


def _state(boil: Boil, measured_ms: int, *, wanted: bool) -> FireState:
    if not boil.lit:
        return FireState.OUT
    if boil.low_since_ms is None or boil.usual_low_c is None:
        if boil.dip is not None:
            return FireState.DOOR_OPEN
        return FireState.LEARNING if boil.usual_low_c is None else FireState.STEADY
    if boil.door_ms is not None and measured_ms - boil.door_ms < NO_RECOVERY_MS:
        return FireState.DOOR_OPEN if boil.dip is not None else FireState.LOW
    hold_ms = SINKING_MS if boil.interval_s <= COUNTING_INTERVAL_S else NO_RECOVERY_MS
    if measured_ms - boil.low_since_ms < hold_ms:
        return FireState.LOW
    return FireState.BURNING_DOWN if wanted else FireState.DYING


def _is_burn_down_wanted(boil: Boil, burn_down_ms: int | None) -> bool:
    last_act_ms = boil.firings_ms[-1] if boil.firings_ms else boil.lit_ms
    return burn_down_ms is not None and burn_down_ms >= last_act_ms


def _evenness_ratio(intervals_s: list[float]) -> float | None:
    if len(intervals_s) < INTERVALS_NEEDED_COUNT:
        return None
    middle_s = median(intervals_s)
    return ROBUST_SIGMA * median(abs(interval_s - middle_s) for interval_s in intervals_s) / middle_s
