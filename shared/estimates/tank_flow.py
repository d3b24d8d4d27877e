"""How fast a tank fills or empties now, and when it will be full, from a noisy level alone.

A tank's volume is a line that bends when a transfer, the RO or a run starts or stops, wanders as the
run does, and is seen through releaser dumps, foam, sensor steps and gaps. So:

1. Readings are kept as one median a minute over three hours; a running median of five takes foam out.
2. The present stretch starts where two lines with clearly different slopes fit better than one.
3. Its slope is the median of pairwise slopes (Theil-Sen), over as much of it as balances sensor noise
   against the wandering of the run. Its error counts residuals in runs, so dump steps are not noise
   that averages out.
4. Time to full divides the room left by that rate, widened by how much the rate will wander until
   then: the run's own wandering so far, blended with what runs usually do. Runs wane more often than
   they grow, which makes the late edge later, never the early one.
"""

import math
from bisect import bisect_left, bisect_right, insort
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median, median_low

from shared.errors import InvalidArgument
from shared.estimates.stretch import STRETCH_POINTS, Series, Stretch
from shared.readings import Band, Unknown
from shared.units import DAY_S, HOUR_S

SLOT_MS = 60_000
"""One median a minute: dumps come 0.5 to 5 min apart (from memory), and 180 of them are a small state."""
WINDOW_MS = 3 * 3_600_000
STALE_COUNT = 5
STALE_LEAST_S = 300.0
"""Silent after five missed intervals, as the rule sensor_silent says (from memory, design advice)."""
LEAST_SLOTS = 5
LEAST_SPAN_S = 240.0
"""Four minutes: with less, one dump of the releaser is the whole slope."""

LEAST_FIT_S = 1800.0

USUAL_WANDER_RATIO = 0.19
"""A run's rate changes by about a fifth within an hour, and by the root of time beyond (from simulated
day curves, waning nights and gusts of warmth; no published figure). Calibrated to cover 80 %."""
USUAL_WANDER_WEIGHT = 1.5
"""The usual counts as much as that many independent hours of this run."""
LEAST_WANDER_RATIO = 0.5 * USUAL_WANDER_RATIO
"""A run that has been steady for three hours may still end at dusk."""
WANING_RATIO_PER_H = 0.06
"""By so much an hour the slow edge of a forecast wanes, beside its wandering: a run begins before noon and is over
eight to ten hours later (Kurokawa et al. 2022), so hours ahead it is weaker rather than stronger. Calibrated to cover
80 % of simulated fills, those that wane by a seventh an hour and those that do not."""
WANDER_LIMIT_RATIO = 0.6
"""Trees neither stop all at once nor double: the wandering levels off there."""
WANDER_BLOCK_S = 1200.0
MACHINE_RATIO = 2.5
"""A rate that differs by more was another stretch: a transfer or the RO, not the run wandering."""
Z_80 = 1.2816
"""10 and 90 % points of the normal distribution."""
LONGEST_FORECAST_S = 2 * DAY_S
"""What would take two days even at the fast end is not filling: no run goes on that long unchanged."""

STUCK_LEAST_S = 1200.0
STUCK_COUNT = 15
"""With noise as wide as a step two readings agree at most 4 times in 10, so 15 in a row once in a million."""
JITTER_STEPS = 1.5
JITTER_LEAST_COUNT = 4
JITTER_LEAST_RATIO = 0.03
"""Readings that fell back by more than a step, to a new value, before the noise counts as wider than a step.
Foam falls back once in hours; a coarse, quiet sensor on still sap says the same for hours, rightly."""
JITTER_MEMORY = 400
STEP_FORGETS = 1.02
"""The least step grows by so much a change, since a step of level is more sap where the tank is wide."""


@dataclass(slots=True)
class VolumeHistory:
    """Three hours of one tank's volume, a median a minute, and how its sensor jitters."""

    times_ms: list[int] = field(default_factory=list)
    volumes_m3: list[float] = field(default_factory=list)
    newest: list[tuple[int, float]] = field(default_factory=list)
    """Readings of the newest minute, in order of time."""
    last_m3: float | None = None
    before_m3: float | None = None
    """The last value, and the last different one before it."""
    changed_ms: int = 0
    same_count: int = 0
    least_step_m3: float | None = None
    change_count: int = 0
    jitter_count: int = 0


@dataclass(frozen=True, slots=True)
class TankFlow:
    """The net flow of a tank (in less out) and what a forecast needs beside it."""

    net_m3_s: Band
    volume_m3: float
    """Smoothed, at `measured_ms`."""
    volume_error_m3: float
    """Standard error of it, with the releaser's steps."""
    since_ms: int
    """Start of the stretch that this rate describes."""
    measured_ms: int
    wander_ratio: float
    """Standard deviation of the rate an hour later, relative to it."""


@dataclass(frozen=True, slots=True)
class FillTime:
    """Time until a tank is full: 10, 50 and 90 of 100 such fills are full by then."""

    low_s: float
    middle_s: float
    high_s: float | None
    """None: it may well never fill at this rate."""


