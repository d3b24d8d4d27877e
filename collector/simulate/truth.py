"""What really happened, written beside the stream: events, tanks, lines, firings and the books."""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One thing that happened, from when to when, to what, and how much of it."""

    kind: str
    subject: str
    from_ms: int
    to_ms: int
    amounts: dict[str, float]


@dataclass(frozen=True, slots=True)
class TankTruth:
    """A tank at one moment; None where there is nothing to say."""

    at_ms: int
    volume_m3: float
    oldest_age_s: float | None
    inflow_m3_s: float
    """Net, over the time since the sample before."""
    time_to_full_s: float | None
    """At that rate; None while it does not rise."""
    temperature_c: float
    brix: float


@dataclass(frozen=True, slots=True)
class LineTruth:
    """A line at one moment; leak is what holes let in, free air."""

    at_ms: int
    leak_m3_s: float
    near_vacuum_pa: float
    far_vacuum_pa: float
    sap_m3_s: float
    frozen: bool


@dataclass(frozen=True, slots=True)
class Balance:
    """The books at the end, kg; `error_kg` is what they are out by."""

    at_start_kg: float
    sap_in_kg: float
    stored_kg: float
    permeate_poured_kg: float
    evaporated_kg: float
    syrup_kg: float
    spilled_kg: float
    washed_kg: float

    @property
    def error_kg(self) -> float:
        """In less out less stored."""
        out_kg = (
            self.stored_kg
            + self.permeate_poured_kg
            + self.evaporated_kg
            + self.syrup_kg
            + self.spilled_kg
            + self.washed_kg
        )
        return self.at_start_kg + self.sap_in_kg - out_kg


@dataclass(slots=True)
class Truth:
    """Complete once the last message has been taken."""

    title: str
    farm: str
    seed: int
    start_ms: int
    end_ms: int
    occurrences: list[Occurrence] = field(default_factory=list)
    tanks: dict[str, list[TankTruth]] = field(default_factory=dict)
    lines: dict[str, list[LineTruth]] = field(default_factory=dict)
    firings_ms: list[int] = field(default_factory=list)
    sap_by_day_m3: list[float] = field(default_factory=list)
    """Gathered on each local day from the start's on."""
    water: Balance | None = None
    sugar: Balance | None = None
    useful_heat_j: float = 0.0
    wood_kg: float = 0.0
    syrup_m3: float = 0.0
    boiled_brix: float = 0.0
    """Mean strength of what went into the pans."""
    message_count: int = 0
    duplicate_count: int = 0
    lost_count: int = 0
    expected: list[dict[str, Any]] = field(default_factory=list)
    """Alerts that must come."""

    def at_ms(self, t_s: float) -> int:
        """A time of the stream as ms since 1970 UTC."""
        return self.start_ms + round(t_s * 1000)
