"""How well each cause explains the drops: leak, pump, ice, sensor or nothing, weighed on one tree of lines.

A leak in a piece of line adds its air to every piece between it and the pump. So the drop grows from the pump
to the leak and stays the same from there on, and a line that branches off on the way has the drop of its
joint. In squares of absolute pressure (isothermal pipe flow) these steps simply add up:

    drop at the pump ── + step of piece 1 ── + step of piece 2 ── + part of the step of the leaking piece
        seen by             seen by              seen by              seen by
    sensors before 1    sensors before 2     those before the leak    all beyond it

Length, bore and flow tell a step only within a factor, for sap, sags and fittings take their share. The steps
are thus a chain of normal ones, each link seen by its sensors, and a scalar Kalman filter weighs the whole
chain in one pass for each size of leak and place in the piece. What is seen has Student's t tails, because a
usual can be off and a line can have a second trouble.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, log1p, pi, sqrt
from typing import NamedTuple

from shared.estimates.lines import AT_PUMP, Tree
from shared.units import CFM_M3_S, INHG_PA

AIR_KG_M3 = 1.27
"""Dry air at 5 °C and 101 325 Pa. Source: ideal gas law."""
AIR_PA_S = 1.75e-5
"""Air at 5 °C. Source: US Standard Atmosphere 1976, Sutherland's law."""
FREE_PA = 101_325.0
BLASIUS_RATIO = 0.316
"""Friction of a smooth pipe, 0.316 / Re^0.25. Source: Blasius 1913."""
WET_RATIO = 1.3
"""Friction of a line that carries sap too over that of a dry one (from memory; see STEP_SPREAD_RATIO)."""
STEP_SPREAD_RATIO = 0.5
"""Standard deviation of a step over its nominal value: bores vary by maker, and 5 % of bore is 25 % of
friction; sap, sags and fittings take as much again (common practice, no source)."""
TAP_AIR_M3_S = 0.003 * CFM_M3_S
"""What a tap lets in on a tight system: a third of the 1 CFM per 100 taps that pumps are sized by (Ohio State
extension)."""
LEAKS_M3_S = tuple(0.7 * CFM_M3_S * 1.4**step for step in range(14))
"""Leaks weighed, 0.7 to 55 CFM in equal ratios: from a pulled spout (a 1/16 in hole lets in 0.5 CFM) to a
mainline torn off."""
PLACES = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Parts of the leaking piece that lie between the leak and the pump."""
GIVES_RATIO = 0.5
"""A pump of constant displacement gives way in proportion to the air it must take, a regulated one not at
all: this, and as much either way."""
FLOOR_PA = 0.15 * INHG_PA
"""What one usual is off by on an ordinary day: sap flow, sun, the gauge (common practice, no source)."""
SHARED_PA = 0.2 * INHG_PA
"""The same, for all sensors at once."""
RELATIVE_RATIO = 0.08
"""Part of a drop that other flows in the network make or take (common practice, no source)."""
TAILS = 4.0
"""Degrees of freedom of Student's t, the usual choice for outliers. Source: Lange, Little and Taylor 1989."""
PUMP_DROPS_PA = tuple(0.4 * INHG_PA * 1.45**step for step in range(15))
PUMP_SPREAD_RATIO = 0.15
RANGE_PA = 32.0 * INHG_PA
"""A sensor at fault shows anything."""
ICE_DROP_PA = 12.0 * INHG_PA
ICE_SPREAD_PA = 7.0 * INHG_PA
"""Beyond ice the vacuum goes anywhere, in the end to 0. Source: Cornell, 2017 research plots that froze."""
ICE_UNEVEN_RATIO = 0.4
"""Sensors beyond the same plug fade each at their own rate."""
_LOSS = BLASIUS_RATIO * (pi * AIR_PA_S / (4.0 * AIR_KG_M3)) ** 0.25 * 16.0 * AIR_KG_M3 * FREE_PA / pi**2


@dataclass(frozen=True, slots=True)
class Seen:
    """One sensor as the model takes it: absolute pressures, and the standard deviation of its drop."""

    name: str
    usual_abs_pa: float
    now_abs_pa: float
    sigma_pa: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """Logarithm of how likely the drops are under each cause, up to one constant for all."""

    nothing: float
    pump: float
    leaks: tuple[tuple[float, ...], ...]
    """By piece, then by size as in LEAKS_M3_S."""
    ice: tuple[float, ...]
    """By piece."""
    sensors: dict[str, float]


