"""The leak of a closed-off part of the lines, from how its vacuum fades, or a plain reason why not.

A pure leak through choked holes raises the pressure along a straight line; anything else bends it.

1. Refuse a gauge that reads more vacuum than there is air.
2. Drop the settling: the first seconds after the valve closes only spread the pressure along the line.
3. Keep what is choked, and stop where somebody opened the valve again.
4. Stop where the rise bends. If less than half of it is straight it was never a pure leak: sap flashing, or
   gas from thawing trees.
5. Fit a straight line (see `straight_line`) and turn its slope into free air.

What it cannot see: gas that comes steadily for longer than the test lasts reads as a leak, and a bend of less
than 15 % passes (more where readings are few), so on a running day the leak may be less than the interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from shared.estimates.straight_line import (
    Fit,
    Points,
    bend_fit,
    running_median,
    slope_fit,
    without_spikes,
)
from shared.physics.air import require_station
from shared.physics.bounds import require_within
from shared.physics.leak_test import CHOKED_RATIO, leak_free_air_m3_s
from shared.readings import Unknown
from shared.units import INHG_PA, from_si

SETTLE_S = 15.0
"""Pressure evens out along a few thousand feet of tubing in seconds (common practice, no source)."""
LEAST_READINGS = 8
"""Fewer cannot tell a bend from scatter (common practice, no source)."""
CONFIDENCE_FRACTION = 0.95
WIDEST_SHARE = 0.5
"""Half the interval over the leak, above which the scatter, not the leak, makes the figure."""

TOO_FEW = "too few readings between the valve closing and the end of the straight rise"
NOT_CHOKED = "too little vacuum when the valve closed: the rise is only straight above 14.1 inHg at sea level"
IMPOSSIBLE = "the gauge reads more vacuum than there is air"
BENT = "the rise bends from the start: sap or gas from the trees, not only a leak"
FALLING = "the vacuum still rose: the pump was not shut off"
STILL = "the gauge did not move at all: it is stuck, or the line is tighter than it can show"
NO_RISE = "no rise above the gauge's scatter"
SCATTER = "too much scatter"

_BEND_SHARE = 0.15
"""A slope that changes by less than this from the first reading to the last is as good as straight."""
_BEND_CONFIDENCE = 0.95
_STRAIGHT_SHARES = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5)
"""Beginnings to try; at least half must be straight (common practice, no source)."""
_REOPENED_PA = 0.5 * INHG_PA
"""A fall in pressure larger than the scatter of any gauge worth having: the valve is open again."""
_IMPOSSIBLE_PA = 0.3 * INHG_PA
"""How far a sound gauge may read past the air itself: its own zero error."""


@dataclass(frozen=True, slots=True)
class IsolationTest:
    """A leak found by closing a valve, as free air, with its confidence interval."""

    leak_m3_s: float
    low_m3_s: float
    high_m3_s: float
    confidence_fraction: float
    rise_pa_s: float
    from_ms: int
    until_ms: int
    reading_count: int
    """Readings the straight line went through, spikes left out."""


def isolation_test(
    readings: Sequence[tuple[int, float]],
    volume_m3: float,
    station_pa: float,
    *,
    closed_ms: int | None = None,
    settle_s: float = SETTLE_S,
    confidence_fraction: float = CONFIDENCE_FRACTION,
) -> IsolationTest | Unknown:
    """Leak from (measured_ms, vacuum_pa) readings after the pump valve closed, in any order.

    The volume is all the gas space behind the valve; liquid in the lines makes it, and the leak, an upper
    bound. Trees give off gas on a thaw, so a test on a running day over-reads: best on a dry evening just
    above freezing. Without `closed_ms` the first reading is taken as the closing.

    Unknown says why: too few readings, no rise, too much scatter, a bend from the start, too little vacuum
    to choke a hole, a pump still pulling, or a gauge that stands still or reads more than there is air.

    Raises:
        InvalidArgument: a number that is no reading, volume, pressure, time or confidence.
    """
    require_within("volume_m3", volume_m3, 1e-6, 1e4)
    require_station(station_pa)
    require_within("settle_s", settle_s, 0.0, 3600.0)
    require_within("confidence_fraction", confidence_fraction, 0.5, 0.999)
    for _, vacuum_pa in readings:
        require_within("vacuum_pa", vacuum_pa, -2.0 * station_pa, 2.0 * station_pa)
    in_order = sorted(dict(readings).items())
    start_ms = closed_ms if closed_ms is not None else in_order[0][0] if in_order else 0
    closed = [((ms - start_ms) / 1000.0, station_pa - pa) for ms, pa in in_order if ms >= start_ms]
    choked = _choked(closed, settle_s, station_pa)
    straight = choked if isinstance(choked, Unknown) else _straight(choked)
    if isinstance(straight, Unknown):
        return straight
    line = slope_fit(straight, confidence_fraction)
    refusal = _refusal(line, volume_m3, station_pa)
    if refusal is not None:
        return refusal
    return IsolationTest(
        leak_m3_s=leak_free_air_m3_s(volume_m3, line.value, station_pa),
        low_m3_s=leak_free_air_m3_s(volume_m3, line.value - line.half_width, station_pa),
        high_m3_s=leak_free_air_m3_s(volume_m3, line.value + line.half_width, station_pa),
        confidence_fraction=confidence_fraction,
        rise_pa_s=line.value,
        from_ms=start_ms + round(straight[0][0] * 1000.0),
        until_ms=start_ms + round(straight[-1][0] * 1000.0),
        reading_count=len(straight),
    )


def _choked(closed: Points, settle_s: float, station_pa: float) -> Points | Unknown:
    """Steps 1 to 3: the readings between the settling and the end of choking or of the test."""
    settled = [point for point in closed if point[0] >= settle_s]
    if len(settled) < LEAST_READINGS:
        return Unknown(TOO_FEW)
    if len({pressure_pa for _, pressure_pa in settled}) == 1:
        return Unknown(STILL)
    if running_median([pressure_pa for _, pressure_pa in closed])[0] < -_IMPOSSIBLE_PA:
        return Unknown(IMPOSSIBLE)
    smooth_pa = running_median([pressure_pa for _, pressure_pa in settled])
    if smooth_pa[0] > CHOKED_RATIO * station_pa:
        return Unknown(NOT_CHOKED)
    choked = settled[: _end_of_rise(smooth_pa, station_pa)]
    if len(choked) < LEAST_READINGS:
        return Unknown(FALLING if smooth_pa[0] - smooth_pa[-1] > _REOPENED_PA else TOO_FEW)
    return choked


def _straight(choked: Points) -> Points | Unknown:
    """Step 4: the longest beginning that does not bend, spikes left out."""
    start_s, end_s = choked[0][0], choked[-1][0]
    for share in _STRAIGHT_SHARES:
        until_s = start_s + share * (end_s - start_s)
        points = without_spikes([point for point in choked if point[0] <= until_s])
        if len(points) < LEAST_READINGS:
            return Unknown(TOO_FEW if share == _STRAIGHT_SHARES[0] else BENT)
        if not _is_bent(points):
            return points
    return Unknown(BENT)


def _end_of_rise(smooth_pa: list[float], station_pa: float) -> int:
    """Where the holes stop being choked or the pressure falls from its peak, whichever is first."""
    for index, (now_pa, peak_pa) in enumerate(zip(smooth_pa, accumulate(smooth_pa, max), strict=True)):
        if now_pa > CHOKED_RATIO * station_pa:
            return index
        if peak_pa - now_pa > _REOPENED_PA:
            return smooth_pa.index(peak_pa) + 1
    return len(smooth_pa)


def _is_bent(points: Points) -> bool:
    """The slope changes by more than scatter explains, and by enough to matter."""
    bend = bend_fit(points, _BEND_CONFIDENCE)
    slope = slope_fit(points, _BEND_CONFIDENCE)
    return abs(bend.value) > max(bend.half_width, _BEND_SHARE * abs(slope.value))


def _refusal(line: Fit, volume_m3: float, station_pa: float) -> Unknown | None:
    """Why the line's slope is no leak, if it is none."""
    low, high = (
        from_si(leak_free_air_m3_s(volume_m3, rise_pa_s, station_pa), "CFM")
        for rise_pa_s in (line.value - line.half_width, line.value + line.half_width)
    )
    if high < 0.0:
        return Unknown(FALLING)
    if low <= 0.0:
        return Unknown(f"{NO_RISE}: any leak is under {high:.2g} CFM")
    if line.half_width > WIDEST_SHARE * line.value:
        return Unknown(f"{SCATTER}: the leak is between {low:.2g} and {high:.2g} CFM")
    return None
