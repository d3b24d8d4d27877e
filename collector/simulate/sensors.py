"""A sensor's number for a true value: its lag, noise, steps, calibration and faults.

A probe undoes what the collector will do: a healthy sensor read by the farm file gives the truth back.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import exp
from random import Random

from collector.simulate.story import Story
from collector.simulate.story_events import Fault, SensorFault
from shared.farm import Farm
from shared.farm_parts import PUMP, Holds, Sensor
from shared.physics.air import GRAVITY_M_S2
from shared.physics.sap import sucrose_density_kg_m3
from shared.readings import Quantity
from shared.units import HOUR_S, INHG_PA, UNITS, Dimension, from_si, to_si

NOISE_SI: dict[Quantity, float] = {
    Quantity.VACUUM: 0.04 * INHG_PA,
    Quantity.AIR_PRESSURE: 6.0,
    Quantity.LEVEL: 0.0015,
    Quantity.FLOW: 1e-6,
    Quantity.AIR_TEMPERATURE: 0.08,
    Quantity.SAP_TEMPERATURE: 0.04,
    Quantity.SHED_TEMPERATURE: 0.06,
    Quantity.PUMP_TEMPERATURE: 0.3,
    Quantity.STACK_TEMPERATURE: 2.0,
    Quantity.PAN_TEMPERATURE: 0.08,
    Quantity.SUGAR: 0.05,
    Quantity.BATTERY: 0.004,
    Quantity.RUNNING: 0.0,
}
"""Standard deviation of one reading (from memory, inexpensive farm sensors)."""
LAG_S: dict[Quantity, float] = {
    Quantity.AIR_TEMPERATURE: 240.0,
    Quantity.SAP_TEMPERATURE: 120.0,
    Quantity.STACK_TEMPERATURE: 8.0,
    Quantity.PAN_TEMPERATURE: 15.0,
}
"""Time constant of the probe in its shield, well or grounded tip (from memory)."""
DECIMALS: dict[str, int] = {
    "Pa": 0,
    "hPa": 1,
    "mbar": 1,
    "kPa": 2,
    "bar": 4,
    "psi": 2,
    "inHg": 2,
    "mmHg": 1,
    "m": 3,
    "cm": 1,
    "mm": 0,
    "in": 2,
    "ft": 3,
    "V": 2,
    "mV": 0,
    "mA": 2,
    "A": 5,
    "degF": 1,
    "F": 1,
    "degC": 1,
    "C": 1,
    "Cel": 1,
    "K": 1,
    "Bx": 1,
    "gal/h": 1,
    "gal/min": 2,
    "l/min": 1,
    "m3/s": 6,
    "CFM": 2,
    "/": 0,
}
"""Digits after the point in which a sensor of that unit speaks."""
SAG_FAR_SHARE = 0.5
"""How much of a dump's sag is seen out in the lines (from memory)."""
BATTERY_FAILING_SHARE = 0.5
BATTERY_GONE_SHARE = 0.85
"""A dying battery drops messages from halfway on, and for the last part of its time says nothing."""
LAST_DAYS_S = 6 * HOUR_S
"""How long a dying battery takes unless the story tells."""
USUAL_SPIKES = 0.03
SAP_C = 4.0


@dataclass(slots=True)
class Probe:
    """One sensor: raw number = gain * SI + offset, and its truth at the two ends of the step."""

    sensor: Sensor
    gain: float
    offset: float
    noise: float
    """In the raw unit."""
    style: str
    """How the number is written, as for the % operator."""
    has_fraction: bool
    words: tuple[str, str] | None
    """What a switch says for 0 and for 1, where it speaks in words."""
    lag_share: float
    """What of a change it has followed after one step."""
    sag_share: float
    """What of a releaser's sag it sees."""
    table: tuple[tuple[float, ...], tuple[float, ...]] | None
    """A calibration table: true and raw numbers."""
    faults: tuple[SensorFault, ...]
    before_si: float = 0.0
    now_si: float = 0.0
    stuck_at: float | None = None


def probe(sensor: Sensor, farm: Farm, story: Story, step_s: float) -> Probe:
    """A probe that speaks as the farm file says the sensor does."""
    gain, offset = _straight(sensor, farm)
    quantity = sensor.quantity
    lag_s = LAG_S.get(quantity)
    decimals = 0 if quantity is Quantity.STACK_TEMPERATURE else DECIMALS.get(sensor.unit, 3)
    switch = quantity is Quantity.RUNNING and story.payloads.get(sensor.id) == "text"
    vacuum_share = 1.0 if sensor.line == PUMP else SAG_FAR_SHARE
    raw_true = tuple(zip(*sensor.calibration, strict=True)) if sensor.calibration is not None else None
    return Probe(
        sensor,
        gain,
        offset,
        noise=abs(gain) * NOISE_SI[quantity],
        style=f"%.{decimals}f",
        has_fraction=decimals > 0,
        words=("off", "on") if switch else None,
        lag_share=1.0 if lag_s is None else 1.0 - exp(-step_s / lag_s),
        sag_share=vacuum_share if quantity is Quantity.VACUUM else 0.0,
        table=(raw_true[1], raw_true[0]) if raw_true is not None else None,
        faults=tuple(e for e in story.events if isinstance(e, SensorFault) and e.sensor == sensor.id),
    )


