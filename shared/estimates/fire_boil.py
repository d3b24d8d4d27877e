"""One boil as its stack tells it, folded reading by reading in the order of time.

Opening the fire door lets cold air into the stack: every thermometer falls within seconds and comes back
in a minute or three, and the fire is none the lower for it. A fire that dies sinks slowly, or does not come
back. So the fold keeps three things apart: a sharp fall and its recovery (`dip`), how long the fire has
been under its own usual (`low_since_ms`), and how long it has been far too hot (`over`). What they mean
together is said in fire.py.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from shared.units import to_si

CREOSOTE_C = to_si(250, "degF")
"""Below it smoke condenses in the flue. Source: Alaska DEC advice on wood heat, keep the flue over 250 °F."""
LIT_C = CREOSOTE_C
OUT_C = to_si(200, "degF")
"""A dead band under LIT_C: kindling that flickers does not start boil after boil (our choice)."""
LIT_HOLD_MS = 2 * 60_000
OUT_HOLD_MS = 10 * 60_000
"""A stack left cold by an open door is given as long to recover as a low fire is."""
GAP_MS = 5 * 60_000
"""Over a longer silence no fall or rise is read."""
BOIL_GAP_MS = 3 * 3_600_000
"""A longer silence ends the boil: whatever burns after it was lit anew (our choice)."""

DIP_MS = 60_000
DIP_FRACTION = 0.15
"""A fall of over 15 % of the stack's excess over the air within a minute: the door (from memory)."""
BEYOND_SINKING_FRACTION = 0.10
"""Of that, a fire that sinks may take up to its own rate: so much must be left (our choice)."""
DIP_LEAST_C = 15.0
"""That share of a stack just lit: embers that flutter by a few degrees open no door."""
STILL_UP_FRACTION = 0.95
"""The last reading this near the level before the fall is taken for the moment the door opened."""
SPIKE_MS = 15_000
"""A shorter fall is no door: a loose wire recovers so fast, the steel of a stack cannot."""
REGAINED_FRACTION = 0.6
"""Of the fall, when the door counts as shut again; the rest comes with the new wood (our choice)."""
RECOVERY_MS = 4 * 60_000
"""Falls within one minute, recovers within three (from memory): a longer dip was no firing."""
NO_RECOVERY_MS = 10 * 60_000
"""A fall that is not made good by then is a fire lost (from memory)."""

WARM_UP_MS = 10 * 60_000
"""A fire just lit is not the boil's usual."""
BLOCK_MS = 3 * 60_000
"""The hottest of three minutes looks over a firing's dip."""
BLOCKS_KEPT_COUNT = 60
"""Three hours: long enough for a steady figure, short enough to follow wetter wood."""
BLOCKS_NEEDED_COUNT = 6
"""Two or three firings show what low is."""
PEAK_BLOCKS_NEEDED_COUNT = 10
"""The highest peak of four or five firings is one that the next may pass a little, not by 100 °F."""
LOW_MARK_FRACTION = 0.8
BACK_MARK_FRACTION = 0.9
"""Of the usual low, what the crew lets it sink to: under the first it is low, over the second back
(our choice)."""

OVER_HOLD_MS = 2 * 60_000
OVER_DEAD_C = 10.0
"""The stack must be this far under the limit again: gas flutters by a few degrees."""
OVER_RISE_C = 100 * 5 / 9
RISE_MS = 60_000
"""100 °F within a minute, all of it above the usual peak: a fire in the stack itself (from memory)."""
RISE_HOLD_MS = 20_000
"""One wild reading is not a chimney fire."""
OVER_END_MS = 60_000
"""Once told, an over-fire stays told until the stack has been cooler for so long."""
INTERVAL_WEIGHT_COUNT = 16
"""A reading's interval weighs a sixteenth in the running mean (our choice)."""
FIRINGS_KEPT_COUNT = 240
"""A day and a night of boiling."""

Sample = tuple[int, float, float]
"""Time in ms, stack in °C, its excess over the air in °C."""


class OverFireKind(StrEnum):
    """Which of the two signs of an over-fire was seen."""

    LIMIT = "limit"
    """Above the farm's limit for over two minutes."""
    RISE = "rise"
    """Rising over 100 °F a minute above the boil's usual peak."""


@dataclass(slots=True)
class Dip:
    """The stack fell sharply and is not back; temperatures are excess over the air."""

    start_ms: int
    before_c: float
    bottom_c: float


@dataclass(slots=True)
class Over:
    """An over-fire that was told; `cooler_ms` is since when neither sign holds any more."""

    kind: OverFireKind
    since_ms: int
    peak_c: float
    cooler_ms: int | None = None


