"""Where to walk: from drops that came together every cause is ranked, with a probability that can be trusted.

The fault is uphill of the last sensor that holds; how well the sizes of the drops fit each piece of line
decides the rest (see leak_model). Ice, the pump, a lone sensor and nothing at all compete with the leaks.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, log, sqrt

from shared.errors import InvalidArgument
from shared.estimates.leak_model import (
    FLOOR_PA,
    LEAKS_M3_S,
    RELATIVE_RATIO,
    Evidence,
    Seen,
    evidence,
    log_mean,
)
from shared.estimates.lines import AT_PUMP, Stretch, Tree, cut, place_of
from shared.estimates.suspects import (
    TAP_YIELD_M3_DAY,
    Cause,
    Suspect,
    added,
    fallen,
    sap_lost_m3_day,
    unexplained,
    where_words,
    why_words,
)
from shared.estimates.vacuum import THAW_C, VacuumDrop
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.physics.contested import Contested
from shared.readings import Band, Quantity, Unknown
from shared.units import INHG_PA, to_si

PRIOR_PUMP = 0.1
PRIOR_SENSOR = 0.08
PRIOR_NOTHING = 0.35
PRIOR_ICE = {"unknown": 0.05, "warm": 0.003, "cool": 0.15, "cold": 0.4}
"""How often each is what a drop is about, before its pattern is looked at; leaks are the rest (common
practice, no source)."""
WARM_C = 1.0
"""Above this by day and night no line freezes."""
PUMP_OFF_ODDS = 1000.0
"""A pump that is off explains every drop."""
TAP_TUBING_M = 1.0
"""A tap's share of what can leak, as metres of line: squirrels and pulled spouts next to limbs on the line
(common practice, no source)."""
FALLS_S = (180.0, 0.9)
FREEZES_S = (1800.0, 0.8)
"""How long a leak and a freezing line take to fall: median, and standard deviation of the logarithm. A
line's air is replaced in minutes (isothermal emptying); ice fades over tens of minutes (reasoned, no
source)."""
MOST_SLOW = 3.0
MOST_FAST = 6.0
"""The odds that timing alone may give: twenty to one against a leak that grew slowly, for holes do tear open;
four hundred to one against ice that came within minutes."""
SIZE_SPREAD_RATIO = 0.35
"""What friction that is off by a factor 1.8 makes of a leak's size, as standard deviation of the
logarithm."""
TENTHS = (0.1, 0.5, 0.9)
SIGMAS = (-1.2816, 0.0, 1.2816)
"""Where those quantiles of a normal lie."""
UNIT_RATIOS = (
    to_si(1.0, "kPa") / to_si(1.0, "inHg"),
    to_si(1.0, "kPa") / to_si(1.0, "psi"),
    to_si(1.0, "inHg") / to_si(1.0, "psi"),
)
UNIT_WITHIN_RATIO = 0.03
UNIT_ODDS = 10.0
"""A sensor that speaks another unit than the farm file says shows its usual times one of these ratios; half of
the sensors that go wrong in one step do (common practice, no source), and the rest show anything."""
GAIN_PA = 0.3 * INHG_PA
"""More than this above its usual a line holds just as well."""
LEAST_PRESSURE_PA = 0.1 * INHG_PA
"""A gauge above the air pressure must not make a pressure of nothing."""


def locate(
    farm: Farm,
    drops: Mapping[str, VacuumDrop | Unknown],
    air_c: float | None,
    now_ms: int,
    *,
    tap_yield_m3_day: float = TAP_YIELD_M3_DAY,
) -> tuple[Suspect, ...] | Unknown:
    """Every cause, the likeliest first; the probabilities add up to one.

    `drops` holds the farm's vacuum sensors by id. One that is Unknown or missing, or that shows more vacuum
    than there is air, counts as not there: its line is not taken to hold. Unknown when no sensor is left.

    Raises:
        InvalidArgument: a name in `drops` is no vacuum sensor of the farm.
    """
    vacuum = {sensor.id: sensor for sensor in farm.sensors_of(Quantity.VACUUM)}
    strange = sorted(set(drops) - set(vacuum))
    if strange:
        raise InvalidArgument("drops", strange, "of vacuum sensors of this farm")
    # In the farm's order, so that equal suspects rank the same whatever order the drops came in.
    known = {
        name: drop
        for name in vacuum
        if isinstance(drop := drops.get(name), VacuumDrop) and not drop.above_attainable
    }
    if not known:
        return Unknown("no vacuum sensor is known")
    tree = cut(farm, (vacuum[name] for name in known))
    found = evidence(tree, [_seen(name, drop) for name, drop in known.items()])
    chances = _chances(tree, known, found, air_c, now_ms)
    most = max(chances.values())
    total = sum(exp(chance - most) for chance in chances.values())
    scene = _Scene(farm, tree, known, found, tree.taps_counts(), tap_yield_m3_day, fallen(known))
    suspects = [
        scene.suspect(cause, at, exp(chance - most) / total) for (cause, at), chance in chances.items()
    ]
    return tuple(sorted(suspects, key=lambda suspect: -suspect.probability))


def first_to_walk(suspects: tuple[Suspect, ...]) -> Suspect | None:
    """The suspect to walk to first; None when most likely nothing is wrong."""
    return suspects[0] if suspects and suspects[0].cause is not Cause.NOTHING else None


def _seen(name: str, drop: VacuumDrop) -> Seen:
    # What is better than usual is no trouble: it holds, and must not call for an explanation.
    usual_pa = max(drop.station_pa - drop.usual_pa, LEAST_PRESSURE_PA)
    now_pa = max(drop.station_pa - drop.now_pa, usual_pa - GAIN_PA, LEAST_PRESSURE_PA)
    return Seen(
        name,
        usual_pa,
        now_pa,
        sqrt(drop.noise_pa**2 + FLOOR_PA**2 + (RELATIVE_RATIO * drop.drop_pa) ** 2),
    )


def _chances(
    tree: Tree, known: Mapping[str, VacuumDrop], found: Evidence, air_c: float | None, now_ms: int
) -> dict[tuple[Cause, int | str], float]:
    """Logarithm of prior times evidence, by cause and piece or sensor."""
    ice = PRIOR_ICE[_weather(known, air_c)]
    leak = 1.0 - PRIOR_PUMP - PRIOR_SENSOR - PRIOR_NOTHING - ice
    minutes, tens_of_minutes = _timing(known, now_ms)
    pump = log(PRIOR_PUMP) + found.pump + minutes
    if not any(drop.pump_running for drop in known.values()):
        pump += log(PUMP_OFF_ODDS)
    chances: dict[tuple[Cause, int | str], float] = {
        (Cause.NOTHING, AT_PUMP): log(PRIOR_NOTHING) + found.nothing,
        (Cause.PUMP, AT_PUMP): pump,
    }
    weights = [piece.tubing_m + TAP_TUBING_M * piece.taps_count for piece in tree.pieces]
    for index, weight in enumerate(weights):
        share = log(weight / sum(weights))
        cause = Cause(tree.pieces[index].kind.value)
        chances[cause, index] = log(leak) + share + log_mean(found.leaks[index]) + minutes
        if tree.watchers[index]:
            chances[Cause.FROZEN, index] = log(ice) + share + found.ice[index] + tens_of_minutes
    for name, score in found.sensors.items():
        odds = UNIT_ODDS if _speaks_another_unit(known[name]) else 1.0
        chances[Cause.SENSOR, name] = log(odds * PRIOR_SENSOR / len(found.sensors)) + score
    return chances


def _speaks_another_unit(drop: VacuumDrop) -> bool:
    return any(abs(drop.now_pa / drop.usual_pa / ratio - 1.0) < UNIT_WITHIN_RATIO for ratio in UNIT_RATIOS)


def _weather(known: Mapping[str, VacuumDrop], air_c: float | None) -> str:
    # Sap freezes at -0.1 °C, and under a clear sky a line is colder than the air.
    if any(drop.frozen for drop in known.values()) or (air_c is not None and air_c <= THAW_C):
        return "cold"
    if air_c is None:
        return "unknown"
    return "warm" if air_c > WARM_C else "cool"


def _timing(known: Mapping[str, VacuumDrop], now_ms: int) -> tuple[float, float]:
    """How ill the hardest hit's fall fits what takes minutes, and ice: logarithms, the better one 0."""
    worst = max(known.values(), key=lambda drop: drop.drop_pa)
    if worst.since_ms is None or worst.fell_s is None:
        return 0.0, 0.0
    lasted_s = (now_ms - worst.since_ms) / 1000.0
    if lasted_s < FREEZES_S[0] and worst.fell_s > lasted_s / 2.0:
        return 0.0, 0.0  # still falling: too early to tell how long it takes
    fast, slow = (
        -0.5 * (log(max(worst.fell_s, 60.0) / middle_s) / spread) ** 2 - log(spread)
        for middle_s, spread in (FALLS_S, FREEZES_S)
    )
    return max(-MOST_SLOW, min(0.0, fast - slow)), max(-MOST_FAST, min(0.0, slow - fast))


