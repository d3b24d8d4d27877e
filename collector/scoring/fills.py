"""What tanks truly did: fill, run over, hold what is old; with the margin that a wake-up about it may have."""

from itertools import pairwise

from collector.simulate.truth import TankTruth, Truth
from shared.farm import Farm
from shared.farm_parts import Holds
from shared.physics.tanks import capacity_m3
from shared.tuning.tanks import ConcentrateWaiting, OverflowCertain, TankNearlyFull
from shared.units import HOUR_S

MINUTE_MS = 60_000
NEAR_MS = 10 * MINUTE_MS
STEADY_MS = 30 * MINUTE_MS
OVER_MS = 20 * MINUTE_MS
EARNED_TIMES = 2.0
EARNED_FULL_SHORT = 0.02
EARNED_OLD_S = 20 * HOUR_S
EARNED_OLD_RATIO = 20 / 24


def runs_over(farm: Farm, truth: Truth, tank_id: str, at_ms: int) -> bool:
    """Whether a tank truly runs over, will within the horizon, or is as near to it as counts."""
    horizon_ms = farm.tuning(OverflowCertain).horizon_s * 1000 + NEAR_MS
    return fills(farm, truth, tank_id, at_ms) or any(
        o.kind == "full" and o.subject == tank_id and o.from_ms - horizon_ms <= at_ms <= o.to_ms + OVER_MS
        for o in truth.occurrences
    )


def is_old(farm: Farm, truth: Truth, tank_id: str, at_ms: int) -> bool:
    """Whether what is in a tank is truly near the age that wakes."""
    tank, row = farm.tank_by_id[tank_id], _at(truth.tanks.get(tank_id, []), at_ms)
    least_s = EARNED_OLD_S
    if tank.holds is Holds.CONCENTRATE:
        least_s = EARNED_OLD_RATIO * farm.tuning(ConcentrateWaiting, tank).wake_age_s
    return row is not None and (row.oldest_age_s or 0.0) >= least_s


def fills(farm: Farm, truth: Truth, tank_id: str, at_ms: int) -> bool:
    """Whether a tank is truly full or will be soon enough."""
    tuning, rows = farm.tuning(TankNearlyFull, farm.tank_by_id[tank_id]), truth.tanks.get(tank_id, [])
    # Sampled every ten minutes; of a tank that is being pumped the better neighbour counts.
    now = [row for row in rows if abs(row.at_ms - at_ms) <= NEAR_MS]
    most_m3 = capacity_m3(farm.tank_by_id[tank_id].geometry)
    limit_s = EARNED_TIMES * tuning.trip_time_to_full_s
    if any(row.volume_m3 >= (tuning.trip_full_fraction - EARNED_FULL_SHORT) * most_m3 for row in now):
        return True
    if any(
        o.kind == "full" and o.subject == tank_id and 0 <= o.from_ms - at_ms <= limit_s * 1000
        for o in truth.occurrences
    ):
        return True
    for o in truth.occurrences:
        source = farm.tank_by_id.get(o.subject)
        if (
            o.kind == "transfer"
            and source is not None
            and source.drains_to == tank_id
            and o.to_ms > o.from_ms
        ):
            rate_m3_s = o.amounts["moved_m3"] / (o.to_ms - o.from_ms) * 1000.0
            room_m3 = most_m3 - max((row.volume_m3 for row in now), default=0.0)
            if o.from_ms <= at_ms <= o.to_ms + NEAR_MS and room_m3 <= limit_s * rate_m3_s:
                return True
    for from_ms, to_ms in (
        (at_ms - STEADY_MS, at_ms),
        (at_ms, at_ms + STEADY_MS),
        (at_ms - STEADY_MS // 3, at_ms),
    ):
        a, b = volume_at_m3(rows, from_ms), volume_at_m3(rows, to_ms)
        if a is not None and b is not None and b > a:
            rate_m3_s = (b - a) / (to_ms - from_ms) * 1000.0
            if (most_m3 - (volume_at_m3(rows, at_ms) or 0.0)) / rate_m3_s <= limit_s:
                return True
    return False


def volume_at_m3(rows: list[TankTruth], at_ms: int) -> float | None:
    """What a tank truly held; None before the first sample."""
    for a, b in pairwise(rows):
        if a.at_ms <= at_ms <= b.at_ms:
            return a.volume_m3 + (b.volume_m3 - a.volume_m3) * (at_ms - a.at_ms) / (b.at_ms - a.at_ms)
    return rows[-1].volume_m3 if rows and at_ms > rows[-1].at_ms else None


def _at(rows: list[TankTruth], at_ms: int) -> TankTruth | None:
    return min(rows, key=lambda row: abs(row.at_ms - at_ms), default=None)


OF_TANKS = {
    "tank_nearly_full": fills,
    "overflow_certain": runs_over,
    "sap_held_too_long": is_old,
    "concentrate_waiting": is_old,
}
"""By rule: whether its wake-up about a tank was earned."""
