"""What a storm did, one trouble after the other: each when it began, whether it is over, and where to walk.

Steps that came together are one trouble. Its causes are ranked from what changed across its beginning alone, so a
limb that falls while another line is already down is found as well as the first.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from statistics import median

from shared.estimates.falls import LEAST_STEP_PA, WORST_COUNT, Fall, Instant
from shared.estimates.onset import FELL_RATIO, MINUTE_MS, slack_pa
from shared.estimates.storm_ends import OVER_COUNT, Begun, ends_of
from shared.estimates.storm_scene import Scene, drops_between, is_seen, missing_before_pa, ranked
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.tracks import Minute, Span, Track
from shared.estimates.vacuum import VacuumDrop
from shared.farm_parts import PUMP
from shared.readings import Unknown

TOGETHER_MS = 8 * MINUTE_MS
"""What begins within this is one trouble: a far gauge sees a leak minutes after a near one."""
SETTLED_COUNT = 15
SETTLED_MS = 20 * MINUTE_MS
"""A leak has settled by then; what falls more slowly is looked at when it has got most of the way."""
SLOWEST_MS = 3 * 60 * MINUTE_MS
SHUT_RATIO = 0.6
"""A line that lost so much of its vacuum in the frost is shut by ice."""
OVER_RATIO = 0.3
"""Less than this part of what a line lost is missing: it is back."""


class Outcome(Enum):
    """What had become of a trouble at the end, the most pressing first."""

    DOWN = "down"
    UNKNOWN = "unknown"
    """It cannot be seen: silent, frozen, or the pump was off."""
    BACK = "back"


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that happened: a leak, the pump, ice, a sensor."""

    onset: Instant
    over: Instant | None
    outcome: Outcome
    sensors: tuple[str, ...]
    """Those that fell with it, the hardest hit first."""
    drop_pa: float
    """What the hardest hit lost by it."""
    suspects: tuple[Suspect, ...] | Unknown
    """Every cause, the likeliest first; the probabilities add up to one."""
    is_pump_off: bool = False
    """The pump stood still: that is seen, not inferred."""


@dataclass(frozen=True, slots=True)
class _Step:
    sensor: str
    at: Instant
    size_pa: float
    fall: Fall


def troubles_of(scene: Scene) -> tuple[Trouble, ...]:
    """Every trouble of an inch of mercury or more, in the order in which somebody should see to them.

    What is still down comes first; then what costs sap before a gauge that is wrong; then the larger.
    """
    groups = _together(scene, [step for name in scene.falls for step in _steps(scene, name)])
    times_ms = [group[0].at.at_ms for group in groups] + [off_ms - MINUTE_MS for off_ms, _ in scene.offs]
    begun = []
    for group in groups:
        if _is_frost_nightfall(scene, group):
            continue
        later_ms = [at_ms for at_ms in times_ms if at_ms > group[0].at.at_ms + TOGETHER_MS]
        apart = {step.sensor for other in groups if other is not group for step in other if step.fall.is_cold}
        begun.append(_begun(scene, group, min(later_ms, default=scene.end_ms), apart))
    ends = ends_of(scene, [one for one in begun if not one.is_cold])
    found = [_trouble(scene, one, ends) for one in begun]
    found += [trouble for off in scene.offs if (trouble := _pump_off(scene, off)) is not None]
    return tuple(sorted(found, key=lambda t: (list(Outcome).index(t.outcome), _is_idle(t), -t.drop_pa)))


def _is_idle(trouble: Trouble) -> bool:
    """Whether most likely no line has lost anything by it."""
    likely = trouble.suspects[0].cause if isinstance(trouble.suspects, tuple) else Cause.NOTHING
    return likely in (Cause.SENSOR, Cause.NOTHING)


def _steps(scene: Scene, name: str) -> list[_Step]:
    track, steps = scene.tracks[name], []
    for fall in scene.falls[name]:
        last_ms = scene.end_ms if fall.until is None else fall.until.at_ms
        for number, at in enumerate(fall.steps):
            upto_ms = fall.steps[number + 1].at_ms if number + 1 < len(fall.steps) else last_ms
            before_pa = missing_before_pa(track, at)
            after_pa = _most_pa(track, (at.at_ms, upto_ms + 1), is_cold=fall.is_cold)
            if before_pa is not None and after_pa is not None:
                steps.append(_Step(name, at, after_pa - before_pa, fall))
    return steps


