"""When a sensor fell, by what steps, how far, and when it was back, from its minutes with hindsight.

Thawed minutes are followed across frost and rests of the pump: a line that a limb opened in the evening is
still open in the morning. Frozen minutes are looked at by themselves, against what the line held when the frost
came, for ice is not the limb, and a limb can fall in the frost.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from statistics import median

from shared.estimates.onset import MINUTE_MS, Departure, slack_pa, start_ms
from shared.estimates.tracks import GAP_MS, Minute, Track
from shared.units import INHG_PA

SURE_RATIO = 2.0
"""A fall counts once its cumulative sum is so many slacks: a blip of a minute or two does not get there."""
LEAST_FALL_PA = 0.5 * INHG_PA
"""Less is a gauge's own scatter, or the sap's way through the day (common practice, no source)."""
WORST_COUNT = 5
"""Minutes that the worst is a median of."""
EDGE_COUNT = 6
"""Minutes on either side of a step: the lines' air is replaced in less (isothermal emptying)."""
LEAST_STEP_PA = 1.0 * INHG_PA
"""A third of what trade advice calls a leak."""
STEP_SIGMAS = 4.0
FLAT_RATIO = 0.4
"""What changes more than this part of its step in the minutes before was sliding, and has no second step."""
REFERENCE_COUNT = 15
BACK_COUNT = 3


@dataclass(frozen=True, slots=True)
class Instant:
    """When something was first seen; it came after `heard_before_ms`, hours earlier where there was a gap."""

    at_ms: int
    heard_before_ms: int


@dataclass(frozen=True, slots=True)
class Fall:
    """From the first step down to the return."""

    since: Instant
    until: Instant | None
    """None while it is down at the last minute that can tell."""
    worst_pa: float
    worst_ms: int
    steps: tuple[Instant, ...]
    """The first, and each further one that took an inch of mercury or more."""
    is_sharp: bool
    """Whether it came in steps; else it slid."""
    is_cold: bool


def falls_of(track: Track) -> tuple[Fall, ...]:
    """Every fall since the storm began, in order of time; none where no usual is known."""
    if not track.drops_pa:
        return ()
    first = bisect_left(track.minutes_ms, track.from_ms)
    # A few minutes more, so that a step at the very beginning has a before.
    thawed = [i for i in range(len(track.drops_pa)) if track.standings[i] is Minute.OPEN]
    begin = max(0, bisect_left(thawed, first) - EDGE_COUNT)
    found = _scan(track, thawed[begin:], 0.0, is_cold=False)
    for kind, group in groupby(range(first, len(track.drops_pa)), key=lambda i: track.standings[i]):
        cold = list(group)
        # Once the pump has rested in the frost, what is missing is ice.
        if kind is Minute.COLD and not (cold[0] and track.standings[cold[0] - 1] is Minute.REST):
            found += _scan(track, cold, _held_pa(track, cold[0]), is_cold=True)
    return tuple(sorted(found, key=lambda fall: fall.since.at_ms))


def _held_pa(track: Track, index: int) -> float:
    """What was already missing when the frost came."""
    before = [track.drops_pa[i] for i in range(index) if track.standings[i] is not Minute.REST]
    return max(0.0, median(before[-REFERENCE_COUNT:])) if before else 0.0


def _scan(track: Track, indices: Sequence[int], held_pa: float, *, is_cold: bool) -> list[Fall]:
    minutes_ms = [track.minutes_ms[i] for i in indices]
    drops_pa = [track.drops_pa[i] - held_pa for i in indices]
    least_pa = slack_pa(track.noise_pa)
    departure, start, is_sure = Departure(), 0, False
    spans: list[tuple[int, int | None]] = []
    for index, (minute_ms, drop_pa) in enumerate(zip(minutes_ms, drops_pa, strict=True)):
        had = departure.since_ms
        departure.take(minute_ms, drop_pa, least_pa)
        if departure.since_ms is None:
            if is_sure:
                spans.append((start, index))
            is_sure = False
            continue
        start = index if had is None else start
        is_sure = is_sure or departure.sum_pa >= SURE_RATIO * least_pa
    if is_sure:
        spans.append((start, None))
    falls = [_fall(track, minutes_ms, drops_pa, span, is_cold=is_cold) for span in spans]
    return [
        fall for fall in falls if fall.worst_pa >= LEAST_FALL_PA and fall.steps[-1].at_ms >= track.from_ms
    ]