class _Group(NamedTuple):
    """Sensors that see the same drop: their number, weights, weighted sum and weighted sum of squares."""

    number: int = 0
    weight: float = 0.0
    total: float = 0.0
    squares: float = 0.0

    def plus(self, other: "_Group") -> "_Group":
        return _Group(
            self.number + other.number,
            self.weight + other.weight,
            self.total + other.total,
            self.squares + other.squares,
        )

    def without(self, other: "_Group") -> "_Group":
        return self.plus(_Group(-other.number, -other.weight, -other.total, -other.squares))


class _Link(NamedTuple):
    """What a group says: its mean, the variance of that, and how well its sensors agree with each other."""

    mean: float
    variance: float
    agreement: float


class _Belief(NamedTuple):
    """A drop as far as it is known, and how likely what was seen on the way there is."""

    mean: float
    variance: float
    score: float = 0.0

    def step(self, added: float) -> "_Belief":
        return _Belief(self.mean + added, self.variance + (STEP_SPREAD_RATIO * added) ** 2, self.score)

    def see(self, link: _Link | None) -> "_Belief":
        if link is None:
            return self
        spread = self.variance + link.variance
        error = link.mean - self.mean
        fit = -0.5 * (TAILS + 1.0) * log1p(error * error / spread / TAILS) - 0.5 * log(spread)
        gain = self.variance / spread
        return _Belief(
            self.mean + gain * error, self.variance * (1.0 - gain), self.score + fit + link.agreement
        )


_CALM = _Belief(0.0, SHARED_PA**2)


