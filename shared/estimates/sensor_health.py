"""What a sensor's own readings tell of its health: how lively it is, whether it stands still or jumps, and its clock.

Folded with every reading, so a step is a few comparisons. *Still* is what the caller knows to be legitimately so
(an empty tank, a pump that rests, a cold stack): such readings neither count as standing still nor teach anything.

A sensor is lively when most of its readings differ from the one before, many of them by more than its last digit:
then standing still to the digit for an hour cannot be chance. One that says whole numbers never is.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from shared.farm_parts import Sensor
from shared.readings import Quantity, Reading, RejectKind
from shared.units import DAY_S, HOUR_S, INHG_PA

HOUR_MS = 3_600_000
HOURS_KEPT = 48
"""Of its hourly means: two days of running, which are three or four of the season, for hours of rest go first."""
LATELY_COUNT = 12
"""Of these none goes."""
LEAST_IN_HOUR_COUNT = 5
LEARN_COUNT = 500
"""Readings over which the share of differing ones follows: hours, so that an hour of standing still shows."""
READY_COUNT = 200
DIGITS_COUNT = 200
LIVELY_RATIO = 0.5
WIDE_RATIO = 0.3
"""Scatter of a digit and more makes a third of the changes wider than one; flicker between two digits none."""
SAME_DIGIT = 0.75
"""A change smaller than this part of the least one seen is another, finer digit."""
WIDE_STEPS = 1.5
KNOWN_S = DAY_S
"""What need not move by itself (a tank at night) is judged only by one who has seen a whole day of it."""
LONGEST_TIMES = 2.0
"""Longer than this many of its longest rests of late."""
REST_FADES_S = 4 * DAY_S
"""Time constant with which a longest rest is forgotten: the night before last still counts."""
GAP_COUNT = 10
GAP_LEAST_MS = 600_000
"""After longer silence nobody knows that it stood still meanwhile."""
RETURN_RATIO = 0.25
"""A spike is alone: the next reading is this near, by the spike's height, to the one before it."""
JUMPS_KEPT = 12
SHORT_RUN_COUNT = 3
"""So few refused readings between good ones are a spike, not a broken sensor."""
LATE_WINDOW_MS = HOUR_MS
LATE_LEAST_COUNT = 5
CLOCK_OFF_MS = 120_000
"""Longer than any delivery takes that is made at once (common practice, no source)."""
LATE_SPREAD_RATIO = 0.25
"""A clock is off by the same all the time; a backlog is worked off."""
AHEAD_MS = 60_000
"""A reading cannot arrive before it was measured; so much is left to clocks that are set by hand."""

SPIKES: dict[Quantity, float] = {
    # A releaser's dump sags by up to 2 inHg for seconds (from memory), which is one reading.
    Quantity.VACUUM: 4.0 * INHG_PA,
    # Waves and foam of a fill stay below a hand's breadth (common practice, no source).
    Quantity.LEVEL: 0.10,
    Quantity.AIR_PRESSURE: 500.0,
    Quantity.AIR_TEMPERATURE: 5.0,
    Quantity.SAP_TEMPERATURE: 5.0,
    Quantity.SHED_TEMPERATURE: 8.0,
    Quantity.PUMP_TEMPERATURE: 25.0,
    Quantity.PAN_TEMPERATURE: 15.0,
}
"""What none of these does and undoes within two readings, SI; the stack is left out, for a door is opened."""
RESTS_BELOW: dict[Quantity, float] = {
    Quantity.VACUUM: 2.0 * INHG_PA,
    Quantity.STACK_TEMPERATURE: 100.0,
    Quantity.PAN_TEMPERATURE: 60.0,
    Quantity.FLOW: 1e-6,
}
"""Without a fire, without flow, or on its pin without vacuum, it may stand still; SI."""
NEED_NOT_MOVE = frozenset({Quantity.RUNNING, Quantity.BATTERY, Quantity.SUGAR})
MELTS = frozenset({Quantity.AIR_TEMPERATURE, Quantity.SAP_TEMPERATURE, Quantity.SHED_TEMPERATURE})
MELTING_C = 0.3
"""So near the melting point ice holds a thermometer for hours."""
KEEPS_HOURS = frozenset({Quantity.VACUUM, Quantity.LEVEL, Quantity.AIR_TEMPERATURE, Quantity.BATTERY})
DRIVEN = frozenset({Quantity.VACUUM, Quantity.STACK_TEMPERATURE, Quantity.PAN_TEMPERATURE})
"""What moves all the time while it is not still: under a running pump, over a fire."""
NOT_THE_SENSOR = frozenset({RejectKind.UNTIMED, RejectKind.OUR_CLOCK, RejectKind.OTHER})
WRONG_CLOCK = frozenset({RejectKind.CLOCK_AHEAD, RejectKind.CLOCK_NOT_SET, RejectKind.LONG_PAST})
SPIKE_KINDS = frozenset({RejectKind.OUT_OF_RANGE, RejectKind.FAULT})


