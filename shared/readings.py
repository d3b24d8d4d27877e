"""What sensors say: readings, their quantities, and what an estimate answers when it cannot know."""

from dataclasses import dataclass
from enum import IntFlag, StrEnum

from shared.units import CFM_M3_S, INHG_PA, Dimension, to_si


class Quantity(StrEnum):
    """What a sensor measures on the farm. Values are the names used in the farm file and the store."""

    VACUUM = "vacuum"
    """Below the local air pressure, a positive number, Pa."""
    AIR_PRESSURE = "air_pressure"
    """Absolute, at the farm (station pressure, never reduced to sea level), Pa."""
    LEVEL = "level"
    """Height of the liquid over the tank's lowest point, m."""
    FLOW = "flow"
    AIR_TEMPERATURE = "air_temperature"
    SAP_TEMPERATURE = "sap_temperature"
    SHED_TEMPERATURE = "shed_temperature"
    PUMP_TEMPERATURE = "pump_temperature"
    STACK_TEMPERATURE = "stack_temperature"
    PAN_TEMPERATURE = "pan_temperature"
    SUGAR = "sugar"
    BATTERY = "battery"
    RUNNING = "running"
    """1 while a machine runs, 0 while it does not."""


@dataclass(frozen=True, slots=True)
class Plausible:
    """What a quantity can be on any farm: outside it a value is refused, not stored as a reading."""

    dimension: Dimension
    low: float
    high: float
    max_rate_per_s: float | None
    """Fastest true change in SI units a second; None where a jump can be true."""


def _temperature(low_f: float, high_f: float, rate_c_s: float | None) -> Plausible:
    return Plausible(Dimension.TEMPERATURE, to_si(low_f, "degF"), to_si(high_f, "degF"), rate_c_s)


PLAUSIBLE: dict[Quantity, Plausible] = {
    # A pump that stops or a valve that opens takes the vacuum away at once: no rate limit.
    Quantity.VACUUM: Plausible(Dimension.PRESSURE, -1.0 * INHG_PA, 32.0 * INHG_PA, None),
    # Lowest: a farm at 10,000 ft in a deep low. Highest: above the record sea-level pressure (from memory).
    Quantity.AIR_PRESSURE: Plausible(Dimension.PRESSURE, 65_000.0, 109_000.0, 50.0),
    Quantity.LEVEL: Plausible(Dimension.LENGTH, -0.05, 12.0, None),
    Quantity.FLOW: Plausible(Dimension.FLOW, 0.0, 500 * CFM_M3_S, None),
    Quantity.AIR_TEMPERATURE: _temperature(-60, 130, 1.0),
    Quantity.SAP_TEMPERATURE: _temperature(20, 130, 1.0),
    Quantity.SHED_TEMPERATURE: _temperature(-60, 160, 1.0),
    Quantity.PUMP_TEMPERATURE: _temperature(-60, 400, 10.0),
    # A type-K probe reads to 2500 °F; a stack with flame in it passes 1650 °F.
    Quantity.STACK_TEMPERATURE: _temperature(-60, 2500, 60.0),
    Quantity.PAN_TEMPERATURE: _temperature(-60, 300, 20.0),
    Quantity.SUGAR: Plausible(Dimension.SUGAR, 0.0, 75.0, None),
    Quantity.BATTERY: Plausible(Dimension.VOLTAGE, 0.0, 60.0, None),
    Quantity.RUNNING: Plausible(Dimension.RATIO, 0.0, 1.0, None),
}


class Quality(IntFlag):
    """What is known about a stored reading beside its value."""

    GOOD = 0
    STAMPED_ON_ARRIVAL = 1
    """The message carried no time; the time of arrival stands in for it."""
    RETAINED = 2
    """The broker's last-known value, told on subscribing; true at its own time, not news."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one sensor, in SI, at the time it was measured."""

    sensor: str
    measured_ms: int
    value: float
    received_ms: int
    quality: Quality = Quality.GOOD


class RejectKind(StrEnum):
    """What sort of refusal it was; the rules about sensors go by it."""

    OUT_OF_RANGE = "out of range"
    FAULT = "instrument fault"
    """The instrument itself signals one, or shows what only a broken one can."""
    TOO_FAST = "too fast"
    WRONG_UNIT = "wrong unit"
    CLOCK_AHEAD = "clock ahead"
    CLOCK_NOT_SET = "clock not set"
    LONG_PAST = "long past"
    UNREADABLE = "unreadable"
    UNTIMED = "untimed"
    """Kept by the broker without a time of its own; no fault of the sensor's."""
    OUR_CLOCK = "our clock not set"
    OTHER = "other"
    """Not about a sensor: a topic that nobody has, a request that cannot be read."""


@dataclass(frozen=True, slots=True)
class Reject:
    """A message (or one record of it) that was refused, with its reason and original bytes."""

    received_ms: int
    topic: str
    payload: bytes
    reason: str
    kind: RejectKind = RejectKind.OTHER
    sensor: str | None = None
    """None: not about one sensor; garbage on a topic is about all that speak there."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """What an estimate answers when the data do not allow a figure; the reason is shown to people."""

    reason: str


@dataclass(frozen=True, slots=True)
class Band:
    """A figure as a range: 10, 50 and 90 of 100 such cases lie below these."""

    low: float
    middle: float
    high: float
