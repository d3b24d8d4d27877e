"""Seeded nights in the woods: one known trouble, and what every vacuum sensor said before and after it."""

from dataclasses import dataclass, replace
from math import exp, pi, sin
from random import Random

from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.units import INCH_M, INHG_PA
from tests.fakes.woods import Hole, Woods, any_farm, any_woods, knob, where

START_MS = 1_773_000_000_000
SAMPLE_MS = 20_000
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
KINDS = {"leak": 70, "pump": 10, "frozen": 8, "sensor": 6, "nothing": 6}

Vacuums = dict[str, float]
Series = dict[str, list[tuple[int, float]]]


@dataclass(frozen=True, slots=True)
class Night:
    """Three hours of readings, a storm in the second, and the truth."""

    woods: Woods
    kind: str
    line: str
    """Where the trouble is; of a faulty sensor its id."""
    at_m: float
    onset_ms: int
    air_c: float
    usual: Vacuums
    now: Vacuums
    series: Series
    leak_m3_s: float

    @property
    def from_ms(self) -> int:
        return START_MS + HOUR_MS

    @property
    def end_ms(self) -> int:
        return START_MS + 3 * HOUR_MS


def any_night(seed: int, *, kind: str | None = None, farm: Farm | None = None) -> Night:
    """A night of that kind, or of any: it takes an inch of mercury from some sensor, or from none."""
    dice = Random(seed)
    kind = kind or dice.choices(list(KINDS), weights=list(KINDS.values()))[0]
    while True:
        woods = any_woods(dice, farm or (knob() if dice.random() < 0.4 else any_farm(dice)))
        line, at_m = any_place(dice, woods.farm)
        usual = woods.vacuums_pa()
        after = woods
        if kind == "leak":
            # From a pulled spout to a mainline broken open; equal ratios are equally likely.
            after = replace(woods, holes=(Hole(line, at_m, 0.06 * INCH_M * 8.0 ** dice.random()),))
        elif kind == "pump":
            line, at_m = PUMP, 0.0
            after = replace(woods, pump_m3_s=woods.pump_m3_s * dice.uniform(0.2, 0.7))
        elif kind == "frozen":
            after = replace(woods, plug=(line, at_m))
        now = after.vacuums_pa()
        if kind == "frozen":
            now |= {name: usual[name] * dice.uniform(0.0, 0.5) for name in _uphill(woods.farm, line, at_m)}
        elif kind == "sensor":
            line = dice.choice(list(usual))
            less_pa = usual[line] - dice.uniform(1, 5) * INHG_PA
            now[line] = dice.choice([0.0, usual[line] * dice.random(), less_pa])
        worst_pa = max(usual[name] - now[name] for name in usual)
        if min(usual.values()) > 15 * INHG_PA and (kind == "nothing" or worst_pa > INHG_PA):
            break
    onset_ms = START_MS + round(dice.uniform(70, 100) * MINUTE_MS)
    air_c = dice.uniform(-9.0, -2.0) if kind == "frozen" else dice.uniform(1.0, 8.0)
    series = series_of(dice, usual, now, onset_ms, slow=kind == "frozen")
    return Night(woods, kind, line, at_m, onset_ms, air_c, usual, now, series, after.leak_m3_s())


def any_place(dice: Random, farm: Farm) -> tuple[str, float]:
    """A point of the woods, as likely as there is tubing: the lines, and some yards more for each tap."""
    weights = [line.length_m + 3.0 * line.taps for line in farm.lines]
    line = dice.choices(farm.lines, weights=weights)[0]
    return line.id, round(dice.uniform(0.0, line.length_m), 1)


def series_of(
    dice: Random,
    usual: Vacuums,
    now: Vacuums,
    onset_ms: int,
    *,
    slow: bool = False,
    mended_ms: int | None = None,
) -> Series:
    """Three hours of readings that settle from one vacuum to another; with dumps, wander, rounding.

    A leak settles in a minute or three, a freezing line in half an hour. Each sensor is off by its own bias.
    """
    dump_ms = dice.uniform(60, 300) * 1000
    dip_pa = dice.uniform(0.3, 2.0) * INHG_PA
    tau_ms = dice.uniform(20, 40) * MINUTE_MS if slow else dice.uniform(0.5, 2.5) * MINUTE_MS
    grain_pa = dice.choice([0.01, 0.1]) * INHG_PA
    series: Series = {}
    for name in usual:
        reach = dice.uniform(0.2, 1.0)
        swing_pa, phase = abs(dice.gauss(0.0, 0.15)) * INHG_PA, dice.uniform(0, 2 * pi)
        bias_pa = dice.gauss(0.0, 0.3) * INHG_PA
        rows = []
        for at_ms in range(START_MS, START_MS + 3 * HOUR_MS, SAMPLE_MS):
            down = _settled(at_ms, onset_ms, tau_ms) - _settled(at_ms, mended_ms, tau_ms)
            level_pa = usual[name] + (now[name] - usual[name]) * down + bias_pa
            level_pa += swing_pa * sin(2 * pi * at_ms / (2 * HOUR_MS) + phase)
            level_pa -= reach * dip_pa * exp(-(at_ms % dump_ms) / 10_000.0)
            level_pa += dice.gauss(0.0, 0.05) * INHG_PA
            rows.append((at_ms, max(0.0, round(level_pa / grain_pa) * grain_pa)))
        series[name] = rows
    return series


def _settled(at_ms: int, since_ms: int | None, tau_ms: float) -> float:
    return 0.0 if since_ms is None or at_ms <= since_ms else 1.0 - exp(-(at_ms - since_ms) / tau_ms)


def _uphill(farm: Farm, line: str, at_m: float) -> list[str]:
    """Sensors whose way to the pump leads past that place."""
    names = []
    for sensor in farm.sensors:
        name, place_m = where(farm, sensor.id)
        while name not in (line, PUMP):
            name, place_m = farm.line_by_id[name].parent, farm.line_by_id[name].joins_at_m
        if name == line and place_m > at_m:
            names.append(sensor.id)
    return names