@dataclass(slots=True)
class SensorHealth:
    """What is remembered of one sensor."""

    since_ms: int = 0
    measured_ms: int = 0
    value: float = 0.0
    before: float = 0.0
    """The reading before the newest."""
    shown_ms: int = 0
    """Since when it has shown the very same value."""
    shown_count: int = 0
    still_ms: int = 0
    """The same, but from when it should have moved."""
    still_count: int = 0
    longest_s: float = 0.0
    """It has stood still for so long, lately, and then moved on."""
    step: float = 0.0
    """The least change seen: its last digit."""
    learned_count: int = 0
    differ_ratio: float = 0.0
    changes_count: int = 0
    wide_ratio: float = 0.0
    jumps_ms: list[int] = field(default_factory=list)
    refused_kind: RejectKind | None = None
    refused_count: int = 0
    """Refused one after the other, without a good one between."""
    refused_from_ms: int = 0
    refused_ms: int = 0
    """By arrival: when it was last refused."""
    late_from_ms: int = 0
    late_count: int = 0
    late_least_ms: int = 0
    late_most_ms: int = 0
    clock_behind_ms: int = 0
    """In the last hour that could tell; negative: ahead."""
    hour: int = 0
    hour_sum: float = 0.0
    hour_count: int = 0
    hour_still_count: int = 0
    hours: list[tuple[int, float, bool]] = field(default_factory=list)
    """Hour since 1970, mean, and whether it should have moved in it."""


