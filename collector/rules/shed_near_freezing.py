"""The shed of pump and releaser is near freezing, or will be within the hour, with sap in them.

Releaser, the pump's seal water and the wet line freeze and break. It is told while the pump runs or ran lately, and
wakes once the shed is below freezing with the pump running. A shed that is warming up is left as it was.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.frost import SLOT_MS, AirHistory
from shared.estimates.picture import Picture
from shared.estimates.pump_run import Pump
from shared.estimates.thermometer import between_c, now_c, rate_c_h
from shared.estimates.woods_views import pump_view
from shared.farm import Farm
from shared.readings import Quantity
from shared.tuning.vacuum import ShedNearFreezing
from shared.units import HOUR_S
from shared.words import capitalised, degrees, duration

ID = "shed_near_freezing"
FREEZING_C = 0.0
AHEAD_MOST_C = 6.0
"""From warmer than this it does not freeze within an hour, however fast a door that was opened lets it fall."""
WARMS_C_H = 0.3
"""Faster than this it is on its way up, as in a morning's thaw, when the pump starts in a shed as cold as the night."""
WETS_MS = 1_800_000
"""So long after its start sap has come down to the releaser (common practice, no source)."""
LONG_MS = 2 * 3_600_000
"""A pump that has run for so long has not just been started in the cold."""
ADVICE = "Drain or warm it; fire and CO: no flame or engine inside, heater clear of wood."


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """Every thermometer in a shed."""
    sheds = farm.sensors_of(Quantity.SHED_TEMPERATURE)
    return tuple(Subject(s.id, (s.id,)) for s in sheds if farm.tuning(ShedNearFreezing, s).enabled)


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one shed."""
    sensor = farm.sensor_by_id[subject]
    tuning, history = farm.tuning(ShedNearFreezing, sensor), picture.air.get(subject)
    name, shed_c = capitalised(subject), _shed_c(history, now_ms, sensor.interval_s)
    pump = pump_view(picture, farm, now_ms)
    if shed_c is None or not isinstance(pump, Pump):
        what = "temperature" if shed_c is None else "pump"
        sentence = f"{name}: whether it may freeze is not known ({what} not heard)."
        return found(tuning, subject, now_ms, Verdict.UNKNOWN, sentence, priority=Priority.TELL)
    pace_c_h = rate_c_h(history) or 0.0
    ahead_c = shed_c + pace_c_h * tuning.ahead_s / HOUR_S if shed_c <= AHEAD_MOST_C else shed_c
    sentence = (
        f"{name} is at {degrees(shed_c)} with {'the pump running' if pump.runs else 'sap in the releaser'}"
    )
    verdict, priority, advice = Verdict.BETWEEN, Priority.TELL, ""
    is_cold = shed_c < tuning.trip_c or ahead_c <= FREEZING_C
    if is_cold and pace_c_h <= WARMS_C_H and _is_wet(pump, now_ms, tuning.wet_s):
        verdict, advice = Verdict.ACTIVE, ADVICE
        if shed_c < FREEZING_C and pump.runs and now_ms - pump.since_ms >= LONG_MS:
            priority = Priority.WAKE
        elif shed_c > FREEZING_C >= ahead_c:
            sentence += f": freezing in {duration(shed_c / -pace_c_h * HOUR_S)}"
    elif shed_c >= tuning.clear_c and not is_cold:
        verdict, sentence = Verdict.NORMAL, f"{name} is at {degrees(shed_c)}"
    sentence += "."
    return found(tuning, subject, now_ms, verdict, sentence, advice, priority=priority)


def _shed_c(history: AirHistory | None, now_ms: int, interval_s: float) -> float | None:
    """The warmer of its last two quarters of an hour: a door that stands open for minutes is no frost."""
    newest_c = now_c(history, now_ms, interval_s)
    return None if newest_c is None else max([newest_c, *between_c(history, now_ms - SLOT_MS, now_ms)])


def _is_wet(pump: Pump, now_ms: int, wet_s: float) -> bool:
    stood_ms = now_ms - pump.since_ms
    if pump.runs:
        return stood_ms >= WETS_MS
    return pump.ran_ms is not None and stood_ms <= wet_s * 1000


RULE = Rule(ID, subjects, judge)
