"""A second climate for scores: fronts, nights that cool fast and then slowly, days without likeness to the last.

Made without a look at collector/simulate/weather.py, so that what holds in both rests on neither.
"""

from math import exp, pi, sin
from random import Random

DAWN_H, WARMEST_H = 6.2, 15.0
STEP_S = 900


def rough_air_c(days, seed):
    """Air every quarter of an hour from a midnight on."""
    dice = Random(seed)
    fronts = []
    at_day = dice.expovariate(0.25)
    while at_day < days:
        size_c = dice.choice((-1, -1, -1, 1, 1)) * dice.uniform(3, 9)
        fronts.append((at_day, dice.uniform(0.06, 0.25), size_c))
        at_day += dice.expovariate(0.25)
    ranges_c = [dice.uniform(3, 14) for _ in range(days + 2)]
    slow_c, smooth_c, air = dice.gauss(0, 4), 0.0, []
    for step in range(days * 96):
        day = step / 96
        slow_c = slow_c * exp(-1 / 160) + dice.gauss(0, 4 * (1 - exp(-1 / 80)) ** 0.5)
        smooth_c += (slow_c - smooth_c) / 6
        passed = sum(
            size_c * min(1.0, (day - begin) / takes) * exp((begin - day) / 2.5)
            for begin, takes, size_c in fronts
            if day > begin
        )
        season_c = -1 + 10 * day / 44
        air.append(season_c + smooth_c + passed + _of_day(step, ranges_c) + dice.gauss(0, 0.1))
    return air


def _of_day(step, ranges_c):
    day, hour = step // 96, step % 96 / 4
    if DAWN_H <= hour < WARMEST_H:
        range_c = ranges_c[day]
        return range_c * sin((hour - DAWN_H) / (WARMEST_H - DAWN_H) * pi / 2) - range_c / 2
    # After the warmest hour it cools fast, and the slower the later.
    share = (hour - WARMEST_H) % 24 / (24 - WARMEST_H + DAWN_H)
    kept = (exp(-2.2 * share) - exp(-2.2)) / (1 - exp(-2.2))
    from_c = ranges_c[day if hour >= WARMEST_H else max(day - 1, 0)] / 2
    to_c = -ranges_c[day if hour < DAWN_H else day + 1] / 2
    return from_c * kept + to_c * (1 - kept)