@dataclass(slots=True)
class Boil:
    """This boil, or while the fire is out the last one. Temperatures are excess over the air."""

    lit: bool = False
    turned_ms: int = 0
    """Lit or out since."""
    turning_ms: int | None = None
    """Since when it has been hot (while out) or cold (while lit) enough to turn."""
    lit_ms: int = 0
    last: Sample | None = None
    interval_s: float = 0.0
    """Between readings, running mean."""
    trail: list[Sample] = field(default_factory=list)
    """The last two minutes."""
    dip: Dip | None = None
    door_ms: int | None = None
    """The last sharp fall."""
    firings_ms: list[int] = field(default_factory=list)
    blocks_c: list[float] = field(default_factory=list)
    """The hottest of each three minutes of usual burning."""
    block_start_ms: int = 0
    block_peak_c: float = 0.0
    usual_low_c: float | None = None
    usual_peak_c: float | None = None
    low_since_ms: int | None = None
    limit_since_ms: int | None = None
    """The stack itself has been above the farm's limit since."""
    rise_since_ms: int | None = None
    over: Over | None = None
    above_creosote_ms: int = 0


def burn(boil: Boil, sample: Sample, over_fire_c: float) -> Boil:
    """The boil after the next reading in the order of time: the same one, or a new one once it is lit anew.

    `over_fire_c` is the farm's limit for the stack itself.
    """
    measured_ms, stack_c, excess_c = sample
    last = boil.last
    gap_ms = measured_ms - last[0] if last is not None else 0
    if gap_ms > GAP_MS:
        boil.trail.clear()
        boil.dip = None
        boil.block_start_ms = measured_ms
        boil.block_peak_c = excess_c
        if boil.lit and last is not None and gap_ms > BOIL_GAP_MS:
            boil.lit, boil.turned_ms, boil.turning_ms = False, last[0], None
    elif last is not None:
        boil.interval_s += (gap_ms / 1000 - boil.interval_s) / INTERVAL_WEIGHT_COUNT
        if boil.lit and stack_c >= CREOSOTE_C and last[1] >= CREOSOTE_C:
            boil.above_creosote_ms += gap_ms
    boil.last = sample
    boil = _lit_or_out(boil, measured_ms, stack_c, excess_c)
    if not boil.lit:
        return boil
    _watch_door(boil, measured_ms, excess_c)
    _learn(boil, measured_ms, excess_c)
    _watch_low(boil, measured_ms, excess_c)
    _watch_over(boil, measured_ms, stack_c, excess_c, over_fire_c)
    trail = boil.trail
    trail.append(sample)
    while trail[0][0] < measured_ms - 2 * DIP_MS:
        trail.pop(0)
    return boil


def _lit_or_out(boil: Boil, measured_ms: int, stack_c: float, excess_c: float) -> Boil:
    turns, stays = (stack_c < OUT_C, stack_c >= LIT_C) if boil.lit else (stack_c >= LIT_C, stack_c < OUT_C)
    if stays:
        boil.turning_ms = None
    elif turns and boil.turning_ms is None:
        boil.turning_ms = measured_ms
    since_ms = boil.turning_ms
    if since_ms is None or measured_ms - since_ms < (OUT_HOLD_MS if boil.lit else LIT_HOLD_MS):
        return boil
    if boil.lit:
        boil.lit, boil.turned_ms, boil.turning_ms, boil.over = False, since_ms, None, None
        return boil
    fresh = Boil(lit=True, turned_ms=since_ms, lit_ms=since_ms, last=boil.last, interval_s=boil.interval_s)
    fresh.block_start_ms, fresh.block_peak_c = measured_ms, excess_c
    fresh.above_creosote_ms = measured_ms - since_ms
    return fresh


def _watch_door(boil: Boil, measured_ms: int, excess_c: float) -> None:
    dip = boil.dip
    if dip is None or measured_ms - dip.start_ms >= 2 * DIP_MS:
        before_c = _sharp_fall_from_c(boil.trail, measured_ms, excess_c)
        if before_c is not None:
            still_up = (s[0] for s in reversed(boil.trail) if s[2] >= before_c * STILL_UP_FRACTION)
            boil.dip = dip = Dip(next(still_up), before_c, excess_c)
    if dip is None:
        return
    open_ms = measured_ms - dip.start_ms
    dip.bottom_c = min(dip.bottom_c, excess_c)
    if open_ms >= SPIKE_MS:
        boil.door_ms = dip.start_ms
    if excess_c >= dip.bottom_c + REGAINED_FRACTION * (dip.before_c - dip.bottom_c):
        if SPIKE_MS <= open_ms <= RECOVERY_MS:
            boil.firings_ms.append(dip.start_ms)
            del boil.firings_ms[:-FIRINGS_KEPT_COUNT]
        boil.dip = None
        # What stands in the trail is the dip itself; the next fall is measured from here.
        boil.trail.clear()
    elif open_ms >= NO_RECOVERY_MS:
        boil.dip = None


