"""How much sap a tap would have given at its usual vacuum, so that what a storm cost can be told in gallons.

What ran into the tanks tells it, hour by hour: a cold night gives a tenth of a good day. Where no level tells,
it is a good day's gallon, with all that a night can be off by.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from shared.estimates.suspects import TAP_YIELD_M3_DAY
from shared.estimates.tank_flow import TankFlow, VolumeHistory, observe_volume, tank_flow
from shared.estimates.tracks import Rows, Weather
from shared.estimates.vacuum import FREEZE_C
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.physics.air import YIELD_PER_INHG
from shared.physics.contested import Contested
from shared.physics.tanks import capacity_m3, full_height_m, volume_m3
from shared.readings import Quantity
from shared.units import DAY_S, GALLON_M3, INHG_PA

EVERY_MS = 15 * 60_000
NEAR_MS = 3 * 3_600_000
"""A flow that was measured within this still says how well the sap runs."""
FULL_RATIO = 0.98
"""A tank as full as this may be running over."""
MOST_TAP_M3_DAY = 4.0 * GALLON_M3
"""No tap gives more (up to three gallons under high vacuum, from memory): something else fills that tank."""
SURE_RATIO = 0.5
SURE_TAP_M3_DAY = 0.1 * GALLON_M3
"""A flow counts when it is known within half of itself, or within a tenth of a good day's."""
LIKELY_RATIOS = (0.85, 1.0, 1.2)
"""What a tank's flow leaves open: sap in the releaser and the lines, and what ran out at a break and never came
(reasoned, no source)."""
UNMEASURED_RATIOS = (0.25, 1.0, 2.5)
"""Of a gallon a tap and day, when nobody measured: a slow night to a strong run (trade forums, from memory)."""


@dataclass(frozen=True, slots=True)
class SapRun:
    """What an average tap would give at its usual vacuum, by time, m3 a day."""

    weather: Weather
    at_ms: tuple[int, ...]
    taps_m3_day: tuple[Contested, ...]

    def tap_m3_day(self, at_ms: int) -> Contested:
        """At one time; nothing in a frost, where no tank tells."""
        index = bisect_right(self.at_ms, at_ms)
        near = [i for i in (index - 1, index) if 0 <= i < len(self.at_ms)]
        best = min(near, key=lambda i: abs(self.at_ms[i] - at_ms), default=None)
        if best is not None and abs(self.at_ms[best] - at_ms) <= NEAR_MS:
            return self.taps_m3_day[best]
        air_c = self.weather.air_c(at_ms)
        if air_c is not None and air_c <= FREEZE_C:
            return Contested(0.0, 0.0, 0.0)
        return Contested(*(ratio * TAP_YIELD_M3_DAY for ratio in UNMEASURED_RATIOS))

    def is_measured(self, at_ms: int) -> bool:
        """Whether a tank tells it at that time."""
        return any(abs(at - at_ms) <= NEAR_MS for at in self.at_ms)


def sap_run(
    farm: Farm,
    levels: Mapping[str, Rows],
    usual_pa: Mapping[str, float],
    vacuums_pa: Mapping[str, Rows],
    taps_counts: Mapping[str, float],
    weather: Weather,
) -> SapRun:
    """The run of the sap as the tanks took it in: `levels` by sensor, in m.

    What the storm kept from coming is put back by the published response to vacuum, tap by tap.
    """
    flows = _inflows(farm, levels)
    at_ms: list[int] = []
    taps: list[Contested] = []
    for time_ms, low_m3_s, middle_m3_s, high_m3_s in flows:
        now_pa = {name: _near(rows, time_ms) for name, rows in vacuums_pa.items()}
        asked = sum(count * _pull(usual_pa[name]) for name, count in taps_counts.items())
        got = sum(
            count * _pull(usual_pa[name] if (pa := now_pa.get(name)) is None else pa)
            for name, count in taps_counts.items()
        )
        spoken = sum(taps_counts.values())
        if not spoken or not farm.taps:
            continue
        day_ratio = DAY_S * asked / got / farm.taps
        if middle_m3_s * day_ratio > MOST_TAP_M3_DAY:
            continue
        low, usual, high = LIKELY_RATIOS
        at_ms.append(time_ms)
        taps.append(
            Contested(
                low * max(0.0, low_m3_s) * day_ratio,
                usual * max(0.0, middle_m3_s) * day_ratio,
                high * max(0.0, high_m3_s) * day_ratio,
            )
        )
    return SapRun(weather, tuple(at_ms), tuple(taps))


