"""Seeded storms of eight hours: limbs down one after the other, some mended, the power out, the link cut, a front."""

from dataclasses import dataclass, replace
from itertools import pairwise
from math import exp
from random import Random

from shared.estimates.storm import Heard
from shared.farm_parts import PUMP
from shared.units import INCH_M, INHG_PA
from tests.fakes.woods import Hole, Woods, any_farm, any_woods, knob
from tests.fakes.woods_nights import HOUR_MS, MINUTE_MS, START_MS, Series, any_place

STEP_MS = 30_000
END_MS = START_MS + 8 * HOUR_MS
FROM_MS = START_MS + 75 * MINUTE_MS
APART_MS = 25 * MINUTE_MS
LEAST_PA = 1.3 * INHG_PA
WARM_C = 5.0


@dataclass(frozen=True, slots=True)
class Limb:
    """A hole that a storm made, and when it was mended, if it was."""

    line: str
    at_m: float
    diameter_m: float
    onset_ms: int
    mended_ms: int | None

    def is_open(self, at_ms: int) -> bool:
        return self.onset_ms <= at_ms and (self.mended_ms is None or at_ms < self.mended_ms)


@dataclass(frozen=True, slots=True)
class Storm:
    """What was heard, and the truth."""

    woods: Woods
    limbs: tuple[Limb, ...]
    outage: tuple[int, int] | None
    """The pump without power."""
    cut: tuple[int, int] | None
    """The woods' link down, for good."""
    heard: Heard


def any_storm(seed: int) -> Storm:
    """A storm in which each limb takes more than an inch of mercury from some sensor."""
    dice = Random(f"storm {seed}")
    while True:
        woods = any_woods(dice, knob() if dice.random() < 0.5 else any_farm(dice))
        times = sorted(dice.uniform(95, 380) * MINUTE_MS for _ in range(dice.choice((0, 1, 1, 2, 2, 3))))
        if any(later - earlier < APART_MS for earlier, later in pairwise(times)):
            continue
        limbs = []
        for time_ms in times:
            onset_ms = START_MS + round(time_ms)
            mended_ms = onset_ms + round(dice.uniform(45, 180) * MINUTE_MS)
            if dice.random() < 0.5 or mended_ms > END_MS - APART_MS:
                mended_ms = None
            line, at_m = any_place(dice, woods.farm)
            limbs.append(Limb(line, at_m, 0.1 * INCH_M * 5.0 ** dice.random(), onset_ms, mended_ms))
        usual = woods.vacuums_pa()
        if min(usual.values()) > 15 * INHG_PA and all(
            _took_pa(woods, limbs, limb) > LEAST_PA for limb in limbs
        ):
            break
    outage = _some_time(dice, 0.25, (6, 50), limbs)
    cut = _some_time(dice, 0.25, (20, 120), [])
    return Storm(woods, tuple(limbs), outage, cut, _heard(dice, woods, limbs, outage, cut))


def vacuums_at(woods: Woods, limbs: list[Limb], at_ms: int) -> dict[str, float]:
    """What each sensor would settle at."""
    holes = tuple(Hole(b.line, b.at_m, b.diameter_m) for b in limbs if b.is_open(at_ms))
    return replace(woods, holes=holes).vacuums_pa()


def _took_pa(woods: Woods, limbs: list[Limb], limb: Limb) -> float:
    before, after = vacuums_at(woods, limbs, limb.onset_ms - 1), vacuums_at(woods, limbs, limb.onset_ms)
    # A pump that is brought to its knees by it is another story.
    return min(max(before[name] - after[name] for name in before), min(after.values()) - 4 * INHG_PA)


def _some_time(
    dice: Random, chance: float, minutes: tuple[float, float], limbs: list[Limb]
) -> tuple[int, int] | None:
    if dice.random() > chance:
        return None
    while True:
        begin_ms = START_MS + round(dice.uniform(90, 380) * MINUTE_MS)
        end_ms = begin_ms + round(dice.uniform(*minutes) * MINUTE_MS)
        changes = [t for limb in limbs for t in (limb.onset_ms, limb.mended_ms) if t is not None]
        if all(not begin_ms - APART_MS < change_ms < end_ms + APART_MS for change_ms in changes):
            return begin_ms, end_ms


def _heard(
    dice: Random,
    woods: Woods,
    limbs: list[Limb],
    outage: tuple[int, int] | None,
    cut: tuple[int, int] | None,
) -> Heard:
    changes = sorted(
        {START_MS, *(t for limb in limbs for t in (limb.onset_ms, limb.mended_ms) if t is not None)}
    )
    settled = {at_ms: vacuums_at(woods, limbs, at_ms) for at_ms in changes}
    usual = settled[START_MS]
    level, bias = dict(usual), {name: dice.gauss(0.0, 0.3) * INHG_PA for name in usual}
    reach = {name: dice.uniform(0.2, 1.0) for name in usual}
    tau_ms, dump_ms = dice.uniform(0.5, 2.5) * MINUTE_MS, dice.uniform(60, 300) * 1000
    dip_pa = dice.uniform(0.3, 2.0) * INHG_PA
    front_pa = dice.uniform(0.0, 1.0) * INHG_PA
    series: Series = {name: [] for name in usual}
    pressure = []
    for at_ms in range(START_MS, END_MS, STEP_MS):
        target = settled[max(change_ms for change_ms in changes if change_ms <= at_ms)]
        is_off = outage is not None and outage[0] <= at_ms < outage[1]
        station_pa = woods.station_pa - front_pa * (at_ms - START_MS) / (END_MS - START_MS)
        pressure.append((at_ms, station_pa))
        for name, rows in series.items():
            wanted_pa = 0.0 if is_off else target[name]
            level[name] = wanted_pa + (level[name] - wanted_pa) * exp(-STEP_MS / tau_ms)
            said_pa = level[name] * station_pa / woods.station_pa + bias[name]
            said_pa -= reach[name] * dip_pa * exp(-(at_ms % dump_ms) / 10_000.0) * (not is_off)
            said_pa += dice.gauss(0.0, 0.05) * INHG_PA
            is_cut = cut is not None and cut[0] <= at_ms < cut[1]
            if not is_cut or woods.farm.sensor_by_id[name].line == PUMP:
                rows.append((at_ms, round(max(0.0, said_pa) / INHG_PA, 2) * INHG_PA))
    return Heard(series, tuple(pressure), ((START_MS, WARM_C),))
