"""What can happen on a simulated farm: each kind of event and what it needs to be told."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from shared.farm_parts import Id
from shared.farm_units import Section
from shared.units import INCH_M, UNITS, to_si

Positive = Annotated[float, Field(gt=0)]


class Happening(Section):
    """From `at` for so long; without `for` it lasts to the end."""

    at_s: float = Field(ge=0)
    for_s: Positive | None = None

    @property
    def until_s(self) -> float:
        """When it is over; infinite without `for`."""
        return self.at_s + self.for_s if self.for_s is not None else float("inf")

    def is_on(self, now_s: float) -> bool:
        """Whether it is going on."""
        return self.at_s <= now_s < self.until_s


class Leak(Happening):
    """A hole: chewed tubing, a loose fitting."""

    kind: Literal["leak"]
    line: Id
    place_m: float | None = Field(default=None, ge=0)
    """Distance along the line from its pump end; None: halfway."""
    hole_m: Annotated[float, Field(gt=0, le=0.08)] = INCH_M / 8


class LimbDown(Happening):
    """A limb tears a line: a large hole, and part of the sap from beyond it runs out on the ground."""

    kind: Literal["limb_down"]
    line: Id
    place_m: float | None = Field(default=None, ge=0)
    hole_m: Annotated[float, Field(gt=0, le=0.08)] = 0.6 * INCH_M
    sap_lost_fraction: float = Field(default=0.5, ge=0, le=1)


class ValveClosed(Happening):
    """A line's valve at its joint is shut: no air or sap passes."""

    kind: Literal["valve_closed"]
    line: Id


class PumpStop(Happening):
    """The vacuum pump does not run."""

    kind: Literal["pump_stop"]


class ReleaserStuck(Happening):
    """`open`: it vents air into the vacuum. `closed`: it does not dump, and sap floods the lines."""

    kind: Literal["releaser_stuck"]
    way: Literal["open", "closed"] = "open"
    hole_m: Annotated[float, Field(gt=0, le=0.08)] = 0.4 * INCH_M


class FreezeUp(Happening):
    """Ice closes a line (or all), whatever the thermometer says."""

    kind: Literal["freeze_up"]
    line: Id | None = None


class TankUnattended(Happening):
    """Nothing is taken from a tank, and nobody stops what runs in."""

    kind: Literal["tank_unattended"]
    tank: Id


class TransferForgotten(Happening):
    """Nobody starts the transfer out of a tank."""

    kind: Literal["transfer_forgotten"]
    tank: Id


class SapHeld(Happening):
    """Neither RO nor evaporator takes from a tank."""

    kind: Literal["sap_held"]
    tank: Id


class Transfer(Happening):
    """The crew pumps a tank to the one it drains to, until the heel or the end."""

    kind: Literal["transfer"]
    tank: Id


class Wash(Happening):
    """The crew drains and washes a tank: its heel goes to the ground."""

    kind: Literal["wash"]
    tank: Id


class RoRun(Happening):
    """The RO runs."""

    kind: Literal["ro_run"]


class Boil(Happening):
    """Fire is lit and fed every few minutes until the end or until there is nothing to boil."""

    kind: Literal["boil"]
    firing_interval_s: Positive = 7 * 60.0
    """Between 5 and 9 min in working accounts of producers (anecdotal)."""
    stack_c: float = Field(default=to_si(700, "degF"), gt=100, lt=800)
    """Where the stack stands between firings."""


class FireDying(Happening):
    """Nobody feeds the fire."""

    kind: Literal["fire_dying"]


class OverFire(Happening):
    """Too much wood and draft: the stack rises until it is throttled."""

    kind: Literal["over_fire"]
    stack_c: float = Field(default=to_si(1150, "degF"), gt=100, lt=1300)


class Fault(StrEnum):
    """What a sensor can do wrong."""

    STUCK = "stuck"
    DRIFTING = "drifting"
    SPIKING = "spiking"
    WRONG_UNIT = "wrong_unit"
    CLOCK_OFF = "clock_off"
    BATTERY_DYING = "battery_dying"
    DROPOUT = "dropout"


class SensorFault(Happening):
    """A sensor misbehaves."""

    kind: Literal["sensor_fault"]
    sensor: Id
    fault: Fault
    drift_per_h: float | None = None
    """Drifting: in the sensor's own unit."""
    spike: float | None = None
    """Spiking: size in the sensor's own unit."""
    share_fraction: float | None = Field(default=None, gt=0, le=1)
    """Spiking: share of readings hit (default 0.03). Dropout: share lost (default 1)."""
    unit: str | None = None
    """Wrong unit: the unit it speaks after a firmware change; it still says nothing or the old name."""
    clock_off_s: float | None = None
    """Clock off: what its clock is ahead of the truth."""

    @model_validator(mode="after")
    def _told_enough(self) -> "SensorFault":
        needs = {
            Fault.DRIFTING: "drift_per_h",
            Fault.SPIKING: "spike",
            Fault.WRONG_UNIT: "unit",
            Fault.CLOCK_OFF: "clock_off_s",
        }
        need = needs.get(self.fault)
        if need is not None and getattr(self, need) is None:
            raise ValueError(f"a {self.fault} fault needs {need}")
        if self.unit is not None and self.unit not in UNITS:
            raise ValueError(f"unit {self.unit!r} is not a unit we know; use one of {', '.join(UNITS)}")
        return self


class LinkOutage(Happening):
    """Messages are kept by their gateway and come in a rush when the link is back, or are lost."""

    kind: Literal["link_outage"]
    sensors: tuple[Id, ...] = ()
    """Whose messages; none named: all."""
    lost: bool = False
    backlog_per_s: Positive = 50.0
    """How fast the kept messages come afterwards."""


Event = Annotated[
    Leak
    | LimbDown
    | ValveClosed
    | PumpStop
    | ReleaserStuck
    | FreezeUp
    | TankUnattended
    | TransferForgotten
    | SapHeld
    | Transfer
    | Wash
    | RoRun
    | Boil
    | FireDying
    | OverFire
    | SensorFault
    | LinkOutage,
    Field(discriminator="kind"),
]


class Expectation(Section):
    """An alert that the story must bring, for the README, the scorer and the tests."""

    rule: str
    subject: Id
    priority: Literal["wake", "tell", "note"]
    from_s: float = Field(ge=0)
    """No sooner than this."""
    by_s: float = Field(gt=0)
    """No later than this."""
    why: str
