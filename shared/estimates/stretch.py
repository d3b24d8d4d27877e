"""The line that describes the newest stretch of a noisy, stepped, bending series, and how sure it is.

A stretch starts where two least-squares lines of clearly different slopes fit better than one. Its
slope is then the median of pairwise slopes, which foam and dumps do not pull. The error counts runs of
residuals: a releaser's steps leave long runs, so they are not taken for noise that averages out.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

STRETCH_POINTS = 4
"""A stretch of fewer could be one dump of the releaser."""
BEND_Z = 4.0
"""Standard errors between two slopes before they are two stretches: a hundred places are tried each time."""
BEND_RATIO = 0.25
"""A rate that changed by less is the same run wandering."""
PAIRED_BLOCKS = 30
"""435 pairs: more cost time and add nothing to the median."""
NEAR_S = 600.0
"""The present volume is read off the last ten minutes: longer than two dumps, shorter than a bend."""
NORMAL_MAD = 1.4826
"""Standard deviation of a normal distribution whose median absolute deviation is 1."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A line through the newest points; times count from the last reading, so they are 0 or negative."""

    slope_m3_s: float
    error_m3_s: float
    """Standard error of the slope."""
    volume_m3: float
    """On the line's level of the last minutes, at time 0."""
    scatter_m3: float
    span_s: float
    free_count: float
    """Independent residuals in it."""


