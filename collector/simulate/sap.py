"""A tree gives sap once it has frozen and thawed: a store filled by frost, emptied by warmth and vacuum.

Below freezing a stem takes in water until it is full; above, the store runs out over hours, the slower the
emptier. Vacuum draws more from the same store: 5 % of the gravity flow for each inch of mercury, the linear
form of the published response. Stems lag the air by an hour or so. Late in the season taps heal and buds
swell, and the store shrinks.
"""

from dataclasses import dataclass
from math import exp

from shared.physics.air import YIELD_PER_INHG
from shared.units import DAY_S, GALLON_M3, HOUR_S, INHG_PA

STEM_LAG_S = 1.2 * HOUR_S
"""Onset of flow trails the thaw of the air by about an hour (Kurokawa et al. 2022: 10 to 11 h local time)."""
STORE_M3 = 1.9 * GALLON_M3
"""Gravity sap within one tap's reach when fully charged; set so that seasons give published yields."""
EMPTYING_S = 7.0 * HOUR_S
FILLING_S = 14.0 * HOUR_S
"""Of a full flow and of a hard frost; set so that seasons give published yields."""
FREEZING_C = -0.5
HARD_FROST_C = -6.0
FLOWING_C = 0.0
FULL_FLOW_C = 3.5
"""Flow starts and stops between -2 and +2 °C of air (Kurokawa et al. 2022); full a few degrees above."""
WARM_C = 5.0
"""Base of the degree days that end a season (common practice, no source)."""
HALVING_C_S = 37.5 * DAY_S
"""Warmth that halves the store by healing taps and swelling buds; set so that seasons end (no source)."""


@dataclass(slots=True)
class Trees:
    """The trees of one line, as one average tap."""

    taps: int
    vigour: float
    """Sap against the average line; 1 on average."""
    shade_c: float
    """What the air is colder on this line: a north slope thaws late."""
    stem_c: float = -2.0
    store_m3: float = 0.5 * STORE_M3
    warmth_c_s: float = 0.0


def advance_trees(
    trees: Trees, air_c: float, vacuum_pa: float, step_s: float, *, closed: bool = False
) -> float:
    """Move on one step; the flow of all the line's taps over it, m3/s. A closed line takes nothing."""
    air_c -= trees.shade_c
    trees.stem_c += (air_c - trees.stem_c) * (1.0 - exp(-step_s / STEM_LAG_S))
    stem_c = trees.stem_c
    if stem_c > WARM_C:
        trees.warmth_c_s += (stem_c - WARM_C) * step_s
    if stem_c < FREEZING_C:
        cold = min(1.0, (FREEZING_C - stem_c) / (FREEZING_C - HARD_FROST_C))
        room_m3 = STORE_M3 / (1.0 + trees.warmth_c_s / HALVING_C_S)
        trees.store_m3 += max(0.0, room_m3 - trees.store_m3) * cold * min(1.0, step_s / FILLING_S)
        return 0.0
    if closed or stem_c <= FLOWING_C:
        return 0.0
    opened = min(1.0, (stem_c - FLOWING_C) / (FULL_FLOW_C - FLOWING_C))
    gravity_m3 = trees.store_m3 * min(1.0, opened * step_s / EMPTYING_S)
    trees.store_m3 -= gravity_m3
    drawn = 1.0 + YIELD_PER_INHG.usual * max(0.0, vacuum_pa) / INHG_PA
    return trees.taps * trees.vigour * gravity_m3 * drawn / step_s