def _fall(
    track: Track,
    minutes_ms: Sequence[int],
    drops_pa: Sequence[float],
    span: tuple[int, int | None],
    *,
    is_cold: bool,
) -> Fall:
    least_pa = slack_pa(track.noise_pa)
    start, stop = span
    end = len(minutes_ms) if stop is None else stop
    while stop is not None and end - 1 > start and drops_pa[end - 1] <= least_pa:
        end -= 1
    windows = [
        (median(drops_pa[i : min(i + WORST_COUNT, end)]), i)
        for i in range(start, max(start + 1, end - WORST_COUNT + 1))
    ]
    worst_pa, worst = max(windows)
    edges = _edges(minutes_ms, drops_pa, start, end, max(LEAST_STEP_PA, STEP_SIGMAS * track.noise_pa))
    main = start_ms(minutes_ms[:end], drops_pa[:end], minutes_ms[start], worst_pa)
    at = [bisect_left(minutes_ms, at_ms) for at_ms in edges or [main]]
    until = None
    if stop is not None:
        until = Instant(minutes_ms[end], minutes_ms[end - 1])
    elif is_cold:
        until = _thawed(track, minutes_ms[-1], least_pa)
    steps = tuple(Instant(minutes_ms[i], minutes_ms[i - 1] if i else minutes_ms[i] - MINUTE_MS) for i in at)
    return Fall(
        since=steps[0],
        until=until,
        worst_pa=worst_pa,
        worst_ms=minutes_ms[min(worst + WORST_COUNT // 2, end - 1)],
        steps=steps,
        is_sharp=bool(edges),
        is_cold=is_cold,
    )


def _edges(
    minutes_ms: Sequence[int], drops_pa: Sequence[float], start: int, end: int, least_pa: float
) -> list[int]:
    """Times of the sharp steps down, each an inch or more, in order."""

    def level(first: int) -> float:
        return median(drops_pa[max(0, first) : first + EDGE_COUNT])

    rises: list[tuple[float, int]] = []
    for index in range(max(EDGE_COUNT, start - 1), min(end, len(drops_pa) - 1)):
        before_pa, after_pa = level(index - EDGE_COUNT), level(index)
        rise_pa = after_pa - before_pa
        earlier_pa = level(index - 2 * EDGE_COUNT) if index >= 2 * EDGE_COUNT else before_pa
        if rise_pa >= least_pa and abs(before_pa - earlier_pa) <= FLAT_RATIO * rise_pa:
            rises.append((rise_pa, index))
    edges: list[int] = []
    taken: list[int] = []
    for rise_pa, index in sorted(rises, reverse=True):
        if all(abs(index - other) > EDGE_COUNT for other in taken):
            taken.append(index)
            near = slice(index - EDGE_COUNT, index + EDGE_COUNT)
            base_pa = level(index - EDGE_COUNT)
            near_pa = [drop_pa - base_pa for drop_pa in drops_pa[near]]
            at_ms = start_ms(minutes_ms[near], near_pa, minutes_ms[near.start + 1], rise_pa)
            edges.append(_after_gap_ms(minutes_ms[near], near_pa, rise_pa / 2.0) or at_ms)
    return sorted(set(edges))


def _after_gap_ms(minutes_ms: Sequence[int], drops_pa: Sequence[float], least_pa: float) -> int | None:
    """The first minute after a gap, if most was lost within it."""
    gap_ms = max(b - a for a, b in pairwise(minutes_ms))
    for index in range(1, len(minutes_ms)):
        is_gap = minutes_ms[index] - minutes_ms[index - 1] == gap_ms >= GAP_MS
        if is_gap and drops_pa[index] - drops_pa[index - 1] >= least_pa:
            return minutes_ms[index]
    return None


def _thawed(track: Track, frozen_ms: int, least_pa: float) -> Instant | None:
    """The first thawed minutes after a frost in which the line is back."""
    count, since_ms, before_ms = 0, 0, frozen_ms
    for i in range(bisect_left(track.minutes_ms, frozen_ms) + 1, len(track.minutes_ms)):
        if track.standings[i] is not Minute.OPEN:
            continue
        if track.drops_pa[i] > least_pa:
            count, before_ms = 0, track.minutes_ms[i]
            continue
        since_ms = track.minutes_ms[i] if count == 0 else since_ms
        count += 1
        if count == BACK_COUNT:
            return Instant(since_ms, before_ms)
    return None
