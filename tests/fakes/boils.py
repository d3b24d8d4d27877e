"""Simulated boils with known truth: a wood fire, its door, the stack and the probe in it.

    wood charge -> volatiles (two stages in a row) -+-> heat -> gas in the stack -> steel -> probe -> sample
                -> char (one slow stage) -----------+              ^ cold air through the open door

A charge burns off its volatiles with a peak some three minutes after firing and its char over about
twenty; an open door lets cold air into the stack. Firing every 5 to 9 minutes, a fall of 100 to 300 °F
within a minute of opening the door and a recovery in one to three minutes are what people at the arch
report (producers' accounts and memory; there is no measured data set to fit).
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from random import Random

VOLATILE_SHARE = 0.65
"""Of a charge's heat, 60 to 80 % leaves wood as burning gas (from memory, combustion texts)."""
START_MS = 1_772_900_000_000
LIMIT_C = 538.0
"""1000 °F: what the farm's stack may see."""
RISE_C_MIN = 100 * 5 / 9
"""100 °F a minute above the usual peak is an over-fire too."""
SETTLING_S = 1500
"""After lighting: before that no peak is usual yet."""


class Story(StrEnum):
    STEADY = "steady"
    """Fired to the end, then let burn down on purpose."""
    DYING = "dying"
    """Nobody fires any more from some moment on."""
    OVER_FIRE = "over_fire"
    """For some minutes the stack burns far too hot."""


@dataclass(frozen=True, slots=True)
class SimulatedBoil:
    """One boil, second by second, and what truly happened; times in ms."""

    air_c: float
    stack_c: tuple[float, ...]
    lit_ms: int
    firings_ms: tuple[int, ...]
    long_doors_ms: tuple[tuple[int, int], ...]
    """The door stood open so long and no wood went in."""
    last_due_ms: int
    """When the firing after the last one would have been due, had anybody come."""
    over_fire_ms: int | None
    """When the steel had been over the limit for two minutes, or had risen 100 °F in one above its peak."""

    def samples(self, interval_s: int) -> list[tuple[int, float]]:
        """What a sensor of that interval says: every so many seconds the probe's value of that moment."""
        return [(START_MS + s * 1000, self.stack_c[s]) for s in range(0, len(self.stack_c), interval_s)]


def simulated_boil(seed: int, story: Story, duration_s: int = 9000) -> SimulatedBoil:
    """A boil whose crew, wood, stack and probe are drawn from ranges seen on real arches."""
    dice = Random(f"{story}-{seed}")
    interval_s = dice.uniform(5, 9) * 60
    longs: list[tuple[int, int]] = []
    firings = _crew(dice, interval_s, duration_s, longs)
    over = None
    if story is Story.OVER_FIRE:
        begin = int(dice.uniform(0.5, 0.7) * duration_s)
        over = (begin, begin + int(dice.uniform(4, 9) * 60))
        longs = [(a, b) for a, b in longs if b < begin or a > over[1]]
    else:
        end = dice.uniform(0.5, 0.7) * duration_s if story is Story.DYING else duration_s - 2400
        firings = [t for t in firings if t < end]
        longs = [(a, b) for a, b in longs if b < firings[-1]]
    air_c = dice.uniform(-5, 12)
    stack_c, steel_c = _burn(dice, duration_s, air_c, firings, interval_s, longs, over)
    over_s = None if over is None else _over_fire_s(steel_c, over[0], LIMIT_C)
    return SimulatedBoil(
        air_c,
        tuple(stack_c),
        START_MS + firings[0] * 1000,
        tuple(START_MS + t * 1000 for t in firings),
        tuple((START_MS + a * 1000, START_MS + b * 1000) for a, b in longs),
        START_MS + int(firings[-1] + interval_s) * 1000,
        None if over_s is None else START_MS + over_s * 1000,
    )