def _most_pa(track: Track, span: Span, *, is_cold: bool) -> float | None:
    """The most that is missing for minutes on end."""
    usable = [track.drops_pa[i] for i in _usable(track, span, is_cold=is_cold)]
    windows = [usable[i : i + WORST_COUNT] for i in range(max(1, len(usable) - WORST_COUNT + 1))]
    return max(median(window) for window in windows) if usable else None


def _usable(track: Track, span: Span, *, is_cold: bool) -> list[int]:
    """Minutes that tell of a fall: frozen ones only of one in the frost."""
    kinds = (Minute.OPEN, Minute.COLD) if is_cold else (Minute.OPEN,)
    return [i for i in track.within(span) if track.standings[i] in kinds]


def _together(scene: Scene, steps: Iterable[_Step]) -> list[list[_Step]]:
    """Steps that came together, each group led by its largest; groups that took less than an inch left out."""
    left = sorted(steps, key=lambda step: -step.size_pa)
    groups = []
    while left and left[0].size_pa >= LEAST_STEP_PA:
        leader = left[0]
        group = [step for step in left if _meet(leader.at, step.at)]
        if leader.fall.is_cold and not _took_the_pump(scene, group):
            # Ice takes each line by itself, often several at a time.
            line = _line(scene, leader.sensor)
            group = [step for step in group if _line(scene, step.sensor) == line]
        left = [step for step in left if step not in group]
        groups.append(group)
    return groups


def _line(scene: Scene, sensor: str) -> str | None:
    return scene.farm.sensor_by_id[sensor].line


def _is_frost_nightfall(scene: Scene, group: Sequence[_Step]) -> bool:
    """Whether the whole farm freezes, or the pump is about to be stopped for it: an evening like any other."""
    leader = group[0]
    if not leader.fall.is_cold:
        return False
    begin_ms = leader.at.at_ms
    rests = any(begin_ms <= off_ms <= begin_ms + SLOWEST_MS for off_ms, _ in scene.frost_offs)
    is_ice = not (leader.fall.is_sharp and _took_the_pump(scene, group))
    shut = {
        _line(scene, name)
        for name, falls in scene.falls.items()
        for fall in falls
        if fall.is_cold
        and fall.worst_pa >= SHUT_RATIO * scene.tracks[name].usual_pa
        and abs(fall.since.at_ms - begin_ms) <= SLOWEST_MS
    }
    return (rests and is_ice) or len(shut - {PUMP}) > 1


def _took_the_pump(scene: Scene, group: Sequence[_Step]) -> bool:
    return any(_line(scene, step.sensor) == PUMP for step in group)


def _meet(one: Instant, other: Instant) -> bool:
    """Whether two steps can have come together, where a gap hides when each did."""
    return (
        one.heard_before_ms - TOGETHER_MS <= other.at_ms and other.heard_before_ms - TOGETHER_MS <= one.at_ms
    )


