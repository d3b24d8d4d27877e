"""Whether the vacuum pump runs and since when, by its switch where it has one and by what it makes.

A switch that says "off" is believed once the vacuum begins to fall: while that holds, the switch is wrong. Without
a switch:

1. Next to no vacuum: it stands.
2. Vacuum that goes on falling at the pace it began with, no line faster than the pump: nobody takes the air away any
   more. Air comes in evenly while the leaks are choked; under a running pump a leak levels off within minutes
   (isothermal emptying), as the pump takes the more of it the less vacuum there is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise

from shared.estimates.frost import AirHistory
from shared.estimates.onset import MINUTE_MS
from shared.estimates.thermometer import above_since_ms, between_c, now_c, rate_c_h
from shared.estimates.vacuum import FREEZE_C, RUNNING_LEAST_PA
from shared.readings import Unknown
from shared.units import INHG_PA

HOUR_MS = 60 * MINUTE_MS
POINTS_KEPT = 40
APART_MS = 3 * MINUTE_MS
WINDOWS_COUNT = 3
JUST_MS = 2 * MINUTE_MS
LONGEST_APART_MS = 15 * MINUTE_MS
"""Over a longer gap nobody knows how it fell."""
FALLING_PA_MIN = 0.2 * INHG_PA
"""Slower than this no stopped pump's lines lose their vacuum (common practice, no source)."""
EVEN_RATIO = 0.75
"""Of the pace three minutes ago: a leak's fall has lost nearly half of it even where volume over pump speed is
five minutes, and it is one to three (pump-down formula)."""
WIDER_PA = 0.5 * INHG_PA
FELL_PA = 3.0 * INHG_PA
BACK_PA = 1.0 * INHG_PA
"""A rise or a fall that is no noise."""
LITTLE_PA = 5.0 * INHG_PA
LEVEL_MS = 10 * MINUTE_MS
LEVEL_PA = 0.3 * INHG_PA
"""What falls no more than this in ten minutes, with vacuum left, is held by a running pump after all."""
HELD_PA = 10.0 * INHG_PA
"""Lines that still hold this much while the pump's gauge shows nothing: the gauge is wrong."""
SILENT_MS = 10 * MINUTE_MS

FREEZING_C = 0.0
WARM_C = 1.0
SOON = ((1.5, 4 * HOUR_MS), (3.0, 2 * HOUR_MS))
"""Pumps are stopped for the night by thermostats set to 33 or 34 F, or by hand when the sap has stopped, hours before
the frost: up to so warm, and so long before it (common practice, no source)."""
AFTER_MS = 2 * HOUR_MS
"""What the air does in this time after a stop shows what the stop was for."""
AT_STOP_MS = 30 * MINUTE_MS
TREND_SLOTS = 8
AGAIN_COUNT = 2
"""Quarters of an hour above WARM_C, after which a stop near freezing was no stop for the night."""
THAW_MS = HOUR_MS
FROST_C = -0.5
SEASON_MS = 4 * 24 * HOUR_MS
"""Trees give for two or three days after a frost (common practice, no source)."""
SEASON_SLOTS = 3 * 24 * 4
"""With less of the air heard there may have been a frost before."""


@dataclass(slots=True)
class PumpHistory:
    """What is remembered of the pump."""

    runs: bool | None = None
    since_ms: int = 0
    """When it began to run, or to stand."""
    ran_ms: int | None = None
    """When it was last known to run; None: never."""
    observed_ms: int = 0
    switch: bool | None = None
    """What its switch says; None: it has none, or that is silent."""
    off_ms: int | None = None
    """Since when its switch says off."""
    fell: bool = False
    """Known to stand only by how the vacuum falls."""
    lowest_pa: float = 0.0
    """Since it stands."""
    times_ms: list[int] = field(default_factory=list)
    vacuums_pa: list[float] = field(default_factory=list)
    """The most of each minute, so that a releaser's dump is no fall."""
    gaps_pa: list[float] = field(default_factory=list)
    """By how much the lowest thawed line lay below the pump then."""


@dataclass(frozen=True, slots=True)
class Pump:
    """How the pump stands."""

    runs: bool
    since_ms: int
    ran_ms: int | None
    vacuum_pa: float | None
    """None where no gauge tells."""
    is_falling: bool
    """Vacuum falls fast: too early to tell a leak from a pump that has stopped."""