def _sharp_fall_from_c(trail: list[Sample], measured_ms: int, excess_c: float) -> float | None:
    """What it fell from within a minute, if faster than it was sinking the minute before; else None."""
    turn_ms = measured_ms - DIP_MS
    before_c = earlier_c = 0.0
    for sample_ms, _, sample_c in trail:
        if sample_ms < turn_ms:
            earlier_c = max(earlier_c, sample_c)
        else:
            before_c = max(before_c, sample_c)
    before_c = before_c or earlier_c
    sinking_ratio = min(1.0, before_c / earlier_c) if earlier_c > 0 else 1.0
    sinking_c = before_c * sinking_ratio * (1 - BEYOND_SINKING_FRACTION)
    fell = excess_c < min(before_c * (1 - DIP_FRACTION), before_c - DIP_LEAST_C, sinking_c)
    return before_c if fell else None


def _learn(boil: Boil, measured_ms: int, excess_c: float) -> None:
    """Keeps the hottest of each three minutes, but neither the warming up, nor neglect, nor an over-fire."""
    boil.block_peak_c = max(boil.block_peak_c, excess_c)
    if measured_ms - boil.block_start_ms < BLOCK_MS:
        return
    tended = boil.door_ms is not None and measured_ms - boil.door_ms < NO_RECOVERY_MS
    usual = boil.over is None and boil.limit_since_ms is None
    if usual and (tended or boil.low_since_ms is None) and measured_ms - boil.lit_ms >= WARM_UP_MS:
        boil.blocks_c.append(boil.block_peak_c)
        del boil.blocks_c[:-BLOCKS_KEPT_COUNT]
        if len(boil.blocks_c) >= BLOCKS_NEEDED_COUNT:
            ranked_c = sorted(boil.blocks_c)
            boil.usual_low_c = ranked_c[len(ranked_c) // 10]
            boil.usual_peak_c = ranked_c[-1 - len(ranked_c) // 20]
    boil.block_start_ms, boil.block_peak_c = measured_ms, excess_c


def _watch_low(boil: Boil, measured_ms: int, excess_c: float) -> None:
    if boil.usual_low_c is None:
        return
    if excess_c >= boil.usual_low_c * BACK_MARK_FRACTION:
        boil.low_since_ms = None
    elif boil.low_since_ms is None and excess_c < boil.usual_low_c * LOW_MARK_FRACTION:
        boil.low_since_ms = measured_ms


def _watch_over(boil: Boil, measured_ms: int, stack_c: float, excess_c: float, over_fire_c: float) -> None:
    _watch_limit(boil, measured_ms, stack_c, over_fire_c)
    _watch_rise(boil, measured_ms, excess_c)
    kind, since_ms = None, 0
    if boil.limit_since_ms is not None and measured_ms - boil.limit_since_ms >= OVER_HOLD_MS:
        kind, since_ms = OverFireKind.LIMIT, boil.limit_since_ms
    elif boil.rise_since_ms is not None and measured_ms - boil.rise_since_ms >= RISE_HOLD_MS:
        kind, since_ms = OverFireKind.RISE, boil.rise_since_ms
    over = boil.over
    if over is None:
        if kind is not None:
            boil.over = Over(kind, since_ms, stack_c)
        return
    over.peak_c = max(over.peak_c, stack_c)
    if kind is OverFireKind.LIMIT:
        over.kind = kind
    if boil.limit_since_ms is not None or boil.rise_since_ms is not None:
        over.cooler_ms = None
    elif over.cooler_ms is None:
        over.cooler_ms = measured_ms
    elif measured_ms - over.cooler_ms >= OVER_END_MS:
        boil.over = None


def _watch_limit(boil: Boil, measured_ms: int, stack_c: float, over_fire_c: float) -> None:
    if stack_c < over_fire_c - OVER_DEAD_C:
        boil.limit_since_ms = None
    elif stack_c >= over_fire_c and boil.limit_since_ms is None:
        boil.limit_since_ms = measured_ms


def _watch_rise(boil: Boil, measured_ms: int, excess_c: float) -> None:
    peak_c = boil.usual_peak_c
    if peak_c is None or len(boil.blocks_c) < PEAK_BLOCKS_NEEDED_COUNT or excess_c < peak_c + OVER_RISE_C:
        boil.rise_since_ms = None
    elif boil.rise_since_ms is None:
        minute_ago_c = next((s[2] for s in boil.trail if s[0] >= measured_ms - RISE_MS), excess_c)
        if excess_c - max(peak_c, minute_ago_c) >= OVER_RISE_C:
            boil.rise_since_ms = measured_ms