def observe_health(state: SensorHealth, sensor: Sensor, reading: Reading, *, still: bool) -> None:
    """Take one stored reading; `still`: what it measures may stand still now. A late one tells of the clock only."""
    if reading.quality == 0:
        _note_delay(state, reading.received_ms, reading.received_ms - reading.measured_ms)
    if state.refused_count:
        _end_refusals(state)
    measured_ms, value = reading.measured_ms, reading.value
    last_ms, last = state.measured_ms, state.value
    if measured_ms <= last_ms:
        return
    if last_ms == 0:
        state.since_ms = state.shown_ms = state.still_ms = measured_ms
        last = state.before = value
    change = value - last
    if change == 0.0:
        _note_same(state, sensor, measured_ms, still=still)
    else:
        if not still:
            _learn(state, abs(change), measured_ms)
        state.shown_ms = state.still_ms = measured_ms
        state.shown_count = state.still_count = 0
        height = abs(last - state.before)
        if height > SPIKES.get(sensor.quantity, height) and abs(value - state.before) < RETURN_RATIO * height:
            _note_jump(state, last_ms)
    state.measured_ms, state.value, state.before = measured_ms, value, last
    if sensor.quantity in KEEPS_HOURS:
        _note_hour(state, measured_ms // HOUR_MS, value, still=still)


def _note_same(state: SensorHealth, sensor: Sensor, measured_ms: int, *, still: bool) -> None:
    if measured_ms - state.measured_ms > max(GAP_LEAST_MS, GAP_COUNT * 1000 * sensor.interval_s):
        state.shown_ms = state.still_ms = measured_ms
        state.shown_count = state.still_count = 0
    state.shown_count += 1
    state.still_count += 1
    if still:
        state.still_ms, state.still_count = measured_ms, 0


def note_refused(state: SensorHealth, kind: RejectKind, at_ms: int, received_ms: int) -> None:
    """Take one reading that was refused; `at_ms` is when it is taken to be of."""
    if kind in NOT_THE_SENSOR:
        return
    state.refused_ms = max(received_ms, state.refused_ms)
    if kind is RejectKind.TOO_FAST:
        _note_jump(state, at_ms)
        return
    if state.refused_count == 0:
        state.refused_from_ms = at_ms
    state.refused_kind = kind
    state.refused_count += 1


def may_rest(quantity: Quantity, value: float) -> bool:
    """Whether what is measured may stand still at that value (SI), as far as the value alone can tell."""
    if quantity in MELTS:
        return abs(value) < MELTING_C
    return quantity in NEED_NOT_MOVE or value < RESTS_BELOW.get(quantity, -inf)


def is_lively(state: SensorHealth) -> bool:
    """Whether it has digits enough that standing still is no chance."""
    return (
        state.learned_count >= READY_COUNT
        and state.differ_ratio >= LIVELY_RATIO
        and state.wide_ratio >= WIDE_RATIO
    )


def stands_still(state: SensorHealth, quantity: Quantity, least_s: float) -> bool:
    """Whether a lively sensor has shown the very same value for so long while it should have moved."""
    still_s = (state.measured_ms - state.still_ms) / 1000
    if still_s < least_s or not is_lively(state):
        return False
    if quantity in DRIVEN:
        return True
    known_s = (state.still_ms - state.since_ms) / 1000
    return known_s >= KNOWN_S and still_s >= LONGEST_TIMES * state.longest_s


def jumps_count(state: SensorHealth, from_ms: int) -> int:
    """How often it jumped and came back since then."""
    return sum(jump_ms >= from_ms for jump_ms in state.jumps_ms)


def falls_per_s(
    hours: Iterable[tuple[int, float, bool]], least_s: float, scatter_ratio: float
) -> float | None:
    """How fast hourly means fall, SI a second; None while that is not clear, or they do not."""
    points = [(hour * HOUR_S, mean) for hour, mean, _ in hours]
    if len(points) < 3 or points[-1][0] - points[0][0] < least_s:  # noqa: PLR2004 - a line and its scatter
        return None
    mid_s = sum(at_s for at_s, _ in points) / len(points)
    middle = sum(value for _, value in points) / len(points)
    spread = sum((at_s - mid_s) ** 2 for at_s, _ in points)
    slope = sum((at_s - mid_s) * (value - middle) for at_s, value in points) / spread
    left = sum((value - middle - slope * (at_s - mid_s)) ** 2 for at_s, value in points) / len(points)
    fall = -slope * (points[-1][0] - points[0][0])
    return -slope if fall > 0 and left**0.5 <= scatter_ratio * fall else None


def _note_delay(state: SensorHealth, received_ms: int, late_ms: int) -> None:
    if state.late_count == 0 or received_ms < state.late_from_ms:
        state.late_from_ms, state.late_count = received_ms, 0
        state.late_least_ms = state.late_most_ms = late_ms
    state.late_count += 1
    if late_ms < state.late_least_ms:
        state.late_least_ms = late_ms
    elif late_ms > state.late_most_ms:
        state.late_most_ms = late_ms
    if received_ms - state.late_from_ms < LATE_WINDOW_MS or state.late_count < LATE_LEAST_COUNT:
        return
    # Delivery takes time and never gives it back: the quickest tells what the clock is behind, at the most.
    spread_ms = state.late_most_ms - state.late_least_ms
    state.clock_behind_ms = 0
    if state.late_most_ms < -AHEAD_MS:
        state.clock_behind_ms = state.late_most_ms
    elif state.late_least_ms > CLOCK_OFF_MS and spread_ms < max(
        CLOCK_OFF_MS, LATE_SPREAD_RATIO * state.late_least_ms
    ):
        state.clock_behind_ms = state.late_least_ms
    state.late_count = 0


def _end_refusals(state: SensorHealth) -> None:
    if state.refused_count <= SHORT_RUN_COUNT and state.refused_kind in SPIKE_KINDS:
        _note_jump(state, state.refused_from_ms)
    state.refused_count = 0


def _note_jump(state: SensorHealth, at_ms: int) -> None:
    state.jumps_ms.append(at_ms)
    del state.jumps_ms[:-JUMPS_KEPT]


def _learn(state: SensorHealth, change: float, measured_ms: int) -> None:
    same_count = state.still_count
    state.learned_count = min(state.learned_count + same_count + 1, LEARN_COUNT)
    rate = 1.0 / state.learned_count
    ratio: float = state.differ_ratio * (1.0 - rate) ** same_count
    state.differ_ratio = ratio + (1.0 - ratio) * rate
    if state.step == 0.0 or change < SAME_DIGIT * state.step:
        state.step, state.changes_count, state.wide_ratio = change, 0, 0.0
    state.changes_count = min(state.changes_count + 1, DIGITS_COUNT)
    state.wide_ratio += ((change > WIDE_STEPS * state.step) - state.wide_ratio) / state.changes_count
    still_s = (measured_ms - state.still_ms) / 1000
    state.longest_s = max(still_s, state.longest_s * max(0.0, 1.0 - still_s / REST_FADES_S))


def _note_hour(state: SensorHealth, hour: int, value: float, *, still: bool) -> None:
    if hour != state.hour:
        if state.hour_count >= LEAST_IN_HOUR_COUNT:
            mean = float(f"{state.hour_sum / state.hour_count:.5g}")
            state.hours.append((state.hour, mean, 2 * state.hour_still_count < state.hour_count))
            if len(state.hours) > HOURS_KEPT:
                older = state.hours[:-LATELY_COUNT]
                del state.hours[next((i for i, (_, _, moving) in enumerate(older) if not moving), 0)]
        state.hour, state.hour_sum, state.hour_count, state.hour_still_count = hour, 0.0, 0, 0
    state.hour_sum += value
    state.hour_count += 1
    state.hour_still_count += still