@dataclass(frozen=True, slots=True)
class NotFilling:
    """The tank holds still, empties, or rises so slowly that no forecast makes sense."""

    net_m3_s: float


def observe_volume(history: VolumeHistory, measured_ms: int, volume_m3: float) -> None:
    """Take one reading in; a repeated one changes nothing, a late one fills its own empty minute.

    Raises:
        InvalidArgument: the volume is not a finite number.
    """
    if not math.isfinite(volume_m3):
        raise InvalidArgument("volume_m3", volume_m3, "a finite number")
    times, volumes, slot = history.times_ms, history.volumes_m3, measured_ms // SLOT_MS
    if not times or slot > times[-1] // SLOT_MS:
        history.newest = [(measured_ms, volume_m3)]
        times.append(measured_ms)
        volumes.append(volume_m3)
        expired = bisect_left(times, measured_ms - WINDOW_MS)
        del times[:expired], volumes[:expired]
        _notice_jitter(history, measured_ms, volume_m3)
    elif slot == times[-1] // SLOT_MS:
        if any(at_ms == measured_ms for at_ms, _ in history.newest):
            return
        if measured_ms > history.newest[-1][0]:
            _notice_jitter(history, measured_ms, volume_m3)
        insort(history.newest, (measured_ms, volume_m3))
        times[-1] = history.newest[(len(history.newest) - 1) // 2][0]
        volumes[-1] = median_low(value for _, value in history.newest)
    elif measured_ms >= times[-1] - WINDOW_MS:
        place = bisect_left(times, measured_ms)
        beside = times[max(0, place - 1) : place + 1]
        if all(slot != at_ms // SLOT_MS for at_ms in beside):
            times.insert(place, measured_ms)
            volumes.insert(place, volume_m3)


def _notice_jitter(history: VolumeHistory, measured_ms: int, volume_m3: float) -> None:
    last_m3, before_m3 = history.last_m3, history.before_m3
    if volume_m3 == last_m3:
        history.same_count += 1
        return
    if last_m3 is not None and before_m3 is not None:
        step_m3 = abs(volume_m3 - last_m3)
        history.least_step_m3 = min(step_m3, (history.least_step_m3 or step_m3) * STEP_FORGETS)
        back = (volume_m3 - last_m3) * (last_m3 - before_m3) < 0
        # Back to the very same value is the toggling of one step, which says nothing of the noise.
        jitter = back and volume_m3 != before_m3 and step_m3 > JITTER_STEPS * history.least_step_m3
        history.change_count += 1
        history.jitter_count += jitter
        if history.change_count > JITTER_MEMORY:
            history.change_count //= 2
            history.jitter_count //= 2
    history.before_m3, history.last_m3 = last_m3, volume_m3
    history.same_count, history.changed_ms = 0, measured_ms


def interval_s(history: VolumeHistory) -> float:
    """Usual time between the kept minutes, at least one minute; 60 s before there are two."""
    gaps = [(b - a) / 1000.0 for a, b in pairwise(history.times_ms[-20:])]
    return median(gaps) if gaps else SLOT_MS / 1000.0


def tank_flow(history: VolumeHistory, now_ms: int) -> TankFlow | Unknown:
    """Net flow of the present stretch, with its 80 % band; Unknown when silent, stuck or too new."""
    if not history.times_ms:
        return Unknown("no level reading yet")
    last_ms = history.newest[-1][0]
    silent_s = (now_ms - last_ms) / 1000.0
    if silent_s > max(STALE_LEAST_S, STALE_COUNT * interval_s(history)):
        return Unknown(f"no level reading for {silent_s / 60:.0f} min")
    if _is_stuck(history, last_ms):
        return Unknown(f"level stuck at one value for {(last_ms - history.changed_ms) / 60_000:.0f} min")
    times_s = [(at_ms - last_ms) / 1000.0 for at_ms in history.times_ms]
    if len(times_s) < LEAST_SLOTS or times_s[-1] - times_s[0] < LEAST_SPAN_S:
        return Unknown("too few level readings yet")

    series = Series(times_s, history.volumes_m3)
    start = series.present_start()
    stretch, wander = series.stretch(start), USUAL_WANDER_RATIO
    if stretch.slope_m3_s > 0:
        wander = _wander_ratio(series, stretch.slope_m3_s)
        span_s = _balanced_span_s(stretch, wander)
        if span_s < stretch.span_s:
            # Never shorter than a stretch may be, however long the sensor's interval.
            stretch = series.stretch(min(bisect_left(times_s, -span_s, start), len(times_s) - STRETCH_POINTS))
    # A slope over L hours of a wandering rate is off its end by sqrt(0.37 L) hours' wandering (random walk).
    lag_m3_s = stretch.slope_m3_s * wander * math.sqrt(0.37 * stretch.span_s / HOUR_S)
    error_m3_s = Z_80 * math.hypot(stretch.error_m3_s, lag_m3_s)
    slope = stretch.slope_m3_s
    return TankFlow(
        net_m3_s=Band(slope - error_m3_s, slope, slope + error_m3_s),
        volume_m3=max(0.0, stretch.volume_m3),
        volume_error_m3=stretch.scatter_m3 / 2,
        since_ms=history.times_ms[start],
        measured_ms=last_ms,
        wander_ratio=wander,
    )


def time_to_full(
    flow: TankFlow | Unknown, capacity_m3: float, now_ms: int
) -> FillTime | NotFilling | Unknown:
    """When the tank reaches its capacity at this flow, if the inflow wanders as runs do.

    That runs wane is in the late edge. A freeze that ends the run is not foreseen: then the tank fills later
    than this says, or never.

    Raises:
        InvalidArgument: the capacity is not above 0.
    """
    if not 0 < capacity_m3 < math.inf:
        raise InvalidArgument("capacity_m3", capacity_m3, "above 0")
    if isinstance(flow, Unknown):
        return flow
    room_m3, rate = capacity_m3 - flow.volume_m3, flow.net_m3_s
    if room_m3 <= 0:
        return FillTime(0.0, 0.0, 0.0)
    if rate.middle <= 0:
        return NotFilling(rate.middle)
    middle_s = room_m3 / rate.middle
    ahead = flow.wander_ratio**2 * middle_s / HOUR_S / 3  # variance of a random walk's mean over that time
    spread = Z_80 * math.sqrt(ahead / (1 + ahead / WANDER_LIMIT_RATIO**2))
    fast_m3_s = rate.middle + math.hypot(rate.high - rate.middle, rate.middle * math.expm1(spread))
    slow_m3_s = rate.middle - math.hypot(rate.middle - rate.low, rate.middle * -math.expm1(-spread))
    edge_m3, passed_s = Z_80 * flow.volume_error_m3, (now_ms - flow.measured_ms) / 1000.0
    low_s = max(0.0, (room_m3 - edge_m3) / fast_m3_s - passed_s)
    if low_s > LONGEST_FORECAST_S:
        return NotFilling(rate.middle)
    slow_s = _waning_fill_s(room_m3 + edge_m3, slow_m3_s)
    high_s = None if slow_s is None else max(0.0, slow_s - passed_s)
    return FillTime(low_s, max(low_s, middle_s - passed_s), high_s)


def _waning_fill_s(room_m3: float, rate_m3_s: float) -> float | None:
    """How long a rate that wanes takes to fill that room; None where it never does."""
    waning_s = WANING_RATIO_PER_H / HOUR_S
    if rate_m3_s * (1.0 - 1e-9) <= waning_s * room_m3:
        return None
    return -math.log1p(-waning_s * room_m3 / rate_m3_s) / waning_s


def _is_stuck(history: VolumeHistory, last_ms: int) -> bool:
    if history.same_count < STUCK_COUNT or last_ms - history.changed_ms < STUCK_LEAST_S * 1000:
        return False
    return history.jitter_count >= max(JITTER_LEAST_COUNT, JITTER_LEAST_RATIO * history.change_count)


def _balanced_span_s(stretch: Stretch, wander: float) -> float:
    # Least sum of noise (12 s² d / L³) and wandering (0.37 w² r² L), d the time between free residuals.
    spacing_h = stretch.span_s / stretch.free_count / HOUR_S
    rate_m3_h = stretch.slope_m3_s * HOUR_S
    fourth_power_h4 = 97 * stretch.scatter_m3**2 * spacing_h / (wander * rate_m3_h) ** 2
    return max(LEAST_FIT_S, math.sqrt(math.sqrt(fourth_power_h4)) * HOUR_S)


def _wander_ratio(series: Series, slope_m3_s: float) -> float:
    """How the rate changed between blocks half the window apart, blended with the usual."""
    blocks, times_s = [], series.times_s
    for block in range(int(-times_s[0] // WANDER_BLOCK_S)):
        i = bisect_left(times_s, -(block + 1) * WANDER_BLOCK_S)
        j = bisect_right(times_s, -block * WANDER_BLOCK_S)
        if j - i >= LEAST_SLOTS:
            rate_m3_s, misfit, spread = series.line(i, j)
            ratio = rate_m3_s / slope_m3_s
            if not 1 / MACHINE_RATIO < ratio < MACHINE_RATIO:
                break
            # Three: smoothed residuals are worth a third of their number.
            blocks.append((ratio, 3 * misfit / (j - i - 2) / spread / slope_m3_s**2))
    lag = max(1, len(blocks) // 2)
    lag_h = (lag - 1 / 3) * WANDER_BLOCK_S / HOUR_S
    squares = [((a - b) ** 2 - p - q) / lag_h for (a, p), (b, q) in zip(blocks, blocks[lag:], strict=False)]
    if not squares:
        return USUAL_WANDER_RATIO
    weight = max(1.0, 2 * len(squares) / lag)
    own = sum(squares) / len(squares)
    blend = (USUAL_WANDER_WEIGHT * USUAL_WANDER_RATIO**2 + weight * own) / (USUAL_WANDER_WEIGHT + weight)
    return math.sqrt(max(LEAST_WANDER_RATIO**2, blend))
