"""What a jittery level has truly done since it was last booked, told from foam, drift and digits.

A change counts once it is wider than the sensor's own noise (the dead-band) and has lasted: the level has
stayed beyond it for a quarter of an hour. So jitter that goes on for days books nothing, and foam or a
dropped reading that comes back books nothing either. A change slower than any fill is the sensor's drift.
"""

from bisect import bisect_left
from dataclasses import dataclass, field
from statistics import median

from shared.estimates.tank_flow import VolumeHistory, interval_s, observe_volume
from shared.units import HOUR_S

SETTLE_S = 900.0
"""A change must last a quarter of an hour; foam settles sooner (common practice, no source)."""
LEAST_SETTLE_COUNT = 3
NEAR_COUNT = 5
"""Minutes in the median that stands for the level now: two wrong ones do no harm."""
SPARE_SHARE = 8
"""One minute in so many may lie elsewhere."""
NOISE_BANDS = 4.0
"""Standard deviations of one minute in the dead-band; the levels compared are quieter than one minute."""
STEP_BANDS = 1.5
"""Steps of the sensor in the dead-band: a level between two digits toggles for ever."""
STEP_LIMIT_RATIO = 0.02
LEAST_BAND_RATIO = 0.0025
"""Share of the capacity that is never worth booking: 4 gal of 1,600."""
LEAST_NOISE_RATIO = 0.0005
NOISE_MEMORY = 30
NOISE_OUTLIER = 3.0
DRIFT_RATIO_PER_H = 0.0025
"""Slower than this share of the capacity an hour is drift: an ultrasonic sensor reads 0.17 % of its distance
more a degree, and a run that took 400 h to fill the tank would be no run."""


@dataclass(slots=True)
class LevelWatch:
    """One tank's level beside what of it is booked."""

    capacity_m3: float = 1.0
    interval_s: float = 60.0
    history: VolumeHistory = field(default_factory=VolumeHistory)
    booked_m3: float | None = None
    """The level that the books account for; None before the first reading."""
    after_ms: int = 0
    """Only minutes from here on count: the first reading, or the last wash."""
    since_ms: int = 0
    """When the level was last near the booked one, or was booked."""
    recent: list[tuple[int, float]] = field(default_factory=list)
    """Smoothed levels of the last closed minutes; those before a matched transfer as if it was over then."""
    noise_m3: float = 0.0
    noise_count: int = 0


@dataclass(frozen=True, slots=True)
class Settled:
    """The level that the last quarter hour rose to, and fell to, and by when."""

    risen_to_m3: float
    fallen_to_m3: float
    at_ms: int


def note_level(watch: LevelWatch, measured_ms: int, volume_m3: float) -> bool:
    """Take a reading in; answers whether a minute before it was thereby closed and may be booked."""
    times_ms = watch.history.times_ms
    newest_ms = times_ms[-1] if times_ms else None
    observe_volume(watch.history, measured_ms, volume_m3)
    opened = len(watch.history.newest) == 1 and watch.history.newest[0][0] == measured_ms == times_ms[-1]
    if newest_ms is None or not opened or measured_ms <= newest_ms:
        return False
    if len(times_ms) > LEAST_SETTLE_COUNT:
        a, b, c = watch.history.volumes_m3[-4:-1]
        bend_m3 = abs(a - 2 * b + c) / 2
        watch.noise_count = min(watch.noise_count + 1, NOISE_MEMORY)
        if watch.noise_count == NOISE_MEMORY:
            bend_m3 = min(bend_m3, NOISE_OUTLIER * band_m3(watch) / NOISE_BANDS)
        # Mean of |a - 2b + c| / 2 is 0.98 standard deviations of normal noise.
        watch.noise_m3 += (bend_m3 - watch.noise_m3) / watch.noise_count
    _note_recent(watch)
    return True


