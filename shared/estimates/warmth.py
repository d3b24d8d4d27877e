"""How warm the sap of one tank has been, booked to its ledger so that equivalent ages keep up.

Between two temperatures the spoilage rate is taken half from each. Before the first one, and across a
silence too long to bridge, nobody knows, and the sap that was there has no equivalent age any more.
"""

from dataclasses import dataclass, replace

from shared.estimates.parcels import Parcel
from shared.estimates.sap_age import Ledger, SapAge, warm
from shared.physics.sap import relative_spoilage_rate
from shared.units import HOUR_S

LONGEST_GAP_S = 6 * HOUR_S
"""A bulk tank changes by a degree or two in six hours (from memory); temperatures are bridged so far."""


@dataclass(slots=True)
class Warmth:
    """The last temperature of a tank's sap, and until when its warmth is booked."""

    has_sensor: bool = False
    temperature_c: float | None = None
    measured_ms: int = 0
    booked_ms: int | None = None
    """None: the watch has not begun."""


def book_warmth(warmth: Warmth, ledger: Ledger, tank: str, until_ms: int) -> None:
    """Sap is about to move at `until_ms`: what is there has lived until then at the last temperature."""
    if warmth.booked_ms is None:
        warmth.booked_ms = until_ms
    if not warmth.has_sensor:
        warm(ledger, tank, None, 1.0)
    elif warmth.temperature_c is not None and until_ms > warmth.booked_ms:
        warm(ledger, tank, warmth.temperature_c, (until_ms - warmth.booked_ms) / 1000.0)
        warmth.booked_ms = until_ms


def note_temperature(
    warmth: Warmth, ledger: Ledger, tank: str, measured_ms: int, temperature_c: float
) -> None:
    """Take a temperature in; one that is no newer than the last changes nothing."""
    if measured_ms <= warmth.measured_ms:
        return
    begun_ms = measured_ms if warmth.booked_ms is None else warmth.booked_ms
    silent_ms = measured_ms - (begun_ms if warmth.temperature_c is None else warmth.measured_ms)
    half_s = max(0, measured_ms - begun_ms) / 2000.0
    bridged = silent_ms <= LONGEST_GAP_S * 1000
    before_c = temperature_c if warmth.temperature_c is None else warmth.temperature_c
    for spell_c in (before_c, temperature_c):
        warm(ledger, tank, spell_c if bridged else None, half_s)
    warmth.temperature_c, warmth.measured_ms = temperature_c, measured_ms
    warmth.booked_ms = max(begun_ms, measured_ms)


def lived(warmth: Warmth, parcel: Parcel, until_ms: int) -> Parcel:
    """A parcel booked late, with the heat it has had in this tank since its birth."""
    if warmth.temperature_c is None:
        # Before a first temperature the tank's own clock will count it all; without a sensor nothing can.
        return parcel if warmth.has_sensor else replace(parcel, oldest_heat_s=None, mean_heat_s=None)
    rate = relative_spoilage_rate(warmth.temperature_c)
    return replace(
        parcel,
        oldest_heat_s=rate * max(0.0, until_ms - parcel.oldest_ms) / 1000.0,
        mean_heat_s=rate * max(0.0, until_ms - parcel.mean_ms) / 1000.0,
    )


def warmed_until(warmth: Warmth, age: SapAge, now_ms: int) -> SapAge:
    """The age with the warmth since it was last booked; no equivalent where the temperature is silent."""
    if warmth.temperature_c is None or now_ms - warmth.measured_ms > LONGEST_GAP_S * 1000:
        return replace(age, equivalent_oldest_s=None, equivalent_mean_s=None)
    booked_ms = now_ms if warmth.booked_ms is None else warmth.booked_ms
    since_s = relative_spoilage_rate(warmth.temperature_c) * max(0, now_ms - booked_ms) / 1000.0
    oldest_s, mean_s = age.equivalent_oldest_s, age.equivalent_mean_s
    return replace(
        age,
        equivalent_oldest_s=None if oldest_s is None else oldest_s + since_s,
        equivalent_mean_s=None if mean_s is None else mean_s + since_s,
    )
