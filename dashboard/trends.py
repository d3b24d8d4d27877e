"""Fetches what charts show: a sensor's buckets in a window, in trade units, peaks kept and gaps open."""

from collections.abc import Callable, Iterable, Sequence

from dashboard.figures import Frame
from dashboard.windows import peaks
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.store import Reader
from shared.tuning.sensors import SensorSilent
from shared.units import from_si

Trend = list[tuple[int, float | None]]


def gap_ms(farm: Farm, sensor: Sensor, frame: Frame) -> int:
    """The longest pause that is still drawn through: what is not yet silence, or a bucket left out."""
    rule = farm.tuning(SensorSilent, sensor)
    quiet_s = max(rule.least_s, rule.missed_count * sensor.interval_s)
    return max(round(quiet_s * 1000), 2 * frame.window.width_ms)


def trend(
    reader: Reader, farm: Farm, sensor: Sensor, frame: Frame, in_unit: Callable[[float], float]
) -> Trend:
    """That sensor's points over the frame's window, each turned by `in_unit`, which must be rising."""
    buckets = reader.buckets(sensor.id, frame.from_ms, frame.now_ms + 1, frame.window.width_ms)
    points = peaks(buckets, gap_ms(farm, sensor, frame))
    return [(at_ms, None if value is None else in_unit(value)) for at_ms, value in points]


def in_unit(symbol: str) -> Callable[[float], float]:
    """SI to that trade unit."""
    return lambda value_si: from_si(value_si, symbol)


def heard_values(trends: Iterable[Sequence[tuple[int, float | None]]]) -> list[float]:
    """All values there are, for an axis that holds them."""
    return [value for points in trends for _, value in points if value is not None]