class Stop(Enum):
    """What a stop of the pump is taken for."""

    THAW = "thaw"
    """Sap could flow: it is missed."""
    SOON_COLD = "soon cold"
    """It will freeze within the hours in which pumps are stopped for the night."""
    COLD = "cold"
    """It was near freezing then, and is."""
    LATE = "late"
    """It stopped in the cold, and has not started with the thaw."""
    SPRING = "spring"
    """No frost for days: trees give nothing."""
    FROST = "frost"
    """It rests, and everything is frozen."""
    FROST_SINCE = "frost since"
    """It stopped in a thaw, and now everything is frozen."""


def observe_pump(
    state: PumpHistory,
    measured_ms: int,
    vacuum_pa: float | None,
    switch: bool | None,  # noqa: FBT001 - what the switch says
    lines_pa: Sequence[float] = (),
) -> None:
    """Take what was last heard of the pump: its vacuum, its switch, and what thawed lines hold.

    Of farms without a gauge at the pump `vacuum_pa` is the most of all lines.
    """
    if measured_ms < state.observed_ms:
        return
    state.observed_ms = measured_ms
    if vacuum_pa is not None:
        _keep(state, measured_ms, vacuum_pa, vacuum_pa - min(lines_pa, default=vacuum_pa))
    state.switch = switch
    if switch is not False:
        state.off_ms = None
    elif state.off_ms is None:
        state.off_ms = measured_ms
    runs = _runs_by_vacuum(state, lines_pa) if switch is None else switch or _holds_in_spite(state)
    if runs is None:
        return
    if runs:
        state.ran_ms, state.fell = measured_ms, False
    if runs != state.runs:
        began_ms = measured_ms if runs or state.runs is None else state.off_ms or _fall_began_ms(state)
        state.runs, state.since_ms = runs, began_ms
        state.lowest_pa = state.vacuums_pa[-1] if state.vacuums_pa else 0.0


def pump(state: PumpHistory, now_ms: int, interval_s: float = 60.0) -> Pump | Unknown:
    """How the pump stands at that time; Unknown while nothing is heard of it."""
    if state.runs is None:
        return Unknown("nothing heard of the pump yet")
    silent_ms = now_ms - state.observed_ms
    if silent_ms > max(SILENT_MS, 5000 * interval_s):
        return Unknown(f"nothing heard of the pump for {silent_ms // MINUTE_MS} min")
    vacuum_pa = state.vacuums_pa[-1] if state.vacuums_pa else None
    is_falling = state.switch is None and _pace_pa_min(state, JUST_MS) >= FALLING_PA_MIN
    return Pump(state.runs, state.since_ms, state.ran_ms, vacuum_pa, is_falling)


def stop_of(stands: Pump, air: AirHistory | None, frozen: bool | None, now_ms: int) -> Stop:  # noqa: FBT001
    """What a pump that stands is taken for, by the air then and since; without a thermometer it is missed."""
    air_c, then = now_c(air, now_ms), _as_it_stopped(air, stands.since_ms, now_ms)
    if frozen or (air_c is not None and air_c <= FREEZE_C):
        return Stop.FROST_SINCE if then is Stop.THAW else Stop.FROST
    if then is Stop.COLD:
        warm_ms = above_since_ms(air, WARM_C)
        return Stop.LATE if warm_ms is not None and now_ms - warm_ms >= THAW_MS else Stop.COLD
    if then is Stop.SOON_COLD:
        return then
    lately = between_c(air, now_ms - SEASON_MS, now_ms)
    return Stop.SPRING if len(lately) >= SEASON_SLOTS and min(lately) > FROST_C else Stop.THAW


def _as_it_stopped(air: AirHistory | None, since_ms: int, now_ms: int) -> Stop | None:
    """Whether it was near freezing when the pump stopped or soon after, or is about to be; None: nobody knows."""
    before = between_c(air, since_ms - AT_STOP_MS, since_ms)
    after = between_c(air, since_ms, min(now_ms, since_ms + AFTER_MS))
    if not before and not after:
        return None
    if min(before[-1:] + after) <= FREEZING_C:
        warm_again = len(after) >= AGAIN_COUNT and min(after[-AGAIN_COUNT:]) > WARM_C
        return Stop.THAW if warm_again else Stop.COLD
    air_c, pace_c_h = now_c(air, now_ms), rate_c_h(air, TREND_SLOTS)
    for most_c, soon_ms in SOON:
        if air_c is not None and pace_c_h is not None and air_c <= most_c:
            left_h = (since_ms + soon_ms - now_ms) / HOUR_MS
            return Stop.SOON_COLD if left_h > 0 and air_c + pace_c_h * left_h <= FREEZING_C else Stop.THAW
    return Stop.THAW


