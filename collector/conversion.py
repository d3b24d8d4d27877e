"""A sensor's number as SI: unit, 4-20 mA, calibration, level; pure.

The order is the signal's own: current to the number it stands for, that number corrected, then to SI, and
last to a level where the sensor measures a distance or a pressure.
"""

from bisect import bisect_right

from shared.errors import InvalidArgument, PayloadError
from shared.farm import Farm
from shared.farm_parts import Holds, Sensor, Tank
from shared.physics.level_sensors import (
    LevelFault,
    hydrostatic_level_m,
    loop_value_si,
    ultrasonic_level_m,
)
from shared.physics.tanks import LEVEL_TOLERANCE_M, full_height_m
from shared.readings import Quantity, RejectKind
from shared.units import UNITS, Dimension, from_si, to_si


def si_value(farm: Farm, sensor: Sensor, number: float, unit: str | None) -> float:
    """A number in `unit` (None: the sensor's) as the sensor's quantity in SI.

    Raises:
        PayloadError: the unit does not fit, the instrument signals a fault, or the value cannot be true.
    """
    number = calibrated(sensor, _transmitted(sensor, _in_own_unit(sensor, number, unit)))
    if sensor.low is not None and number < sensor.low:
        raise PayloadError(
            f"{number:.4g} {sensor.measured_unit} is below the sensor's low ({sensor.low:g})",
            RejectKind.OUT_OF_RANGE,
        )
    if sensor.high is not None and number > sensor.high:
        raise PayloadError(
            f"{number:.4g} {sensor.measured_unit} is above the sensor's high ({sensor.high:g})",
            RejectKind.OUT_OF_RANGE,
        )
    value = to_si(number, sensor.measured_unit)
    if sensor.quantity is Quantity.LEVEL:
        value = _level_m(farm, sensor, value)
    facts = sensor.facts
    # Written so that NaN and the infinities, which a wild gain can make, are outside too.
    if not facts.low <= value <= facts.high:
        raise PayloadError(
            f"{shown(sensor, value)} is beyond what {sensor.quantity} can be "
            f"({shown(sensor, facts.low)} to {shown(sensor, facts.high)})",
            RejectKind.OUT_OF_RANGE,
        )
    return value


def calibrated(sensor: Sensor, number: float) -> float:
    """The true number for a raw one, both in the sensor's unit.

    A table is followed in straight lines and carried on beyond its ends.
    """
    table = sensor.calibration
    if table is None:
        return number * sensor.gain + sensor.offset
    above = min(max(bisect_right(table, number, key=lambda point: point[0]), 1), len(table) - 1)
    (raw_a, true_a), (raw_b, true_b) = table[above - 1], table[above]
    return true_a + (true_b - true_a) * (number - raw_a) / (raw_b - raw_a)


def shown(sensor: Sensor, value: float) -> str:
    """An SI value in the unit its owner knows the sensor by."""
    unit = sensor.measured_unit
    if sensor.quantity is Quantity.LEVEL and UNITS[unit].dimension is not Dimension.LENGTH:
        unit = "m"
    return f"{from_si(value, unit):.4g} {unit}"


def _in_own_unit(sensor: Sensor, number: float, unit: str | None) -> float:
    if unit is None:
        return number
    symbol = unit.removeprefix("°")
    if symbol not in UNITS:
        raise PayloadError(f"unit {unit[:20]!r} is none we know", RejectKind.WRONG_UNIT)
    if UNITS[symbol].dimension is not UNITS[sensor.unit].dimension:
        raise PayloadError(f"unit {symbol} does not fit the sensor's {sensor.unit}", RejectKind.WRONG_UNIT)
    return number if symbol == sensor.unit else from_si(to_si(number, symbol), sensor.unit)


def _transmitted(sensor: Sensor, number: float) -> float:
    """What a current stands for; any other number is itself."""
    if sensor.span is None:
        return number
    try:
        return _sure(loop_value_si(to_si(number, sensor.unit), *sensor.span))
    except InvalidArgument as error:
        raise PayloadError(str(error), RejectKind.OUT_OF_RANGE) from None


def _level_m(farm: Farm, sensor: Sensor, value: float) -> float:
    assert sensor.tank is not None  # the farm file refuses a level sensor without one
    tank = farm.tank_by_id[sensor.tank]
    try:
        if UNITS[sensor.measured_unit].dimension is Dimension.PRESSURE:
            level_m = _sure(hydrostatic_level_m(value, brix=_brix(farm, tank)))
        elif sensor.mount_height_m is not None:
            level_m = _sure(ultrasonic_level_m(value, sensor.mount_height_m))
        else:
            level_m = value
    except InvalidArgument as error:
        raise PayloadError(str(error), RejectKind.OUT_OF_RANGE) from None
    full_m = full_height_m(tank.geometry)
    if level_m > full_m + LEVEL_TOLERANCE_M:
        raise PayloadError(
            f"level {shown(sensor, level_m)} is above the full tank ({shown(sensor, full_m)})",
            RejectKind.OUT_OF_RANGE,
        )
    return level_m


def _sure(measured: float | LevelFault) -> float:
    if isinstance(measured, LevelFault):
        raise PayloadError(f"instrument fault: {measured}", RejectKind.FAULT)
    return measured


def _brix(farm: Farm, tank: Tank) -> float:
    """Sugar of what stands over a pressure sensor; one per cent of sugar is 0.4 % of level."""
    match tank.holds:
        case Holds.SAP:
            return farm.sap_brix
        case Holds.CONCENTRATE:
            return farm.ro.concentrate_brix if farm.ro is not None else farm.sap_brix
        case Holds.PERMEATE:
            return 0.0
