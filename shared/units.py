"""Trade units to SI and back, one table.

SI inside, the trade's units at the edges: farm file, payloads, texts and pages. Temperatures stay
in degrees Celsius, sugar in degrees Brix (percent by mass), ratios as fractions.
"""

from dataclasses import dataclass
from enum import StrEnum

from shared.errors import InvalidArgument

INHG_PA = 3386.389
"""Inch of mercury at 0 °C. Source: NIST SP 811, appendix B."""
FOOT_M = 0.3048
INCH_M = 0.0254
GALLON_M3 = 0.003785411784
"""US liquid gallon, 231 in³ exactly. Source: NIST Handbook 44, appendix C."""
CFM_M3_S = FOOT_M**3 / 60
POUND_KG = 0.45359237
BTU_J = 1055.05585262
"""International table Btu. Source: NIST SP 811, appendix B."""
PSI_PA = 6894.757293168
HOUR_S = 3600.0
DAY_S = 86400.0


class Dimension(StrEnum):
    """What a number measures, whatever unit it arrives in."""

    PRESSURE = "pressure"
    LENGTH = "length"
    VOLUME = "volume"
    TEMPERATURE = "temperature"
    FLOW = "flow"
    VOLTAGE = "voltage"
    CURRENT = "current"
    SUGAR = "sugar"
    RATIO = "ratio"


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: SI value = number * factor + offset."""

    dimension: Dimension
    factor: float
    offset: float = 0.0


UNITS: dict[str, Unit] = {
    "Pa": Unit(Dimension.PRESSURE, 1.0),
    "hPa": Unit(Dimension.PRESSURE, 100.0),
    "mbar": Unit(Dimension.PRESSURE, 100.0),
    "kPa": Unit(Dimension.PRESSURE, 1000.0),
    "bar": Unit(Dimension.PRESSURE, 1e5),
    "psi": Unit(Dimension.PRESSURE, PSI_PA),
    "inHg": Unit(Dimension.PRESSURE, INHG_PA),
    "mmHg": Unit(Dimension.PRESSURE, INHG_PA / 25.4),
    "m": Unit(Dimension.LENGTH, 1.0),
    "cm": Unit(Dimension.LENGTH, 0.01),
    "mm": Unit(Dimension.LENGTH, 0.001),
    "in": Unit(Dimension.LENGTH, INCH_M),
    "ft": Unit(Dimension.LENGTH, FOOT_M),
    "m3": Unit(Dimension.VOLUME, 1.0),
    "l": Unit(Dimension.VOLUME, 0.001),
    "gal": Unit(Dimension.VOLUME, GALLON_M3),
    "Cel": Unit(Dimension.TEMPERATURE, 1.0),
    "degC": Unit(Dimension.TEMPERATURE, 1.0),
    "C": Unit(Dimension.TEMPERATURE, 1.0),
    "degF": Unit(Dimension.TEMPERATURE, 5 / 9, -32 * 5 / 9),
    "F": Unit(Dimension.TEMPERATURE, 5 / 9, -32 * 5 / 9),
    "K": Unit(Dimension.TEMPERATURE, 1.0, -273.15),
    "m3/s": Unit(Dimension.FLOW, 1.0),
    "l/min": Unit(Dimension.FLOW, 0.001 / 60),
    "gal/h": Unit(Dimension.FLOW, GALLON_M3 / HOUR_S),
    "gal/min": Unit(Dimension.FLOW, GALLON_M3 / 60),
    "CFM": Unit(Dimension.FLOW, CFM_M3_S),
    "V": Unit(Dimension.VOLTAGE, 1.0),
    "mV": Unit(Dimension.VOLTAGE, 0.001),
    "A": Unit(Dimension.CURRENT, 1.0),
    "mA": Unit(Dimension.CURRENT, 0.001),
    "Bx": Unit(Dimension.SUGAR, 1.0),
    "%": Unit(Dimension.RATIO, 0.01),
    "%EL": Unit(Dimension.RATIO, 0.01),
    "%RH": Unit(Dimension.RATIO, 0.01),
    "/": Unit(Dimension.RATIO, 1.0),
}
"""Symbols are those of SenML (RFC 8428, section 12.1) where it has one, else the trade's."""


def unit_named(symbol: str) -> Unit:
    """The unit of that symbol.

    Raises:
        InvalidArgument: nothing of that name is known.
    """
    try:
        return UNITS[symbol]
    except KeyError:
        raise InvalidArgument("unit", symbol, "one of " + ", ".join(UNITS)) from None


def to_si(value: float, symbol: str) -> float:
    """A number in that unit, in SI (temperature in °C).

    >>> round(to_si(25, "inHg"))
    84660
    """
    unit = unit_named(symbol)
    return value * unit.factor + unit.offset


def from_si(value_si: float, symbol: str) -> float:
    """An SI number in that unit.

    >>> from_si(100.0, "degF")
    212.0
    """
    unit = unit_named(symbol)
    return (value_si - unit.offset) / unit.factor
