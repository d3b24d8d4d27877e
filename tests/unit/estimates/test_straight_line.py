import random
from statistics import median

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from shared.estimates.straight_line import (
    bend_fit,
    running_median,
    slope_fit,
    student_quantile,
    without_spikes,
)


def scattered(seed, count=30, slope=3.0, bend=0.0, correlation=0.0):
    """Points at uneven times whose errors each carry over a share of the one before."""
    dice = random.Random(seed)
    error, seconds, points = dice.gauss(0, 1), 0.0, []
    for _ in range(count):
        points.append((seconds, 100.0 + slope * seconds + bend * seconds**2 + error))
        seconds += dice.uniform(4, 6)
        error = correlation * error + (1 - correlation**2) ** 0.5 * dice.gauss(0, 1)
    return points


def dense_half_width(points, degree, confidence_fraction):
    """The highest coefficient's interval by whole matrices: pseudo-inverse and error covariance."""
    times, values = np.array(points).T
    count = len(points)
    design = np.vander(times - times.mean(), degree + 1, increasing=True)
    inverse = np.linalg.pinv(design)
    left = values - design @ (inverse @ values)
    fitted = degree + 1
    steps = np.diff(left)
    if degree == 1:
        raw = (left[1:] @ left[:-1]) / (left @ left)
        unbiased = (count * raw + fitted) / (count - fitted - 2)
        correlation = np.clip(unbiased + 0.5 * np.sqrt((1 - unbiased**2) / count), 0, 0.9)
        variance = (left @ left) / (count - fitted * (1 + correlation) / (1 - correlation))
    else:
        correlation = np.clip(1 + 2 * (steps[1:] @ steps[:-1]) / (steps @ steps), 0, 0.9)
        variance = (steps @ steps) / (count - 1) / (2 * (1 - correlation))
    repeats = (1 + correlation) / (1 - correlation)
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    covariance = inverse @ (variance * correlation**apart) @ inverse.T
    quantile = stats.t.ppf(0.5 + confidence_fraction / 2, count / repeats - fitted)
    return quantile * np.sqrt(covariance[degree, degree])


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("correlation", [0.0, 0.5])
def test_slope_and_interval_agree_with_whole_matrices(seed, correlation):
    points = scattered(seed, count=60, correlation=correlation)
    fit = slope_fit(points, 0.95)
    assert fit.value == pytest.approx(np.polyfit(*np.array(points).T, 1)[0])
    assert fit.half_width == pytest.approx(dense_half_width(points, 1, 0.95), rel=1e-4)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("correlation", [0.0, 0.5])
def test_bend_and_interval_agree_with_whole_matrices(seed, correlation):
    points = scattered(seed, count=60, bend=0.01, correlation=correlation)
    fit = bend_fit(points, 0.99)
    span_s = points[-1][0] - points[0][0]
    assert fit.value == pytest.approx(2 * span_s * np.polyfit(*np.array(points).T, 2)[0])
    assert fit.half_width == pytest.approx(2 * span_s * dense_half_width(points, 2, 0.99), rel=1e-4)


def test_the_bend_of_a_parabola_is_its_change_of_slope():
    points = [(float(t), 5.0 * t + 0.5 * t * t) for t in range(11)]
    assert bend_fit(points, 0.99).value == pytest.approx(10.0)
    assert slope_fit(points, 0.99).value == pytest.approx(10.0)


def test_a_kink_does_not_hide_itself():
    """The slope triples half way, under scatter from heavy to hardly any."""
    for seed in range(20):
        for triple in (0.2, 2.0, 20.0):
            kinked = [(t, y + triple * max(0.0, t - 150)) for t, y in scattered(seed, 60, triple / 2)]
            fit = bend_fit(kinked, 0.95)
            assert fit.value > fit.half_width


def test_scatter_alone_seldom_bends():
    """At 0.95 about one in twenty, twice that when errors hang together strongly."""
    for correlation, most in ((0.0, 18), (0.5, 24), (0.8, 30)):
        fits = [bend_fit(scattered(seed, 40, correlation=correlation), 0.95) for seed in range(200)]
        assert sum(abs(fit.value) > fit.half_width for fit in fits) <= most


def test_a_line_without_scatter_is_certain():
    fit = slope_fit([(float(t), 2.0 * t) for t in range(10)], 0.95)
    assert (fit.value, fit.half_width) == (2.0, 0.0)