def _note_recent(watch: LevelWatch) -> None:
    times_ms, volumes_m3 = watch.history.times_ms, watch.history.volumes_m3
    end = len(times_ms) - 1
    start = max(bisect_left(times_ms, watch.after_ms, 0, end), end - NEAR_COUNT)
    if end - start >= LEAST_SETTLE_COUNT:
        watch.recent.append((times_ms[end - 1], median(volumes_m3[start:end])))
        del watch.recent[: -settle_count(watch)]


def book_change(watch: LevelWatch, change_m3: float) -> None:
    """A change that has lasted is booked."""
    if watch.booked_m3 is not None:
        watch.booked_m3 += change_m3


def book_match(watch: LevelWatch, change_m3: float) -> None:
    """A change that another tank confirms is booked, and done with for the minutes before it."""
    book_change(watch, change_m3)
    if watch.booked_m3 is not None:
        watch.recent[:-1] = [(at_ms, level_m3 + change_m3) for at_ms, level_m3 in watch.recent[:-1]]


def band_m3(watch: LevelWatch) -> float:
    """The dead-band: a change within it is taken for noise."""
    noise_m3 = NOISE_BANDS * max(watch.noise_m3, LEAST_NOISE_RATIO * watch.capacity_m3)
    step_m3 = min(STEP_BANDS * (watch.history.least_step_m3 or 0.0), STEP_LIMIT_RATIO * watch.capacity_m3)
    return max(noise_m3, step_m3, LEAST_BAND_RATIO * watch.capacity_m3)


def lately_m3(watch: LevelWatch) -> float:
    """How much the level itself changed over the last closed minutes; 0 before there are enough."""
    times_ms, volumes_m3 = watch.history.times_ms, watch.history.volumes_m3
    now, then = len(times_ms) - 1, len(times_ms) - 1 - NEAR_COUNT
    if then < LEAST_SETTLE_COUNT or times_ms[then - LEAST_SETTLE_COUNT] < watch.after_ms:
        return 0.0
    before_m3 = median(volumes_m3[then - LEAST_SETTLE_COUNT : then])
    return median(volumes_m3[now - LEAST_SETTLE_COUNT : now]) - before_m3


def level_at_m3(watch: LevelWatch, at_ms: int) -> float | None:
    """The smoothed level at a time within three hours; None where too little was heard then, or before a wash."""
    times_ms = watch.history.times_ms
    near_ms = max(180.0, 3 * watch.interval_s) * 1000
    first = min(bisect_left(times_ms, at_ms) - NEAR_COUNT // 2, len(times_ms) - LEAST_SETTLE_COUNT)
    around = range(max(0, first), min(len(times_ms), max(0, first) + NEAR_COUNT))
    known = [i for i in around if abs(times_ms[i] - at_ms) <= near_ms and times_ms[i] >= watch.after_ms]
    if len(known) < LEAST_SETTLE_COUNT:
        return None
    return median(watch.history.volumes_m3[i] for i in known)


def settle_count(watch: LevelWatch) -> int:
    """Closed minutes, or readings of a slower sensor, that a change must last."""
    return max(LEAST_SETTLE_COUNT, round(SETTLE_S / interval_s(watch.history)))


def settled(watch: LevelWatch) -> Settled | None:
    """What has lasted; None while too few minutes count."""
    count = settle_count(watch)
    if len(watch.recent) < count:
        return None
    spare = count // SPARE_SHARE
    ordered = sorted(level_m3 for _, level_m3 in watch.recent)
    # A steady rise passed the level that so few minutes lie below so many minutes into the window.
    return Settled(ordered[spare], ordered[-1 - spare], watch.recent[spare][0])


def is_drift(watch: LevelWatch, change_m3: float, at_ms: int) -> bool:
    """The change came so slowly that it is the sensor's, not the sap's."""
    span_h = (at_ms - watch.since_ms) / 1000 / HOUR_S
    return abs(change_m3) - band_m3(watch) / 4 < DRIFT_RATIO_PER_H * watch.capacity_m3 * span_h