@dataclass(frozen=True, slots=True)
class _Scene:
    farm: Farm
    tree: Tree
    known: Mapping[str, VacuumDrop]
    found: Evidence
    taps_counts: Mapping[str, float]
    tap_yield_m3_day: float
    down: tuple[str, ...]
    """Those that fell, the hardest hit first."""

    def suspect(self, cause: Cause, at: int | str, probability: float) -> Suspect:
        stretch, joining = self._place(cause, at)
        leak_m3_s = sap_lost = None
        if isinstance(at, str):
            mine = {at}
        elif cause is Cause.NOTHING:
            mine = set()
        elif cause is Cause.FROZEN:
            mine = set(self.tree.watchers[at])
        else:
            mine = set(self.known) - unexplained(self.tree, self.known, at)
            sap_lost = self._sap_lost(at)
            leak_m3_s = _size(self.found.leaks[at]) if cause.is_leak else None
        hit = tuple(name for name in self.down if name in mine)
        return Suspect(
            cause=cause,
            line=stretch.line,
            from_m=stretch.from_m,
            to_m=stretch.to_m,
            joining=joining,
            probability=probability,
            onset_ms=self.known[hit[0]].since_ms if hit else None,
            leak_m3_s=leak_m3_s,
            sap_lost_m3_day=sap_lost,
            sensors=hit,
            unexplained=tuple(name for name in self.down if name not in mine),
            where=where_words(self.farm, cause, stretch, joining),
            why=why_words(self.known, hit, len(self.known) - len(self.down)),
        )

    def _place(self, cause: Cause, at: int | str) -> tuple[Stretch, tuple[str, ...]]:
        if isinstance(at, str):
            place = place_of(self.farm, self.farm.sensor_by_id[at])
            return Stretch(place.line, place.at_m, place.at_m), ()
        if at == AT_PUMP:
            return Stretch(PUMP if cause is Cause.PUMP else "", 0.0, 0.0), ()
        piece = self.tree.pieces[at]
        return piece.stretch, piece.joining

    def _sap_lost(self, at: int) -> Contested | None:
        """By all taps uphill; with no sensor there they lose at least what the next one downhill shows."""
        counts = {name: self.taps_counts[name] for name in self.tree.watchers[at]}
        if not counts and (speaker := self.tree.speaker(at)) is not None:
            counts = {speaker: self.tree.uphill_taps_count(at)}
        return added(
            sap_lost_m3_day(drop.usual_pa, drop.drop_pa, count * self.tap_yield_m3_day)
            for drop, count in ((self.known[name], count) for name, count in counts.items())
        )


def _size(logs: tuple[float, ...]) -> Band:
    """10, 50 and 90 of 100 of a leak's size."""
    most = max(logs)
    shares = [exp(value - most) for value in logs]
    step = log(LEAKS_M3_S[1] / LEAKS_M3_S[0])
    marks: list[float] = []
    so_far = 0.0
    for size_m3_s, share in zip(LEAKS_M3_S, shares, strict=True):
        while len(marks) < len(TENTHS) and so_far + share >= TENTHS[len(marks)] * sum(shares):
            within = (TENTHS[len(marks)] * sum(shares) - so_far) / share
            marks.append(log(size_m3_s) + step * (within - 0.5))
        so_far += share
    middle = marks[1]
    down, _, up = (
        sqrt((mark - middle) ** 2 + (sigma * SIZE_SPREAD_RATIO) ** 2)
        for mark, sigma in zip(marks, SIGMAS, strict=True)
    )
    return Band(exp(middle - down), exp(middle), exp(middle + up))
