"""Ledgers of sap built by the gallon and the hour."""

from shared.estimates.parcels import fresh_parcel
from shared.estimates.sap_age import Ledger, TankSap, fill
from shared.units import GALLON_M3

T0_MS = 1_773_446_400_000
"""14 March 2026, 00:00 UTC."""
HEEL_M3 = 0.02


def hour(hours: float) -> float:
    """That many hours after the start, ms since 1970 UTC."""
    return T0_MS + hours * 3_600_000


def new_ledger(*tanks: str, heel_m3: float = 0.0) -> Ledger:
    """Empty, washed tanks."""
    return Ledger({tank: TankSap(heel_m3=heel_m3) for tank in tanks})


def pour(ledger: Ledger, tank: str, gallons: float, from_h: float, to_h: float | None = None) -> None:
    """Fresh sap, all at once or evenly between two hours."""
    until_h = from_h if to_h is None else to_h
    fill(ledger, tank, fresh_parcel(gallons * GALLON_M3, hour(from_h), hour(until_h)))