class Series:
    """Points of one tank without foam, and any least-squares line through them in constant time."""

    def __init__(self, times_s: list[float], volumes_m3: list[float]) -> None:
        self.times_s, self.volumes_m3 = times_s, without_foam(volumes_m3)
        self.noise_m3 = NORMAL_MAD * median(_kinks_m3(volumes_m3)) / math.sqrt(6)
        steps_m3 = sorted(kink_m3 for kink_m3 in _kinks_m3(self.volumes_m3) if kink_m3 > 0)
        self.half_step_m3 = steps_m3[3 * len(steps_m3) // 4] / 2 if steps_m3 else 0.0
        """Half a releaser's dump, or half a digit: how far a stair is off the slope it stands for."""
        self._sums = [(0.0, 0.0, 0.0, 0.0, 0.0)]
        t1 = v1 = tt = tv = vv = 0.0
        for t, volume_m3 in zip(times_s, self.volumes_m3, strict=True):
            v = volume_m3 - volumes_m3[-1]
            t1, v1, tt, tv, vv = t1 + t, v1 + v, tt + t * t, tv + t * v, vv + v * v
            self._sums.append((t1, v1, tt, tv, vv))

    def line(self, i: int, j: int) -> tuple[float, float, float]:
        """Slope, sum of squared residuals, and sum of squared times about their mean, of points i to j."""
        (a1, b1, c1, d1, e1), (a2, b2, c2, d2, e2), count = self._sums[i], self._sums[j], j - i
        t, v = a2 - a1, b2 - b1
        spread = c2 - c1 - t * t / count
        cross = d2 - d1 - t * v / count
        return cross / spread, max(0.0, e2 - e1 - v * v / count - cross * cross / spread), spread

    def present_start(self) -> int:
        """Index of the first point of the newest stretch.

        Looked for in ever longer windows back from the newest point, so that each has at most the one bend
        that ends the stretch: over the whole series, two transfers an hour apart hide each other.
        """
        size = 2 * STRETCH_POINTS
        while True:
            start = max(0, len(self.times_s) - size)
            bend = self._bend(start)
            if bend is None and start > 0:
                size += size // 3
                continue
            while bend is not None:
                start, bend = bend, self._bend(bend)
            return start

    def _bend(self, start: int) -> int | None:
        end = len(self.times_s)
        first, last = start + STRETCH_POINTS, end - STRETCH_POINTS
        if last < first:
            return None

        (t1, v1, tt1, tv1, vv1), (t2, v2, tt2, tv2, vv2) = self._sums[start], self._sums[end]

        def misfit(place: int) -> float:
            # Both lines' squared residuals, as `line` has them; written out, since most of the time goes here.
            t, v, tt, tv, _ = self._sums[place]
            left, right = place - start, end - place
            ta, va, tb, vb = t - t1, v - v1, t2 - t, v2 - v
            cross_a, cross_b = tv - tv1 - ta * va / left, tv2 - tv - tb * vb / right
            explained_a = va * va / left + cross_a * cross_a / (tt - tt1 - ta * ta / left)
            explained_b = vb * vb / right + cross_b * cross_b / (tt2 - tt - tb * tb / right)
            return vv2 - vv1 - explained_a - explained_b

        # Each place tried is a third farther back than the one before: what is new is placed to the minute.
        tried, back = [], STRETCH_POINTS
        while end - back >= first:
            tried.append(end - back)
            back += max(1, back // 3)
        bend = min(tried, key=misfit)
        step = (end - bend) // 3
        while step > 1:
            step = (step + 1) // 2
            bend = min((p for p in (bend - step, bend, bend + step) if first <= p <= last), key=misfit)
        (before, misfit1, spread1), (after, misfit2, spread2) = self.line(start, bend), self.line(bend, end)
        if abs(after - before) < BEND_RATIO * max(abs(before), abs(after)):
            return None
        # Each side by its own scatter: one dump in four minutes is a steep line, but a poor one.
        error = math.hypot(
            self._slope_error(start, bend, before, misfit1, spread1),
            self._slope_error(bend, end, after, misfit2, spread2),
        )
        return bend if abs(after - before) > BEND_Z * error else None

    def _slope_error(self, i: int, j: int, slope: float, misfit: float, spread: float) -> float:
        residuals = self._residuals(i, j, slope)
        variance = misfit / max(1, j - i - 2) * len(residuals) / free_count(residuals)
        # A flat between two steps of a stair has no scatter at all, and is no stretch for that.
        return math.sqrt(max(variance, self.half_step_m3**2, self.noise_m3**2) / spread)

    def _residuals(self, i: int, j: int, slope: float) -> list[float]:
        times_s, volumes_m3 = self.times_s[i:j], self.volumes_m3[i:j]
        centre = (sum(volumes_m3) - slope * sum(times_s)) / (j - i)
        return [v - slope * t - centre for t, v in zip(times_s, volumes_m3, strict=True)]

    def stretch(self, start: int) -> Stretch:
        """The robust line from point `start` to the newest.

        Source: P. K. Sen 1968, J. Am. Stat. Assoc. 63:1379-1389 (the median of pairwise slopes).
        """
        times_s, volumes_m3 = self.times_s[start:], self.volumes_m3[start:]
        count = len(times_s)
        blocks = min(count, PAIRED_BLOCKS)
        edges = [block * count // blocks for block in range(blocks + 1)]
        means = [(sum(times_s[i:j]) / (j - i), sum(volumes_m3[i:j]) / (j - i)) for i, j in pairwise(edges)]
        slope = median((v2 - v1) / (t2 - t1) for i, (t2, v2) in enumerate(means) for t1, v1 in means[:i])
        levels_m3 = [v - slope * t for t, v in zip(times_s, volumes_m3, strict=True)]
        centre_m3 = median(levels_m3)
        residuals = [level_m3 - centre_m3 for level_m3 in levels_m3]
        scatter_m3 = max(NORMAL_MAD * median(map(abs, residuals)), self.noise_m3)
        free, span_s = free_count(residuals), times_s[-1] - times_s[0]
        # Few points misjudge their own scatter: doubled at the least count, forgotten with many.
        error = scatter_m3 * math.sqrt(12 / free) / span_s * (1 + STRETCH_POINTS / count)
        near_m3 = levels_m3[bisect_left(times_s, -NEAR_S) :] or levels_m3[-1:]
        return Stretch(slope, error, median(near_m3), scatter_m3, span_s, free)


def _kinks_m3(volumes_m3: list[float]) -> list[float]:
    return [abs(a - 2 * b + c) for a, b, c in zip(volumes_m3, volumes_m3[1:], volumes_m3[2:], strict=False)]


def without_foam(volumes_m3: list[float]) -> list[float]:
    """The running median of five (at the ends of three), which drops up to two wrong points in a row."""
    inner = [sorted(volumes_m3[i - 2 : i + 3])[2] for i in range(2, len(volumes_m3) - 2)]
    second, last_but_one = median(volumes_m3[:3]), median(volumes_m3[-3:])
    # The outermost may be news or foam: each is held against the line through its smoothed neighbours.
    first = median((volumes_m3[0], second, 2 * second - inner[0]))
    last = median((volumes_m3[-1], last_but_one, 2 * last_but_one - inner[-1]))
    return [first, second, *inner, last_but_one, last]


def free_count(residuals: list[float]) -> float:
    """Independent ones among these: white noise changes its sign every second time, steps seldom."""
    signs = [r > 0 for r in residuals if r != 0]
    changes = sum(a != b for a, b in pairwise(signs))
    return float(min(len(residuals), max(2, 2 * changes)))
