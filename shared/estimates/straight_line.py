"""A straight line through readings whose errors hang together, and how far to trust its slope.

The fit is ordinary least squares, after a Theil-Sen line has thrown out spikes. Theil-Sen alone would be as
robust, but its usual interval takes every reading as new information, while a gauge's errors hang together
from one reading to the next. So the interval widens by the residuals' lag-one correlation (corrected for its
bias in short series, and leaning to the wide side) and takes Student's t with the independent readings left.
"""

from dataclasses import dataclass
from itertools import combinations, pairwise
from math import sqrt
from statistics import NormalDist, median

Points = list[tuple[float, float]]
"""(time in s, value), rising in time."""

_SPIKE_SIGMAS = 5.0
"""One honest reading in two million lies farther off."""
_SIGMA_PER_MAD = 1.4826
"""Standard deviation of a normal scatter over its median absolute deviation."""

_SCREEN_POINTS = 150
"""Theil-Sen looks at each pair: more readings than this are thinned, for the screening only."""
_LEAN = 0.5
"""Standard errors added to the correlation: in a short test too little of it shows."""
_STRONGEST_CORRELATION = 0.9
_LEAST_FREEDOM = 2.0
"""Below it the expansion of Student's t no longer holds."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A slope, or a change of slope, per s, with the half-width of its interval."""

    value: float
    half_width: float


@dataclass(frozen=True, slots=True)
class _Errors:
    """First-order autoregressive errors: their variance and the correlation of neighbours."""

    variance: float
    correlation: float


def slope_fit(points: Points, confidence_fraction: float) -> Fit:
    """Least-squares slope of eight or more points, each at its own time."""
    x, _ = _shapes(points)
    y = _centred([value for _, value in points])
    slope = _dot(x, y) / _dot(x, x)
    left = [yi - slope * xi for xi, yi in zip(x, y, strict=True)]
    return Fit(slope, _half_width(x, 2, _errors(left, 2), confidence_fraction))


def bend_fit(points: Points, confidence_fraction: float) -> Fit:
    """Change of slope from the first of eight or more points to the last, by a least-squares parabola.

    What a parabola cannot follow, a kink or a fading flow, leaves residuals that hang together, and would
    hide itself among them; so here the errors are judged by the steps from one reading to the next.
    """
    x, curve = _shapes(points)
    y = _centred([value for _, value in points])
    slope, bend = _dot(x, y) / _dot(x, x), _dot(curve, y) / _dot(curve, curve)
    left = [yi - slope * xi - bend * ci for xi, ci, yi in zip(x, curve, y, strict=True)]
    span = 2.0 * (x[-1] - x[0])
    return Fit(span * bend, span * _half_width(curve, 3, _step_errors(left), confidence_fraction))


def without_spikes(points: Points) -> Points:
    """The points near the Theil-Sen line; all of them where more than half lie exactly on it."""
    thin = points[:: len(points) // _SCREEN_POINTS + 1]
    slope = median((y2 - y1) / (t2 - t1) for (t1, y1), (t2, y2) in combinations(thin, 2))
    level = median(y - slope * t for t, y in thin)
    off = [abs(y - level - slope * t) for t, y in points]
    limit = _SPIKE_SIGMAS * _SIGMA_PER_MAD * median(off)
    return [point for point, far in zip(points, off, strict=True) if far <= limit or limit == 0.0]


def running_median(values: list[float]) -> list[float]:
    """Middle of each of five or more values and its four neighbours, which no two spikes can move."""
    last = len(values) - 5
    return [median(values[(start := min(max(i - 2, 0), last)) : start + 5]) for i in range(len(values))]


def student_quantile(confidence_fraction: float, freedom: float) -> float:
    """Two-sided quantile of Student's t, up to 4 % low at 2 degrees of freedom, 0.1 % from 6 up.

    Source: Abramowitz & Stegun, Handbook of Mathematical Functions, 26.7.5.

    >>> round(student_quantile(0.95, 10.0), 3)
    2.228
    """
    z = NormalDist().inv_cdf(0.5 + confidence_fraction / 2.0)
    return (
        z
        + (z**3 + z) / (4.0 * freedom)
        + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * freedom**2)
        + (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / (384.0 * freedom**3)
    )


def _errors(left: list[float], fitted: int) -> _Errors:
    """Of what a fit left over: unbiased in short series, and leaning to the wide side.

    Source: Kendall 1954, Biometrika 41:403-404, extended to a fitted line.
    """
    count, power = len(left), _dot(left, left)
    if power == 0.0:
        return _Errors(0.0, 0.0)
    unbiased = (count * _dot(left[1:], left[:-1]) / power + fitted) / (count - fitted - 2)
    leaning = unbiased + _LEAN * sqrt(max(1.0 - unbiased**2, 0.0) / count)
    correlation = min(max(leaning, 0.0), _STRONGEST_CORRELATION)
    repeats = (1.0 + correlation) / (1.0 - correlation)
    return _Errors(power / max(count - fitted * repeats, 1.0), correlation)


def _step_errors(left: list[float]) -> _Errors:
    """The same from the steps: those of first-order autoregressive errors correlate by -(1 - r)/2."""
    steps = [after - before for before, after in pairwise(left)]
    count, power = len(steps), _dot(steps, steps)
    if power == 0.0:
        return _Errors(0.0, 0.0)
    correlation = min(max(1.0 + 2.0 * _dot(steps[1:], steps[:-1]) / power, 0.0), _STRONGEST_CORRELATION)
    return _Errors(power / count / (2.0 * (1.0 - correlation)), correlation)


def _half_width(shape: list[float], fitted: int, errors: _Errors, confidence_fraction: float) -> float:
    """Half-width of the interval of the least-squares coefficient of that shape.

    Source: its variance under first-order autoregressive errors.
    """
    carried, echo = 0.0, 0.0
    for before, now in pairwise(shape):
        carried = errors.correlation * (carried + before)
        echo += now * carried
    spread = sqrt(errors.variance * (_dot(shape, shape) + 2.0 * echo)) / _dot(shape, shape)
    repeats = (1.0 + errors.correlation) / (1.0 - errors.correlation)
    freedom = max(len(shape) / repeats - fitted, _LEAST_FREEDOM)
    return student_quantile(confidence_fraction, freedom) * spread


def _shapes(points: Points) -> tuple[list[float], list[float]]:
    """Time and time squared, each free of the shapes before it, so that each coefficient stands alone."""
    x = _centred([seconds for seconds, _ in points])
    squares = _centred([xi * xi for xi in x])
    lean = _dot(squares, x) / _dot(x, x)
    return x, [square - lean * xi for square, xi in zip(squares, x, strict=True)]


def _centred(values: list[float]) -> list[float]:
    mean = sum(values) / len(values)
    return [value - mean for value in values]


def _dot(left: list[float], right: list[float]) -> float:
    return sum(a * b for a, b in zip(left, right, strict=True))