def _crew(dice: Random, interval_s: float, duration_s: int, longs: list[tuple[int, int]]) -> list[int]:
    """When wood goes in; now and then the door is left open for two to eight minutes first."""
    spread = dice.uniform(0.08, 0.25)
    times = [300, 480, 700]
    while times[-1] < duration_s:
        at = times[-1] + interval_s * math.exp(dice.gauss(0, spread))
        if len(times) > 6 and dice.random() < 0.1:
            left_open_s = dice.uniform(120, 480)
            longs.append((int(at - 120), int(at - 120 + left_open_s)))
            at += left_open_s
        times.append(int(at))
    return times[:-1]


def _burn(
    dice: Random,
    duration_s: int,
    air_c: float,
    firings: list[int],
    interval_s: float,
    longs: list[tuple[int, int]],
    over: tuple[int, int] | None,
) -> tuple[list[float], list[float]]:
    """What the probe shows and what the steel is, second by second."""
    hot_c = dice.uniform(260, 400)  # excess at average heat: peaks of 600 to 950 °F
    # A crew fires when the wood has burnt down: smaller wood, sooner.
    volatile_s, char_s = interval_s * dice.uniform(0.36, 0.5), dice.uniform(900, 1500)
    steel_s, probe_s = dice.uniform(15, 40), dice.uniform(3, 12)
    dilution = dice.uniform(0.35, 0.6)
    chill_share, chill_s = dice.uniform(0.3, 0.5), dice.uniform(50, 130)
    flutter_share = dice.uniform(0.01, 0.03)
    surge_share, surge_s = dice.uniform(0.6, 1.2), dice.uniform(40, 150)
    before = [firings[0] - 0.5 * interval_s, *firings]
    # A crew puts in what has burnt since the last time, give or take.
    charge = {
        t: min(1.0, (t - u) / interval_s) * dice.uniform(0.85, 1.15)
        for u, t in zip(before, firings, strict=False)
    }
    doors = [(t, t + dice.uniform(15, 40)) for t in firings]
    peeks = [(t, t + dice.uniform(4, 9)) for t in (dice.uniform(1200, firings[-1]) for _ in range(3))]
    open_s = {s for a, b in [*doors, *peeks, *longs] for s in range(int(a), int(b))}
    raw = burning = char = chill = flutter = surge = steel = probe = 0.0
    shown_c, steel_c = [], []
    for second in range(duration_s):
        raw += charge.get(second, 0.0) * VOLATILE_SHARE
        char += charge.get(second, 0.0) * (1 - VOLATILE_SHARE)
        heat = burning / volatile_s + char / char_s
        burning += (raw - burning) / volatile_s
        raw -= raw / volatile_s
        char -= char / char_s
        # Pans take the larger share of a small fire's heat: the stack follows heat less than in proportion.
        gas_c = hot_c * (heat * interval_s) ** 0.8
        # Wood of the shed's temperature on the coals: until it has lit it takes heat instead of giving any.
        chill += (chill_share if second in charge else 0.0) - chill / chill_s
        gas_c *= 1 - chill
        surging = over is not None and over[0] <= second < over[1]
        surge += ((surge_share if surging else 0.0) - surge) / surge_s
        gas_c *= (1 + surge) * (dilution if second in open_s else 1.0)
        flutter += -flutter / 8 + dice.gauss(0, flutter_share / 2)
        steel += (gas_c * (1 + flutter) - steel) / steel_s
        probe += (steel - probe) / probe_s
        steel_c.append(air_c + steel)
        shown_c.append(round((air_c + probe + dice.gauss(0, 1.0)) * 4) / 4)
    return shown_c, steel_c


def _over_fire_s(steel_c: list[float], begin_s: int, limit_c: float) -> int | None:
    peak_c = max(steel_c[SETTLING_S:begin_s])
    over_s = 0
    for second in range(begin_s, len(steel_c)):
        over_s = over_s + 1 if steel_c[second] >= limit_c else 0
        rise_c = steel_c[second] - max(peak_c, steel_c[second - 60])
        if over_s >= 120 or rise_c >= RISE_C_MIN:
            return second
    return None
