"""How fast a tank fills or empties now, and when it will be full, from a noisy level alone.

A tank's volume is a line that bends when a transfer, the RO or a run starts or stops, wanders as the
run does, and is seen through releaser dumps, foam, sensor steps and gaps. So:

1. Readings are kept as one median a minute over three hours; a running median of five takes foam out.
2. The present stretch starts where two lines with clearly different slopes fit better than one.
3. Its slope is the median of pairwise slopes (Theil-Sen), over as much of it as balances sensor noise
   against the wandering of the run. Its error counts residuals in runs, so dump steps are not noise
   that averages out.
4. Time to full divides the room left by that rate, widened by how much the rate will wander until
   then: the run's own wandering so far, blended with what runs usually do.
"""

import math
from bisect import bisect_left, bisect_right, insort
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median, median_low

from shared.errors import InvalidArgument
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

STRETCH_SLOTS = 4
SLOPE_CHANGE_Z = 4.0
"""Standard errors between two slopes before they are two stretches: a hundred places are tried each minute."""
SLOPE_CHANGE_RATIO = 0.25
"""A rate that changed by less is the same run wandering."""
PAIRED_BLOCKS = 40
"""780 pairs: more cost time and add nothing to the median."""
LEAST_FIT_S = 1800.0

USUAL_WANDER_RATIO = .22
"""A run's rate changes by about a fifth within an hour, and by the root of time beyond (from simulated
day curves, waning nights and gusts of warmth; no published figure). Calibrated to cover 80 %."""
USUAL_WANDER_WEIGHT = 1.0
"""The usual counts as much as two independent hours of this run."""
LEAST_WANDER_RATIO = .4 * USUAL_WANDER_RATIO
"""A run that has been steady for three hours may still end at dusk."""
WANDER_LIMIT_RATIO = 0.6
"""Trees neither stop all at once nor double: the wandering levels off there."""
WANDER_BLOCK_S = 1200.0
Z_80 = 1.2816
"""10 and 90 % points of the normal distribution."""
LONGEST_FORECAST_S = 2 * DAY_S
"""What would take two days even at the fast end is not filling: no run goes on that long unchanged."""

STUCK_LEAST_S = 1200.0
STUCK_CHANCE = 1e-6
LEAST_JITTER_RATIO = 0.2
"""Share of readings that must have jumped back and forth by more than one step before silence of the
jitter means a stuck sensor; a coarse, quiet sensor on still sap says the same for hours, rightly."""
JITTER_MEMORY = 400


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
    step_count: int = 0
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
        back = (volume_m3 - last_m3) * (last_m3 - before_m3) < 0
        history.step_count += history.same_count + 1
        # Back to the very same value is the toggling of one step, which says nothing of the noise.
        history.jitter_count += back and volume_m3 != before_m3
        if history.step_count > JITTER_MEMORY:
            history.step_count //= 2
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

    stretches = _Lines(times_s, _without_foam(history.volumes_m3))
    start = stretches.present_start()
    noise_m3 = _noise_m3(history.volumes_m3)
    fitted = _fit(stretches, start, noise_m3)
    wander = USUAL_WANDER_RATIO
    if fitted.slope_m3_s > 0:
        wander = _wander_ratio(stretches, start, fitted.slope_m3_s)
        span_s = _balanced_span_s(fitted, wander)
        if span_s < fitted.span_s:
            fitted = _fit(stretches, bisect_left(times_s, -span_s, start), noise_m3)
    # A slope over L hours of a wandering rate is off its end by sqrt(0.37 L) hours' wandering (random walk).
    lag_m3_s = fitted.slope_m3_s * wander * math.sqrt(0.37 * fitted.span_s / HOUR_S)
    error_m3_s = Z_80 * math.hypot(fitted.error_m3_s, lag_m3_s)
    slope = fitted.slope_m3_s
    return TankFlow(
        net_m3_s=Band(slope - error_m3_s, slope, slope + error_m3_s),
        volume_m3=max(0.0, fitted.volume_m3),
        volume_error_m3=fitted.scatter_m3 / 2,
        since_ms=history.times_ms[start],
        measured_ms=last_ms,
        wander_ratio=wander,
    )