def follow(p: Probe, true_si: float) -> None:
    """Move on to the end of the next step."""
    p.before_si = p.now_si
    p.now_si += (true_si - p.now_si) * p.lag_share


def speak(p: Probe, si: float, at_s: float, rng: Random) -> float | None:
    """The number the sensor says for a true value; None when it says nothing."""
    raw = p.gain * si + p.offset
    if p.table is not None:
        raw = _untabled(raw, p.table)
    if p.noise > 0.0:
        raw += p.noise * rng.gauss(0.0, 1.0)
    for fault in p.faults:
        if fault.is_on(at_s):
            faulty = _faulty(p, fault, raw, si, at_s, rng)
            if faulty is None:
                return None
            raw = faulty
        elif fault.fault is Fault.STUCK:
            p.stuck_at = None
    return raw


def clock_off_s(p: Probe, at_s: float) -> float:
    """What the sensor's clock is ahead by."""
    return sum(fault.clock_off_s or 0.0 for fault in p.faults if fault.is_on(at_s))


def _faulty(p: Probe, fault: SensorFault, raw: float, si: float, at_s: float, rng: Random) -> float | None:
    said: float | None = raw
    match fault.fault:
        case Fault.STUCK:
            p.stuck_at = raw if p.stuck_at is None else p.stuck_at
            said = p.stuck_at
        case Fault.DRIFTING:
            said = raw + (fault.drift_per_h or 0.0) * (at_s - fault.at_s) / HOUR_S
        case Fault.SPIKING:
            if rng.random() < (fault.share_fraction or USUAL_SPIKES):
                said = raw + (fault.spike or 0.0) * rng.choice((-1.0, 1.0)) * rng.uniform(0.6, 1.0)
        case Fault.WRONG_UNIT:
            said = from_si(si, fault.unit or p.sensor.unit)
        case Fault.DROPOUT:
            said = None if rng.random() < (fault.share_fraction or 1.0) else raw
        case Fault.BATTERY_DYING:
            said = _dying(p, fault, raw, at_s, rng)
        case Fault.CLOCK_OFF:
            pass
    return said


def _dying(p: Probe, fault: SensorFault, raw: float, at_s: float, rng: Random) -> float | None:
    spent = (at_s - fault.at_s) / (fault.for_s or LAST_DAYS_S)
    if spent > BATTERY_GONE_SHARE or rng.random() < spent - BATTERY_FAILING_SHARE:
        return None
    if p.sensor.quantity is Quantity.BATTERY:
        # The flat discharge of a lithium cell, then the knee.
        return raw * (1.0 - 0.04 * spent - 0.22 * spent**4)
    return raw


def _straight(sensor: Sensor, farm: Farm) -> tuple[float, float]:
    """Gain and offset from SI to what the sensor says; a calibration table comes after."""
    unit = UNITS[sensor.measured_unit]
    gain, offset = 1.0 / unit.factor, -unit.offset / unit.factor
    if sensor.quantity is Quantity.LEVEL and unit.dimension is Dimension.PRESSURE:
        gain *= sucrose_density_kg_m3(_brix(sensor, farm), SAP_C) * GRAVITY_M_S2
    if sensor.mount_height_m is not None:
        gain, offset = -gain, offset + from_si(sensor.mount_height_m, sensor.measured_unit)
    gain, offset = gain / sensor.gain, (offset - sensor.offset) / sensor.gain
    if sensor.span is not None:
        low, high = sensor.span
        amp = to_si(1.0, sensor.unit)
        gain, offset = (
            gain * 0.016 / (high - low) / amp,
            (0.004 + 0.016 * (offset - low) / (high - low)) / amp,
        )
    return gain, offset


def _brix(sensor: Sensor, farm: Farm) -> float:
    tank = farm.tank_by_id.get(sensor.tank or "")
    holds = tank.holds if tank is not None else Holds.SAP
    if holds is Holds.CONCENTRATE and farm.ro is not None:
        return farm.ro.concentrate_brix
    return 0.0 if holds is Holds.PERMEATE else farm.sap_brix


def _untabled(true: float, table: tuple[tuple[float, ...], tuple[float, ...]]) -> float:
    trues, raws = table
    i = min(max(bisect_right(trues, true) - 1, 0), len(trues) - 2)
    return raws[i] + (raws[i + 1] - raws[i]) * (true - trues[i]) / (trues[i + 1] - trues[i])