def _pull(vacuum_pa: float) -> float:
    """Sap against what would come by gravity alone. Source: see YIELD_PER_INHG."""
    return 1.0 + YIELD_PER_INHG.usual * max(0.0, vacuum_pa) / INHG_PA


def _near(rows: Rows, at_ms: int) -> float | None:
    index = bisect_right(rows, (at_ms, inf)) - 1
    return rows[index][1] if index >= 0 and at_ms - rows[index][0] <= EVERY_MS else None


def gathering_tanks(farm: Farm) -> tuple[Tank, ...]:
    """Tanks that the lines run into: of sap, and no other tank drains to them."""
    targets = {tank.drains_to for tank in farm.tanks}
    return tuple(tank for tank in farm.tanks if tank.holds is Holds.SAP and tank.id not in targets)


def _inflows(farm: Farm, levels: Mapping[str, Rows]) -> list[tuple[int, float, float, float]]:
    """Time, and what all gathering tanks took in, m3/s as a band; only times at which none was drawn from."""
    by_time: dict[int, list[tuple[float, float, float]]] = {}
    tanks = gathering_tanks(farm)
    for tank in tanks:
        for sensor in farm.sensors_of(Quantity.LEVEL, tank=tank.id):
            if levels.get(sensor.id):
                for at_ms, band in _inflow(tank, levels[sensor.id], farm.taps):
                    by_time.setdefault(at_ms, []).append(band)
                break
    return [
        (at_ms, sum(b[0] for b in bands), sum(b[1] for b in bands), sum(b[2] for b in bands))
        for at_ms, bands in sorted(by_time.items())
        if len(bands) == len(tanks)
    ]


def _inflow(tank: Tank, rows: Rows, taps: int) -> list[tuple[int, tuple[float, float, float]]]:
    """What one tank took in, wherever its level rose or stood."""
    history, found = VolumeHistory(), []
    full_m, capacity = full_height_m(tank.geometry), capacity_m3(tank.geometry)
    next_ms = rows[0][0] - rows[0][0] % EVERY_MS + EVERY_MS
    for at_ms, level_m in rows:
        while at_ms >= next_ms:
            flow = tank_flow(history, next_ms)
            if isinstance(flow, TankFlow) and _tells(flow, capacity, taps):
                net = flow.net_m3_s
                # A rate tells of its stretch, whose middle lies behind.
                middle_ms = max(flow.since_ms, next_ms - 2 * EVERY_MS)
                found.append(
                    ((middle_ms + next_ms) // 2 // EVERY_MS * EVERY_MS, (net.low, net.middle, net.high))
                )
            next_ms += EVERY_MS
        observe_volume(history, at_ms, volume_m3(tank.geometry, min(max(level_m, 0.0), full_m)))
    return found


def _tells(flow: TankFlow, capacity: float, taps: int) -> bool:
    """Whether it rises or stands, and how fast is known well enough; a tank that is drawn from tells nothing."""
    net = flow.net_m3_s
    known_within_m3_s = max(SURE_RATIO * net.middle, SURE_TAP_M3_DAY * taps / DAY_S)
    is_sure = net.high - net.low <= 2.0 * known_within_m3_s
    return is_sure and net.high >= 0.0 and flow.volume_m3 < FULL_RATIO * capacity


def day_of(run: SapRun, times_ms: Sequence[int]) -> Contested:
    """A day's sap of a tap at the rate of those times, m3."""
    taken = [run.tap_m3_day(at_ms) for at_ms in times_ms]
    count = len(taken)
    return Contested(
        sum(t.low for t in taken) / count,
        sum(t.usual for t in taken) / count,
        sum(t.high for t in taken) / count,
    )