def evidence(tree: Tree, seen: Sequence[Seen]) -> Evidence:
    """How likely these drops are under each cause, to sensors of the tree, one or more."""
    reference_pa = sorted(one.usual_abs_pa for one in seen)[len(seen) // 2]
    groups = {one.name: _alone(one, reference_pa) for one in seen}
    uphill = [_Group() for _ in (*tree.pieces, AT_PUMP)]
    taps_counts = [piece.taps_count for piece in tree.pieces] + [0.0]
    for one in seen:
        end = tree.sensors[one.name]
        uphill[end] = uphill[end].plus(groups[one.name])
    # Pieces come after those they hang on, so from the last to the first all is summed towards the pump.
    for index in reversed(range(len(tree.pieces))):
        below = tree.pieces[index].downhill
        uphill[below] = uphill[below].plus(uphill[index])
        taps_counts[below] += taps_counts[index]
    everyone = uphill[AT_PUMP]
    chain = _Chain(tree, uphill, taps_counts, reference_pa)
    indices = range(len(tree.pieces))
    return Evidence(
        nothing=_CALM.see(_link(everyone)).score,
        pump=log_mean([_pump_belief(drop_pa).see(_link(everyone)).score for drop_pa in PUMP_DROPS_PA]),
        leaks=chain.leaks(),
        ice=tuple(
            _ice(seen, set(tree.watchers[index]), everyone.without(uphill[index])) for index in indices
        ),
        sensors={
            one.name: _CALM.see(_link(everyone.without(groups[one.name]))).score
            + log(sqrt(2.0 * pi) * one.sigma_pa / RANGE_PA)
            for one in seen
        },
    )


def squares_lost_pa2(length_m: float, bore_m: float, free_air_m3_s: float) -> float:
    """Difference of the squared absolute pressures at the ends of a dry line that passes so much free air.

    Source: isothermal pipe flow with Blasius friction. A line of 1 in by 1000 ft is said to pass 8 CFM (Ohio
    State extension): with 5 inHg left at the pump that takes 11 inHg.

    >>> far_pa = (squares_lost_pa2(304.8, 0.0254, 8 * CFM_M3_S) + (5 * INHG_PA) ** 2) ** 0.5
    >>> round(far_pa / INHG_PA - 5)
    11
    """
    loss_pa2: float = _LOSS * length_m / bore_m**4.75 * free_air_m3_s**1.75
    return loss_pa2


def log_mean(logs: Sequence[float]) -> float:
    """Logarithm of the mean of numbers given by their logarithms."""
    most = max(logs)
    return most + log(sum(exp(value - most) for value in logs) / len(logs))


@dataclass(frozen=True, slots=True)
class _Chain:
    tree: Tree
    uphill: list[_Group]
    """Sensors at and beyond each piece's end, and last those of the whole farm."""
    taps_counts: list[float]
    """Taps on and beyond each piece, and last those of the whole farm."""
    reference_pa: float

    def leaks(self) -> tuple[tuple[float, ...], ...]:
        """Score of a leak in each piece, by size."""
        return tuple(zip(*(self._leaks(leak_m3_s) for leak_m3_s in LEAKS_M3_S), strict=True))

    def _leaks(self, leak_m3_s: float) -> list[float]:
        """Score of a leak of that size in each piece; what is known on the way is shared by all beyond."""
        total_m3_s = TAP_AIR_M3_S * max(1.0, self.taps_counts[AT_PUMP])
        given = GIVES_RATIO * self.reference_pa * leak_m3_s / total_m3_s
        at_end = [*(_CALM for _ in self.tree.pieces), _Belief(given, SHARED_PA**2 + given**2)]
        scores = []
        for index, piece in enumerate(self.tree.pieces):
            around = _link(self.uphill[piece.downhill].without(self.uphill[index]))
            belief = at_end[piece.downhill].see(around)
            whole = self._step(index, leak_m3_s)
            at_end[index] = belief.step(whole)
            beyond = _link(self.uphill[index])
            if beyond is None:
                scores.append(belief.score)
            else:
                scores.append(log_mean([belief.step(part * whole).see(beyond).score for part in PLACES]))
        return scores

    def _step(self, index: int, leak_m3_s: float) -> float:
        """What the leak adds to the loss along a piece."""
        piece = self.tree.pieces[index]
        usual_m3_s = TAP_AIR_M3_S * (self.taps_counts[index] - piece.taps_count / 2.0)
        with_leak_pa2 = squares_lost_pa2(piece.length_m, piece.bore_m, usual_m3_s + leak_m3_s)
        usual_pa2 = squares_lost_pa2(piece.length_m, piece.bore_m, usual_m3_s)
        return WET_RATIO * (with_leak_pa2 - usual_pa2) / (2.0 * self.reference_pa)


def _alone(one: Seen, reference_pa: float) -> _Group:
    """A sensor's drop in squares of pressure over twice the reference: near the usual, plain pressure."""
    drop = (one.now_abs_pa**2 - one.usual_abs_pa**2) / (2.0 * reference_pa)
    return _weighed(drop, one.sigma_pa * one.now_abs_pa / reference_pa)


def _weighed(drop: float, sigma: float) -> _Group:
    weight = 1.0 / sigma**2
    return _Group(1, weight, weight * drop, weight * drop**2)


def _link(group: _Group) -> _Link | None:
    if group.number == 0:
        return None
    mean = group.total / group.weight
    chi2 = max(0.0, group.squares - group.total * mean)
    # A lone sensor agrees with itself; sums that were subtracted may leave a trace of what they were.
    fit = -0.5 * (TAILS + group.number - 1) * log1p(chi2 / TAILS) if group.number > 1 else 0.0
    return _Link(mean, 1.0 / group.weight, fit - 0.5 * log(group.weight))


def _pump_belief(drop_pa: float) -> _Belief:
    return _Belief(drop_pa, SHARED_PA**2 + (PUMP_SPREAD_RATIO * drop_pa) ** 2)


def _ice(seen: Sequence[Seen], beyond: set[str], rest: _Group) -> float:
    """Score of ice with those sensors beyond it: they go anywhere, and the rest stay."""
    group, widened = _Group(), 0.0
    for one in seen:
        if one.name in beyond:
            drop_pa = one.now_abs_pa - one.usual_abs_pa
            sigma_pa = sqrt(one.sigma_pa**2 + (ICE_UNEVEN_RATIO * drop_pa) ** 2)
            widened += log(one.sigma_pa / sigma_pa)
            group = group.plus(_weighed(drop_pa, sigma_pa))
    fallen = _Belief(ICE_DROP_PA, ICE_SPREAD_PA**2).see(_link(group)).score
    return _CALM.see(_link(rest)).score + fallen + widened
