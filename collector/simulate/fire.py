"""The arch: a bed of wood that burns down and is fed every few minutes, and the pans over it.

Opening the door lets cold air in: the stack dips, then the fresh wood lights and it recovers. Heat into the
pans is a share of what the wood gives; it warms the pans, then boils water off what runs in.
"""

from dataclasses import dataclass, field
from math import exp
from random import Random

from collector.simulate.liquids import Liquid
from collector.simulate.moment import Moment
from shared.physics.fire import ARCH_EFFICIENCY, wood_heat_j_kg
from shared.physics.heat import RISE_AT_66_9_C, boiling_point_c
from shared.physics.sap import SYRUP_BRIX
from shared.units import to_si

EVAPORATION_J_KG = 2.2565e6
"""Water at 100 °C. Source: IAPWS-95, 970.1 Btu/lb."""
WATER_J_KG_K = 4186.8
WOOD_MOISTURE_FRACTION = 0.20
STACK_C = to_si(700, "degF")
"""Where the stack stands between firings (common practice, no source)."""
DOOR_OPEN_S = (22.0, 36.0)
DOOR_SHARE = 0.45
"""Door open 15 to 40 s, stack down by 100 to 300 °F within a minute (from memory)."""
BED_S = 9.0 * 60.0
"""The bed's time constant when nobody feeds it."""
FED = 0.75
FULL_BED = 1.15
WORKING_BED = 0.8
"""A bed fed every seven minutes swings about this; a firing adds `FED`, and the firebox holds `FULL_BED`."""
OUT = 0.005
DRAFT_RATIO = 1.35
"""Fire against a normal one while it is over-fired (common practice, no source)."""
FLUE_S = 25.0
SLOW_FLUE_S = 75.0
"""Flue and probe follow the fire; iron soaks up the first of an over-fire."""
WARM_UP_J = 350e6
"""Pans, arch and what is in them, from cold to boiling: half an hour of firing (from memory)."""
PAN_S = 4500.0
STACK_COOLS_S = 1200.0
DRAW_OFF_S = 13 * 60.0
"""From one draw-off to the next."""
LEAST_RISE_SHARE = 0.55
"""Of the draw-off's rise over boiling water, what the pan falls back to after it."""


@dataclass(frozen=True, slots=True)
class Firing:
    """How the fire is kept at the moment."""

    interval_s: float
    stack_c: float
    over_stack_c: float | None = None
    """Where too much wood and draft would take the stack."""


@dataclass(slots=True)
class Fire:
    """The arch at one moment."""

    nominal_w: float
    """Useful heat of a steady fire."""
    bed: float = 0.0
    """Strength of the fire."""
    normal_c: float = STACK_C
    stack_c: float = 0.0
    pan_c: float = 0.0
    warm_j: float = 0.0
    lit: bool = False
    next_firing_s: float = 0.0
    door_until_s: float = -1.0
    last_draw_off_s: float = 0.0
    wood_kg: float = 0.0
    firings_s: list[float] = field(default_factory=list)


def nominal_heat_w(water_m3_s: float, feed_c: float = 4.0) -> float:
    """Useful heat that boils off that much water and warms it first."""
    return water_m3_s * 1000.0 * (EVAPORATION_J_KG + WATER_J_KG_K * (100.0 - feed_c))


def burn(fire: Fire, firing: Firing | None, moment: Moment, rng: Random) -> float:
    """Move the fire on one step, fed or left alone; useful heat over the step, J."""
    now_s, step_s = moment.now_s, moment.step_s
    if firing is None:
        fire.lit = False
    else:
        if not fire.lit:
            fire.lit, fire.next_firing_s = True, now_s
        if now_s >= fire.next_firing_s:
            fire.firings_s.append(now_s)
            fire.bed = min(fire.bed + FED, FULL_BED)
            fire.door_until_s = now_s + rng.uniform(*DOOR_OPEN_S)
            fire.next_firing_s = now_s + firing.interval_s * rng.uniform(0.88, 1.12)
        fire.normal_c = firing.stack_c
    fire.bed *= exp(-step_s / BED_S)
    over = firing is not None and firing.over_stack_c is not None
    hot_c = firing.over_stack_c if firing is not None and firing.over_stack_c is not None else fire.normal_c
    # The flue follows the square root of the bed: a smaller fire draws less air past itself.
    target_c = moment.air_c + (hot_c - moment.air_c) * (fire.bed / WORKING_BED) ** 0.5
    lag_s = SLOW_FLUE_S if over else FLUE_S
    if now_s < fire.door_until_s:
        target_c, lag_s = moment.air_c + DOOR_SHARE * (target_c - moment.air_c), FLUE_S
    fire.stack_c += (target_c - fire.stack_c) * (1.0 - exp(-step_s / lag_s))
    heat_j = fire.nominal_w * (DRAFT_RATIO if over else 1.0) * fire.bed / WORKING_BED * step_s
    fire.wood_kg += heat_j / (ARCH_EFFICIENCY.usual * wood_heat_j_kg(WOOD_MOISTURE_FRACTION))
    return heat_j


def water_boiled_kg(fire: Fire, heat_j: float, feed: Liquid, feed_c: float, moment: Moment) -> float:
    """Water that the heat takes out of what runs in; warms the pans first and keeps their thermometer."""
    boiling_c = boiling_point_c(moment.station_pa)
    if fire.warm_j < WARM_UP_J:
        fire.warm_j = min(WARM_UP_J, fire.warm_j + heat_j)
        fire.pan_c = max(fire.pan_c, moment.shed_c + (boiling_c - moment.shed_c) * fire.warm_j / WARM_UP_J)
        fire.last_draw_off_s = moment.now_s
        return 0.0
    if moment.now_s - fire.last_draw_off_s > DRAW_OFF_S:
        fire.last_draw_off_s = moment.now_s
    sweet = (moment.now_s - fire.last_draw_off_s) / DRAW_OFF_S
    fire.pan_c = boiling_c + RISE_AT_66_9_C.usual * (LEAST_RISE_SHARE + (1.0 - LEAST_RISE_SHARE) * sweet)
    if feed.kg <= 0.0:
        return 0.0
    # Each kilogram boiled off came in with its share of syrup, and all of it had to be warmed.
    feed_per_water = 1.0 / (1.0 - feed.brix / SYRUP_BRIX)
    return heat_j / (EVAPORATION_J_KG + WATER_J_KG_K * (boiling_c - feed_c) * feed_per_water)


def cool(fire: Fire, moment: Moment) -> None:
    """An arch without fire: stack and pans fall back to the sugarhouse."""
    fire.bed, fire.lit = 0.0, False
    fire.stack_c += (moment.shed_c - fire.stack_c) * (1.0 - exp(-moment.step_s / STACK_COOLS_S))
    kept = exp(-moment.step_s / PAN_S)
    fire.pan_c = moment.shed_c + (fire.pan_c - moment.shed_c) * kept
    fire.warm_j *= kept