def test_errors_that_hang_together_widen_the_interval():
    widths = [
        median(slope_fit(scattered(seed, 60, correlation=correlation), 0.95).half_width for seed in range(30))
        for correlation in (0.0, 0.5, 0.8)
    ]
    assert widths == sorted(widths)
    assert widths[2] > 2 * widths[0]


def test_errors_tied_past_counting_still_get_a_width():
    """Where correlation stops at 0.9, freedom at 2 and the variance at the whole power; by whole matrices."""
    points = [(float(t), float(t // 5 % 2)) for t in range(20)]
    times, values = np.array(points).T
    x, y = times - times.mean(), values - values.mean()
    left = y - x * (x @ y) / (x @ x)
    apart = np.abs(np.subtract.outer(np.arange(20), np.arange(20)))
    spread = np.sqrt((left @ left) * (x @ 0.9**apart @ x)) / (x @ x)
    assert slope_fit(points, 0.95).half_width == pytest.approx(student_quantile(0.95, 2.0) * spread)


def test_the_unit_of_time_only_scales_a_fit():
    points = scattered(4, 40, correlation=0.5)
    for fit in (slope_fit, bend_fit):
        per_s, per_ms = (fit([(t * scale, y) for t, y in points], 0.95) for scale in (1.0, 1e-3))
        assert per_ms.value == pytest.approx(1000 * per_s.value)
        assert per_ms.half_width == pytest.approx(1000 * per_s.half_width)


def test_a_still_gauge_neither_rises_nor_bends():
    points = [(float(t), 5.0) for t in range(10)]
    assert (slope_fit(points, 0.95).half_width, bend_fit(points, 0.95).half_width) == (0.0, 0.0)


@pytest.mark.parametrize("freedom", [2, 3, 6, 10, 100, 1000])
@pytest.mark.parametrize("confidence_fraction", [0.5, 0.9, 0.95, 0.99])
def test_student_quantile_agrees_with_scipy_as_well_as_a_series_can(freedom, confidence_fraction):
    """Within the first term left out, Abramowitz & Stegun 26.7.5, and a half more."""
    z = stats.norm.ppf(0.5 + confidence_fraction / 2)
    left_out = (79 * z**9 + 776 * z**7 + 1482 * z**5 + 1920 * z**3 + 945 * z) / (92160 * freedom**4)
    theirs = stats.t.ppf(0.5 + confidence_fraction / 2, freedom)
    assert student_quantile(confidence_fraction, freedom) == pytest.approx(theirs, abs=1.5 * left_out + 1e-12)


def test_spikes_go_and_honest_points_stay():
    points = scattered(1, count=40)
    spiked = [(t, y + 50.0 * (i in {3, 4, 20, 39})) for i, (t, y) in enumerate(points)]
    assert without_spikes(spiked) == [point for i, point in enumerate(points) if i not in {3, 4, 20, 39}]
    assert without_spikes(points) == points


def test_a_long_series_is_screened_whole():
    for count in (149, 150, 200, 299, 300, 700):
        points = scattered(2, count)
        spiked = [*points[:101], (points[101][0], points[101][1] + 50.0), *points[102:]]
        assert without_spikes(spiked) == [*points[:101], *points[102:]]


def test_the_screen_agrees_with_scipys_theil_sen():
    """Slope of the screen, seen through which points it keeps: 5 x 1.4826 x the median distance."""
    points = [(t, y + (40.0 if i % 9 == 4 else 0.0)) for i, (t, y) in enumerate(scattered(3, count=60))]
    times, values = np.array(points).T
    slope = stats.theilslopes(values, times).slope
    off = np.abs(values - slope * times - np.median(values - slope * times))
    kept = [point for point, far in zip(points, off, strict=True) if far <= 5 * 1.4826 * np.median(off)]
    assert without_spikes(points) == kept


def test_points_that_mostly_lie_on_the_line_are_all_kept():
    points = [(float(t), 1.0 if t == 7 else 0.0) for t in range(10)]
    assert without_spikes(points) == points


@given(st.lists(st.floats(-100, 100), min_size=5, max_size=30))
def test_running_median_is_that_of_five_neighbours(values):
    smooth = running_median(values)
    assert len(smooth) == len(values)
    assert smooth[0] == smooth[1] == smooth[2] == median(values[:5])
    assert smooth[-1] == median(values[-5:])
    assert smooth[2:-2] == [median(values[i - 2 : i + 3]) for i in range(2, len(values) - 2)]