def _keep(state: PumpHistory, measured_ms: int, vacuum_pa: float, gap_pa: float) -> None:
    minute_ms, vacuum_pa = measured_ms // MINUTE_MS * MINUTE_MS, round(vacuum_pa, 1)
    if state.times_ms and state.times_ms[-1] == minute_ms:
        state.vacuums_pa[-1] = max(vacuum_pa, state.vacuums_pa[-1])
        state.gaps_pa[-1] = min(round(gap_pa, 1), state.gaps_pa[-1])
    else:
        state.times_ms.append(minute_ms)
        state.vacuums_pa.append(vacuum_pa)
        state.gaps_pa.append(round(gap_pa, 1))
        del state.times_ms[:-POINTS_KEPT], state.vacuums_pa[:-POINTS_KEPT], state.gaps_pa[:-POINTS_KEPT]


def _runs_by_vacuum(state: PumpHistory, lines_pa: Sequence[float]) -> bool | None:
    if not state.vacuums_pa:
        return None
    now_pa = state.vacuums_pa[-1]
    if state.runs is False:
        state.lowest_pa = min(state.lowest_pa, now_pa)
        is_back = now_pa > max(RUNNING_LEAST_PA, state.lowest_pa + BACK_PA)
        return is_back or (state.fell and now_pa >= LITTLE_PA and _is_level(state))
    if now_pa <= RUNNING_LEAST_PA:
        return state.runs is True and max(lines_pa, default=0.0) >= HELD_PA
    state.fell = state.runs is True and _falls_evenly(state)
    return not state.fell


def _holds_in_spite(state: PumpHistory) -> bool:
    """Whether there is vacuum as before, whatever the switch says."""
    if not state.times_ms or state.observed_ms - state.times_ms[-1] > SILENT_MS:
        return False
    assert state.off_ms is not None
    then_pa = max(
        (pa for at_ms, pa in zip(state.times_ms, state.vacuums_pa, strict=True) if at_ms <= state.off_ms),
        default=0.0,
    )
    return state.vacuums_pa[-1] >= max(LITTLE_PA, then_pa - BACK_PA)


def _falls_evenly(state: PumpHistory) -> bool:
    newest = len(state.times_ms) - 1
    # A minute that has only begun shows less of the most than those before it.
    begun = newest > 0 and state.times_ms[newest] - state.times_ms[newest - 1] <= MINUTE_MS
    points = [newest - begun]
    while len(points) <= WINDOWS_COUNT:
        before = _before(state, points[-1], APART_MS)
        if before is None:
            return False
        points.append(before)
    fell_pa = state.vacuums_pa[points[-1]] - state.vacuums_pa[points[0]]
    latest, before_it, *others = (_pace(state, first, last) for last, first in pairwise(points))
    # It may have begun within the oldest window, so that one says only that it had begun.
    is_even = latest >= EVEN_RATIO * before_it
    # Air that runs down a torn line to the pump widens the gap between them; without a pump nothing runs down.
    wider_pa = state.gaps_pa[points[0]] - state.gaps_pa[points[-1]]
    return (
        wider_pa <= WIDER_PA
        and fell_pa >= FELL_PA
        and is_even
        and min(latest, before_it, *others) >= FALLING_PA_MIN
    )


def _pace_pa_min(state: PumpHistory, apart_ms: int) -> float:
    now = len(state.times_ms) - 1
    first = _before(state, now, apart_ms) if state.times_ms else None
    return 0.0 if first is None else _pace(state, first, now)


def _pace(state: PumpHistory, first: int, last: int) -> float:
    """How fast it fell between two points, Pa a minute."""
    passed_min = (state.times_ms[last] - state.times_ms[first]) / MINUTE_MS
    return (state.vacuums_pa[first] - state.vacuums_pa[last]) / passed_min


def _before(state: PumpHistory, index: int, apart_ms: int) -> int | None:
    """The newest point at least so long before that one, if it is near enough to tell of a fall."""
    at_ms = state.times_ms[index]
    for earlier in range(index - 1, -1, -1):
        apart = at_ms - state.times_ms[earlier]
        if apart >= apart_ms:
            return earlier if apart <= LONGEST_APART_MS else None
    return None


def _is_level(state: PumpHistory) -> bool:
    first = _before(state, len(state.times_ms) - 1, LEVEL_MS)
    if first is None:
        return False
    lately = state.vacuums_pa[first:]
    return max(lately) - min(lately) <= LEVEL_PA


def _fall_began_ms(state: PumpHistory) -> int:
    """The last minute in which there was still all the vacuum of before."""
    full_pa = max(state.vacuums_pa) - BACK_PA
    return max(at_ms for at_ms, pa in zip(state.times_ms, state.vacuums_pa, strict=True) if pa >= full_pa)
