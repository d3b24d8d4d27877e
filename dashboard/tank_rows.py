"""How each tank stands, in words and figures: contents, when it is full, and how old its sap is."""

from dataclasses import dataclass

from dashboard.standing import Facts, silent_s, silent_words
from dashboard.words import Note, Tone, signed, tank_name
from shared.estimates.picture import TankView
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime, NotFilling, TankFlow
from shared.farm_parts import Tank
from shared.physics.tanks import full_height_m, volume_m3
from shared.readings import Quantity
from shared.tuning.tanks import SapHeldTooLong
from shared.units import from_si
from shared.words import clock_time, duration


@dataclass(frozen=True, slots=True)
class TankRow:
    """One tank; `volume_gal` is None where its level is not known now."""

    tank: Tank
    name: str
    volume_gal: float | None
    capacity_gal: float
    silence: str
    notes: tuple[Note, ...]
    fill: FillTime | None
    tone: Tone

    @property
    def full_fraction(self) -> float | None:
        """Contents over capacity."""
        return None if self.volume_gal is None else self.volume_gal / self.capacity_gal


def tank_row(known: Facts, tank: Tank, view: TankView) -> TankRow:
    """How that tank stands."""
    volume = view.volume_m3
    fill = view.time_to_full if isinstance(view.time_to_full, FillTime) and volume is not None else None
    if volume is None:
        sensors = known.farm.sensors_of(Quantity.LEVEL, tank=tank.id)
        silence = silent_words(silent_s(known, sensors[0]) or 0.0) if sensors else "no level sensor"
        notes: tuple[Note, ...] = _age_notes(known, tank, view)
    else:
        silence = ""
        notes = (*_fill_notes(known, tank, view), *_age_notes(known, tank, view), *_rate_notes(view))
    tones = [note.tone for note in notes]
    return TankRow(
        tank,
        tank_name(tank.id),
        None if volume is None else from_si(volume, "gal"),
        from_si(view.capacity_m3, "gal"),
        silence,
        notes,
        fill,
        next((tone for tone in (Tone.ACT, Tone.MIND) if tone in tones), Tone.INK),
    )


def level_to_m3(tank: Tank, level_m: float) -> float:
    """Volume at that level; a little below empty or above full is the sensor's error, not the tank's."""
    return volume_m3(tank.geometry, min(max(level_m, 0.0), full_height_m(tank.geometry)))


def _fill_notes(known: Facts, tank: Tank, view: TankView) -> tuple[Note, ...]:
    left = view.time_to_full
    tone = Tone.ACT if known.is_active("tank_nearly_full", tank.id) else Tone.INK
    match left:
        case FillTime(low_s=low_s, high_s=high_s):
            if high_s == 0.0:
                return (Note("Full now", tone),)
            early = _clock(known, low_s)
            if high_s is None:
                return (Note(f"Full {early} at the earliest", tone),)
            late = _clock(known, high_s)
            return (Note(f"Full {early}" if early == late else f"Full {early} to {late}", tone),)
        case NotFilling(net_m3_s=net_m3_s):
            return (Note("emptying" if from_si(net_m3_s, "gal/h") < -STILL_GAL_H else "not filling"),)
        case _:
            return (Note(left.reason),)


def _clock(known: Facts, ahead_s: float) -> str:
    return clock_time(known.now_ms + round(ahead_s * 1000), known.farm.zone, known.now_ms)


STILL_GAL_H = 5.0
"""A tank whose level moves less is said to stand still: a sensor's drift does as much (our choice)."""


def _rate_notes(view: TankView) -> tuple[Note, ...]:
    if not isinstance(view.flow, TankFlow):
        return ()
    net_gal_h = from_si(view.flow.net_m3_s.middle, "gal/h")
    return (Note(f"{signed(round(net_gal_h))} gal/h"),) if abs(net_gal_h) >= STILL_GAL_H else ()


def _age_notes(known: Facts, tank: Tank, view: TankView) -> tuple[Note, ...]:
    if not isinstance(view.age, SapAge):
        return ()
    rule = known.farm.tuning(SapHeldTooLong, tank)
    age_s = view.age.oldest_s
    tone = Tone.SOFT
    if age_s >= rule.tell_age_s:
        tone = Tone.ACT if age_s >= rule.wake_age_s else Tone.MIND
    at_least = "at least " if view.age.at_least else ""
    return (Note(f"oldest sap {at_least}{duration(age_s)}", tone),)
