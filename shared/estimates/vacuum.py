"""Each vacuum sensor's own usual while the pump runs and the lines are thawed, and the drop against it.

The usual is a share of what the air allows: under a pump of constant volume flow, with leaks that are
choked, a falling barometer takes vacuum away but no share, so a front is no leak. One-minute medians teach
it (see usual), and only with the pump settled and the lines thawed and open to it; in other states the drop
is still told, and flagged.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

from shared.estimates.onset import MINUTE_MS, Departure, fall_s, slack_pa, start_ms
from shared.estimates.usual import READY_COUNT, Usual
from shared.physics.air import attainable_vacuum_pa, require_station
from shared.physics.bounds import require_within
from shared.readings import PLAUSIBLE, Quantity, Unknown
from shared.units import INHG_PA

HOUR_MS = 60 * MINUTE_MS
SETTLE_MS = 10 * MINUTE_MS
"""Pumping down takes minutes (isothermal emptying of a farm's tubing); they are not usual."""
FREEZE_C = -1.0
"""Lines freeze below about this; sap itself freezes at -0.1 °C (Kurokawa 2022: sap stops at -2 to +2 °C)."""
THAW_C = 0.0
SURELY_THAWED_C = 1.0
"""A first look at air below this does not tell whether the night before has left ice in the lines."""
THAW_K_H = 2.0
"""Ice takes heat to melt, about so many kelvin above 0 °C times hours for a mainline a fifth full: 31 kJ/m of
latent heat, 4 W/(m K) of wind and sun (reasoned, no source)."""
LATE_THAW_K_H = 20.0
"""The same for a conductor of 2.5 in. Until then a line that holds nothing is still shut by ice; if it was torn,
the pump loses too, and tells."""
BACK_RATIO = 0.6
"""A line that holds this much of its usual is open to the pump; ice takes it to nothing."""
LONGEST_FELT_MS = 60 * MINUTE_MS
"""Over a longer gap nobody knows what the air did."""
RUNNING_LEAST_PA = 2.0 * INHG_PA
"""A pump that runs holds more even with a line torn off (common practice, no source)."""
ABOVE_ATTAINABLE_PA = 0.3 * INHG_PA
"""A gauge that shows more than the whole air pressure by this is wrong; good ones are within it."""
LEARN_WITHIN_PA = 1.0 * INHG_PA
"""Further from the usual than this a minute teaches nothing: a third of what trade advice calls a leak."""
LEAST_NOISE_PA = 0.05 * INHG_PA
WINDOW_MS = 10 * MINUTE_MS
WINDOW_COUNT = 9
SPACING_MS = 2_000
NOW_MS = 3 * MINUTE_MS
NOW_COUNT = 5
"""A median over this long outvotes the seconds of a releaser's dump, whatever its period."""
MINUTES_KEPT = 180
SILENT_MS = 5 * MINUTE_MS
SILENT_COUNT = 5
"""Missed intervals before a sensor is silent (from memory, design advice)."""
_VACUUM = PLAUSIBLE[Quantity.VACUUM]
_AIR = PLAUSIBLE[Quantity.AIR_TEMPERATURE]


@dataclass(slots=True)
class VacuumHistory:
    """What is remembered of one vacuum sensor."""

    times_ms: list[int] = field(default_factory=list)
    vacuums_pa: list[float] = field(default_factory=list)
    closed_ms: int = 0
    """Readings before this have been taken into minutes."""
    minutes_ms: list[int] = field(default_factory=list)
    drops_pa: list[float] = field(default_factory=list)
    station_pa: float = 0.0
    running: bool = False
    running_since_ms: int = 0
    sealed: bool = False
    """The lines hold nothing, so that the pump works against ice or shut valves."""
    frozen: bool | None = None
    freezing: bool = False
    """The air takes heat from the lines."""
    felt_ms: int = 0
    heat_k_h: float = 0.0
    """What the air has given to the ice since it froze."""
    usual: Usual = field(default_factory=Usual)
    """As a share of the attainable vacuum."""
    departure: Departure = field(default_factory=Departure)


@dataclass(frozen=True, slots=True)
class VacuumDrop:
    """How a sensor stands against its usual."""

    usual_pa: float
    now_pa: float
    drop_pa: float
    """Usual less now: positive is worse."""
    attainable_pa: float
    station_pa: float
    share_ratio: float
    """Now over attainable."""
    since_ms: int | None
    """When the drop began; None while there is none beyond noise."""
    fell_s: float | None
    """How long it took to fall most of the way; None without a drop, or when it fell too long ago to tell."""
    pump_running: bool
    frozen: bool | None
    """By the air with a thaw lag; None where no thermometer tells."""
    noise_pa: float
    """One standard deviation of a minute's median about the usual."""
    above_attainable: bool
    """Shows more vacuum than there is air: the sensor (or the barometer) is wrong, not the line."""
    settling: bool = False
    """The pump has only begun to work on this line: vacuum is still coming."""


def pump_is_running(vacuums_pa: Iterable[float]) -> bool:
    """Whether a pump without a `running` sensor runs: by its own vacuum, or having none by all lines'."""
    return max(vacuums_pa, default=0.0) > RUNNING_LEAST_PA


def observe_vacuum(
    state: VacuumHistory,
    measured_ms: int,
    vacuum_pa: float,
    station_pa: float,
    air_c: float | None = None,
    *,
    running: bool | None = None,
    sealed: bool = False,
) -> None:
    """Take one reading, with what was last known of air pressure, air temperature and pump.

    Without `running` the sensor's own vacuum must tell. `sealed`: a pump's sensor, while the lines hold
    nothing; what it shows then is not its usual. A reading told twice changes nothing; a late one is
    set in its place among the last ten minutes, or ignored.

    Raises:
        InvalidArgument: a number no vacuum sensor, barometer or thermometer can show.
    """
    require_within("vacuum_pa", vacuum_pa, _VACUUM.low, _VACUUM.high)
    require_station(station_pa)
    if air_c is not None:
        require_within("air_c", air_c, _AIR.low, _AIR.high)
    times = state.times_ms
    if times and measured_ms <= times[-1]:
        _set_in_place(state, measured_ms, vacuum_pa)
        return
    if times and measured_ms - times[-1] < SPACING_MS:
        return
    times.append(measured_ms)
    state.vacuums_pa.append(round(vacuum_pa, 1))
    state.station_pa = station_pa
    now_running = vacuum_pa > RUNNING_LEAST_PA if running is None else running
    if now_running and not state.running:
        state.running_since_ms = measured_ms
    state.running, state.sealed = now_running, sealed
    if air_c is not None:
        _feel_air(state, measured_ms, air_c)
    # One minute of grace, so that readings that overtook each other meet in their minute.
    closable_ms = (measured_ms // MINUTE_MS - 1) * MINUTE_MS
    if closable_ms > state.closed_ms:
        _close_minutes(state, closable_ms)


def rebase_vacuum(state: VacuumHistory) -> None:
    """Forget the usual and learn it anew: the log says that the lines have changed."""
    state.usual = Usual()
    state.departure = Departure()
    state.minutes_ms, state.drops_pa = [], []


def vacuum_drop(state: VacuumHistory, now_ms: int) -> VacuumDrop | Unknown:
    """How the sensor stands at that time; Unknown while it is silent or its usual is still being learnt."""
    heard = bisect_right(state.times_ms, now_ms)
    if heard == 0:
        return Unknown("nothing heard yet")
    silent_ms = now_ms - state.times_ms[heard - 1]
    interval_ms = _interval_ms(state.times_ms[max(0, heard - WINDOW_COUNT) : heard])
    if silent_ms > max(SILENT_MS, SILENT_COUNT * interval_ms):
        return Unknown(silent_words(silent_ms))
    if state.usual.ratio is None:
        left = READY_COUNT - len(state.usual.first)
        return Unknown(f"its usual needs {left} more min of the pump running with the lines thawed")
    window_ms = max(NOW_MS, NOW_COUNT * interval_ms)
    first = bisect_left(state.times_ms, state.times_ms[heard - 1] - window_ms)
    now_pa = median(state.vacuums_pa[first:heard])
    attainable_pa = attainable_vacuum_pa(state.station_pa)
    usual_pa = state.usual.ratio * attainable_pa
    noise_pa = max(LEAST_NOISE_PA, state.usual.scatter_ratio * attainable_pa)
    drop_pa = usual_pa - now_pa
    since_ms = _since_ms(state, heard, usual_pa, drop_pa, slack_pa(noise_pa))
    return VacuumDrop(
        usual_pa=usual_pa,
        now_pa=now_pa,
        drop_pa=drop_pa,
        attainable_pa=attainable_pa,
        station_pa=state.station_pa,
        share_ratio=now_pa / attainable_pa,
        since_ms=since_ms,
        fell_s=fall_s(state.minutes_ms, state.drops_pa, since_ms, drop_pa),
        pump_running=state.running,
        frozen=state.frozen,
        noise_pa=noise_pa,
        above_attainable=now_pa > state.station_pa + ABOVE_ATTAINABLE_PA,
        settling=state.running and now_ms - state.running_since_ms < max(SETTLE_MS, window_ms),
    )


def silent_words(silent_ms: int) -> str:
    """How long nothing has been heard, for people."""
    hours, minutes = divmod(silent_ms // MINUTE_MS, 60)
    return f"silent for {hours} h {minutes:02d} min" if hours else f"silent for {minutes} min"


def _set_in_place(state: VacuumHistory, measured_ms: int, vacuum_pa: float) -> None:
    times = state.times_ms
    place = bisect_left(times, measured_ms)
    # Nearer than the spacing covers the same time too: a reading told twice.
    if (
        place > 0
        and times[place] - measured_ms >= SPACING_MS
        and measured_ms - times[place - 1] >= SPACING_MS
    ):
        times.insert(place, measured_ms)
        state.vacuums_pa.insert(place, round(vacuum_pa, 1))


def _feel_air(state: VacuumHistory, measured_ms: int, air_c: float) -> None:
    passed_h = min(measured_ms - state.felt_ms, LONGEST_FELT_MS) / HOUR_MS if state.felt_ms else 0.0
    state.felt_ms, state.freezing = measured_ms, air_c <= THAW_C
    if air_c <= FREEZE_C or (state.frozen is None and air_c < SURELY_THAWED_C):
        state.frozen = True
    heat_k_h = round(state.heat_k_h + (air_c - THAW_C) * passed_h, 6)
    state.heat_k_h = min(max(0.0, heat_k_h), LATE_THAW_K_H)
    if air_c <= FREEZE_C:
        state.heat_k_h = 0.0
    elif state.frozen:
        enough_k_h = THAW_K_H if _is_back(state) else LATE_THAW_K_H
        state.frozen = state.freezing or state.heat_k_h < enough_k_h
        if not state.frozen:
            state.running_since_ms = measured_ms  # from now on the pump works on this line
    else:
        state.frozen = False


def _is_back(state: VacuumHistory) -> bool:
    """Whether nothing speaks for ice: the sensor holds, or cannot, as the pump is off or its usual is not known."""
    if not state.running or state.usual.ratio is None:
        return True
    return state.vacuums_pa[-1] >= BACK_RATIO * state.usual.ratio * attainable_vacuum_pa(state.station_pa)


def _close_minutes(state: VacuumHistory, closable_ms: int) -> None:
    times, index = state.times_ms, bisect_left(state.times_ms, state.closed_ms)
    while times[index] < closable_ms:
        minute_ms = times[index] // MINUTE_MS * MINUTE_MS
        end = bisect_left(times, minute_ms + MINUTE_MS, index)
        _take_minute(state, minute_ms, median(state.vacuums_pa[index:end]))
        index = end
    state.closed_ms = closable_ms
    old = min(bisect_left(times, times[-1] - WINDOW_MS), len(times) - WINDOW_COUNT, index)
    if old > 0:
        del times[:old], state.vacuums_pa[:old]


def _take_minute(state: VacuumHistory, minute_ms: int, vacuum_pa: float) -> None:
    attainable_pa = attainable_vacuum_pa(state.station_pa)
    settled = state.running and minute_ms - state.running_since_ms >= SETTLE_MS
    # A gauge that shows no vacuum while the pump runs is shut off or dead: its zero must not become usual.
    possible = RUNNING_LEAST_PA < vacuum_pa <= state.station_pa + ABOVE_ATTAINABLE_PA
    if settled and possible and not (state.frozen or state.freezing or state.sealed):
        anew = state.usual.learn(vacuum_pa / attainable_pa, LEARN_WITHIN_PA / attainable_pa)
        if anew:
            state.departure = Departure()
    if state.usual.ratio is None:
        return
    drop_pa = round(state.usual.ratio * attainable_pa - vacuum_pa, 1)
    state.departure.take(minute_ms, drop_pa, slack_pa(state.usual.scatter_ratio * attainable_pa))
    state.minutes_ms.append(minute_ms)
    state.drops_pa.append(drop_pa)
    if len(state.minutes_ms) > MINUTES_KEPT:
        del state.minutes_ms[0], state.drops_pa[0]


def _since_ms(
    state: VacuumHistory, heard: int, usual_pa: float, drop_pa: float, least_pa: float
) -> int | None:
    if drop_pa <= least_pa:
        return None
    if state.departure.since_ms is not None:
        return start_ms(state.minutes_ms, state.drops_pa, state.departure.since_ms, drop_pa)
    # Too fresh for the minutes: the first of the latest readings that all lie low.
    index = heard - 1
    while index > 0 and usual_pa - state.vacuums_pa[index - 1] > least_pa:
        index -= 1
    return state.times_ms[index]


def _interval_ms(times_ms: list[int]) -> float:
    gaps_ms = [later - earlier for earlier, later in pairwise(times_ms)]
    return median(gaps_ms) if gaps_ms else 0.0