def time_to_full(flow: TankFlow | Unknown, capacity_m3: float, now_ms: int) -> FillTime | NotFilling | Unknown:
    """When the tank reaches its capacity at this flow, if the inflow wanders as runs do.

    A freeze that ends the run is not foreseen: then the tank fills later than this says, or never.

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
    high_s = max(0.0, (room_m3 + edge_m3) / slow_m3_s - passed_s) if slow_m3_s > 0 else None
    return FillTime(low_s, max(low_s, middle_s - passed_s), high_s)


def _is_stuck(history: VolumeHistory, last_ms: int) -> bool:
    jitter = history.jitter_count / history.step_count if history.step_count else 0.0
    if jitter < LEAST_JITTER_RATIO or last_ms - history.changed_ms < STUCK_LEAST_S * 1000:
        return False
    return (1 - jitter) ** history.same_count < STUCK_CHANCE


def _without_foam(volumes: list[float]) -> list[float]:
    # Running median of five; at the ends of three, the very last against the line through its neighbours.
    inner = [sorted(volumes[i - 2 : i + 3])[2] for i in range(2, len(volumes) - 2)]
    first, last = median(volumes[:3]), median(volumes[-3:])
    return [first, first, *inner, last, median((volumes[-1], last, 2 * last - inner[-1]))]


def _noise_m3(volumes: list[float]) -> float:
    bends = [abs(a - 2 * b + c) for a, b, c in zip(volumes, volumes[1:], volumes[2:], strict=False)]
    return 1.4826 * median(bends) / math.sqrt(6)


@dataclass(frozen=True, slots=True)
class _Fit:
    slope_m3_s: float
    error_m3_s: float
    scatter_m3: float
    volume_m3: float
    span_s: float
    free_count: float


class _Lines:
    """Least-squares lines over any stretch of the points in constant time, by running sums."""

    def __init__(self, times_s: list[float], volumes: list[float]) -> None:
        self.times_s, self.volumes = times_s, volumes
        self._sums = [(0.0, 0.0, 0.0, 0.0, 0.0)]
        base = volumes[-1]
        t1 = v1 = tt = tv = vv = 0.0
        for t, volume in zip(times_s, volumes, strict=True):
            v = volume - base
            t1, v1, tt, tv, vv = t1 + t, v1 + v, tt + t * t, tv + t * v, vv + v * v
            self._sums.append((t1, v1, tt, tv, vv))

    def line(self, i: int, j: int) -> tuple[float, float, float]:
        """Slope, sum of squared residuals, and spread of the times of points i to j."""
        (a1, b1, c1, d1, e1), (a2, b2, c2, d2, e2), n = self._sums[i], self._sums[j], j - i
        t, v = a2 - a1, b2 - b1
        spread = c2 - c1 - t * t / n
        cross = d2 - d1 - t * v / n
        return cross / spread, max(0.0, e2 - e1 - v * v / n - cross * cross / spread), spread

    def residuals(self, i: int, j: int, slope: float) -> list[float]:
        times_s, volumes = self.times_s[i:j], self.volumes[i:j]
        centre = (sum(volumes) - slope * sum(times_s)) / (j - i)
        return [v - slope * t - centre for t, v in zip(times_s, volumes, strict=True)]

    def present_start(self) -> int:
        start = 0
        while (bend := self._bend(start)) is not None:
            start = bend
        return start

    def _bend(self, start: int) -> int | None:
        end = len(self.times_s)
        places = range(start + STRETCH_SLOTS, end - STRETCH_SLOTS + 1)
        if not places:
            return None
        bend = min(places, key=lambda k: self.line(start, k)[1] + self.line(k, end)[1])
        (before, misfit1, spread1), (after, misfit2, spread2) = self.line(start, bend), self.line(bend, end)
        if abs(after - before) < SLOPE_CHANGE_RATIO * max(abs(before), abs(after)):
            return None
        residuals = self.residuals(start, bend, before) + self.residuals(bend, end, after)
        variance = (misfit1 + misfit2) / max(1, end - start - 4) * len(residuals) / _free_count(residuals)
        error = math.sqrt(variance * (1 / spread1 + 1 / spread2))
        return bend if abs(after - before) > SLOPE_CHANGE_Z * error else None


def _free_count(residuals: list[float]) -> float:
    """Independent residuals among these: white noise changes its sign every second time, steps seldom."""
    signs = [r > 0 for r in residuals if r != 0]
    changes = sum(a != b for a, b in pairwise(signs))
    return float(min(len(residuals), max(2, 2 * changes)))


def _fit(lines: _Lines, start: int, noise_m3: float) -> _Fit:
    times_s, volumes = lines.times_s[start:], lines.volumes[start:]
    count = len(times_s)
    edges = [b * count // PAIRED_BLOCKS for b in range(PAIRED_BLOCKS + 1)] if count > PAIRED_BLOCKS else range(count + 1)
    blocks = [(sum(times_s[i:j]) / (j - i), sum(volumes[i:j]) / (j - i)) for i, j in pairwise(edges)]
    slope = median((v2 - v1) / (t2 - t1) for i, (t2, v2) in enumerate(blocks) for t1, v1 in blocks[:i])
    residuals = [v - slope * t for t, v in zip(times_s, volumes, strict=True)]
    centre = median(residuals)
    residuals = [r - centre for r in residuals]
    scatter_m3 = max(1.4826 * median(map(abs, residuals)), noise_m3)
    free_count, span_s = _free_count(residuals), times_s[-1] - times_s[0]
    error = scatter_m3 * math.sqrt(12 / free_count) / span_s * (1 + STRETCH_SLOTS / count)
    recent = residuals[bisect_left(times_s, -600.0) :] or residuals[-1:]
    return _Fit(slope, error, scatter_m3, centre + median(recent), span_s, free_count)


def _balanced_span_s(fitted: _Fit, wander: float) -> float:
    # Least sum of noise (12 s² d / L³) and wandering (0.37 w² r² L), d the time between free residuals.
    spacing_h = fitted.span_s / fitted.free_count / HOUR_S
    rate_m3_h = fitted.slope_m3_s * HOUR_S
    balanced_h = (97 * fitted.scatter_m3**2 * spacing_h / (wander * rate_m3_h) ** 2) ** 0.25
    return max(LEAST_FIT_S, balanced_h * HOUR_S)


def _wander_ratio(lines: _Lines, start: int, slope: float) -> float:
    """How the rate changed between blocks half the stretch apart, blended with the usual."""
    rates, end_s = [], lines.times_s[-1]
    for block in range(int((end_s - lines.times_s[start]) // WANDER_BLOCK_S)):
        i = bisect_left(lines.times_s, end_s - (block + 1) * WANDER_BLOCK_S, start)
        j = bisect_right(lines.times_s, end_s - block * WANDER_BLOCK_S)
        if j - i >= LEAST_SLOTS:
            rate, misfit, spread = lines.line(i, j)
            # Three: smoothed residuals are worth a third of their number.
            rates.append((rate / slope, 3 * misfit / (j - i - 2) / spread / slope**2))
    lag = max(1, len(rates) // 2)
    lag_h = (lag - 1 / 3) * WANDER_BLOCK_S / HOUR_S
    squares = [((a - b) ** 2 - p - q) / lag_h for (a, p), (b, q) in zip(rates, rates[lag:], strict=False)]
    if not squares:
        return USUAL_WANDER_RATIO
    weight = max(1.0, 2 * len(squares) / lag)
    own = sum(squares) / len(squares)
    blend = (USUAL_WANDER_WEIGHT * USUAL_WANDER_RATIO**2 + weight * own) / (USUAL_WANDER_WEIGHT + weight)
    return math.sqrt(max(LEAST_WANDER_RATIO**2, blend))