def _begun(scene: Scene, group: Sequence[_Step], next_ms: int, apart: set[str]) -> Begun:
    leader = group[0]
    track = scene.tracks[leader.sensor]
    onset = leader.at
    if _has_gap(track, onset):
        # Others may have seen what it did not.
        seen = [step.at for step in group if not _has_gap(scene.tracks[step.sensor], step.at)]
        onset = next((at for at in seen if onset.heard_before_ms < at.at_ms <= onset.at_ms), onset)
    before_pa = missing_before_pa(track, leader.at) or 0.0
    # What slides is looked at when it has got most of the way, whatever else happened meanwhile.
    upto_ms = next_ms - MINUTE_MS if leader.fall.is_sharp or leader.fall.is_cold else scene.end_ms
    reached_ms = _reached_ms(track, leader, before_pa, upto_ms)
    over = _over(track, leader, before_pa, reached_ms)
    told_ms = max(onset.at_ms + SETTLED_MS, reached_ms + SETTLED_MS // 2)
    told_ms = min(told_ms, upto_ms, scene.end_ms if over is None else over.heard_before_ms)
    told_ms = max(told_ms, onset.at_ms + MINUTE_MS)
    count = max(1, min(SETTLED_COUNT, (told_ms - onset.at_ms) // MINUTE_MS - 2))
    drops = drops_between(scene, onset, told_ms, count, {step.sensor: step.at.at_ms for step in group})
    if leader.fall.is_cold and not _took_the_pump(scene, group):
        lines = {_line(scene, step.sensor) for step in group}
        other = [name for name in drops if name in apart and _line(scene, name) not in lines]
        drops = {name: drop for name, drop in drops.items() if name not in other}
    sensors = tuple(dict.fromkeys(step.sensor for step in group))
    return Begun(onset, told_ms, reached_ms, sensors, leader.size_pa, drops, leader.fall.is_cold, over)


def _trouble(scene: Scene, begun: Begun, ends: Mapping[Begun, Instant]) -> Trouble:
    over = begun.thawed if begun.is_cold else ends.get(begun)
    outcome = Outcome.BACK
    if over is None:
        seen = any(is_seen(scene.tracks[name], scene.end_ms) for name in begun.sensors)
        outcome = Outcome.DOWN if seen else Outcome.UNKNOWN
    flows_ms = scene.end_ms if outcome is Outcome.DOWN else begun.told_ms
    return Trouble(
        onset=begun.onset,
        over=over,
        outcome=outcome,
        sensors=begun.sensors,
        drop_pa=begun.drop_pa,
        suspects=ranked(scene, begun.drops, begun.told_ms, flows_ms),
    )


def _has_gap(track: Track, at: Instant) -> bool:
    return at.at_ms - at.heard_before_ms > track.gap_ms


def _over(track: Track, leader: _Step, before_pa: float, reached_ms: int) -> Instant | None:
    """When most of what it took was there again, and stayed so for some minutes."""
    least_pa = before_pa + max(slack_pa(track.noise_pa), OVER_RATIO * leader.size_pa)
    count, since_ms, before_ms = 0, 0, 0
    last_ms: int | None = None
    for i in track.within((reached_ms, track.minutes_ms[-1] + 1)):
        missing = track.drops_pa[i] > least_pa
        if missing and (leader.fall.is_cold or track.standings[i] is Minute.OPEN):
            count, last_ms = 0, track.minutes_ms[i]
        if missing or last_ms is None or track.standings[i] is not Minute.OPEN:
            continue
        if count == 0:
            since_ms, before_ms = track.minutes_ms[i], last_ms
        count += 1
        if count == OVER_COUNT:
            return Instant(since_ms, before_ms)
    return Instant(since_ms, before_ms) if count >= OVER_COUNT // 2 else None


def _reached_ms(track: Track, leader: _Step, before_pa: float, upto_ms: int) -> int:
    """When it had got most of the way."""
    longest_ms = SLOWEST_MS if leader.fall.is_sharp or leader.fall.is_cold else upto_ms
    span = (leader.at.at_ms, min(upto_ms, leader.at.at_ms + longest_ms) + 1)
    usable = _usable(track, span, is_cold=leader.fall.is_cold)
    most_pa = max((track.drops_pa[i] - before_pa for i in usable), default=0.0)
    for i in usable:
        if track.drops_pa[i] - before_pa >= FELL_RATIO * most_pa:
            return track.minutes_ms[i]
    return span[0]


def _pump_off(scene: Scene, off: Span) -> Trouble | None:
    """A pump that stood still while sap could run."""
    begin_ms, end_ms = off
    if end_ms <= scene.from_ms or scene.weather.is_cold(begin_ms, is_back=True):
        return None
    told_ms = min(end_ms, scene.end_ms + 1) - MINUTE_MS
    onset = Instant(begin_ms, begin_ms - MINUTE_MS)
    drops = drops_between(scene, onset, told_ms, 1, {})
    lost_pa = {name: drop.drop_pa for name, drop in drops.items() if isinstance(drop, VacuumDrop)}
    down = sorted((n for n, pa in lost_pa.items() if pa >= LEAST_STEP_PA), key=lambda n: -lost_pa[n])
    found = ranked(scene, drops, told_ms, told_ms)
    if not down or isinstance(found, Unknown):
        return None
    pump = next(suspect for suspect in found if suspect.cause is Cause.PUMP)
    is_over = end_ms <= scene.end_ms
    return Trouble(
        onset=onset,
        over=Instant(end_ms, end_ms - MINUTE_MS) if is_over else None,
        outcome=Outcome.BACK if is_over else Outcome.DOWN,
        sensors=tuple(down),
        drop_pa=lost_pa[down[0]],
        suspects=(replace(pump, probability=1.0),),
        is_pump_off=True,
    )
