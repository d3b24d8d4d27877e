"""The vacuum pump does not run although sap could flow.

Known by its switch, or by what it makes. A stop in a thaw wakes. One near freezing, by thermostat or by hand, is
told only when it comes before the frost, or when the thaw has lasted an hour without the pump; at rest in the
frost nobody is told, nor before the pump's first run. After days without frost trees give nothing, and a stop is
told once.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture, air_c
from shared.estimates.pump import pump_sensors
from shared.estimates.pump_run import Pump, Stop
from shared.estimates.woods_views import pump_view, stop_view
from shared.farm import Farm
from shared.farm_parts import PUMP
from shared.tuning.vacuum import PumpNotRunning
from shared.words import clock_time, degrees, inches_of_mercury

ID = "pump_not_running"
FAILED = "Breaker, motor, belt, oil first; lock out power before you touch them."
START_IT = "Start it if sap should flow."
FROST = "frost"

PRIORITIES = {
    Stop.THAW: Priority.WAKE,
    Stop.SOON_COLD: Priority.TELL,
    Stop.LATE: Priority.TELL,
    Stop.SPRING: Priority.TELL,
    Stop.COLD: Priority.NOTE,
    Stop.FROST_SINCE: Priority.WAKE,
}
"""Of a stop that is found active."""


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The pump, where anything tells of it."""
    sensors = pump_sensors(farm)
    enabled = farm.rules.pump_not_running.enabled
    return (Subject(PUMP, tuple(sensor.id for sensor in sensors)),) if sensors and enabled else ()


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about the pump."""
    tuning = farm.tuning(PumpNotRunning)
    pump = pump_view(picture, farm, now_ms)
    verdict, priority, advice, explained_by = Verdict.NORMAL, Priority.WAKE, "", ""
    if not isinstance(pump, Pump):
        verdict, sentence = Verdict.UNKNOWN, f"Whether the pump runs is not known ({pump.reason})."
    elif pump.runs:
        sentence = f"The pump runs{_vacuum(pump, ': ')}."
    elif pump.ran_ms is None:
        sentence = "The pump has not run yet."
    else:
        stop, since = (
            stop_view(picture, farm, pump, now_ms),
            clock_time(pump.since_ms, farm.zone, now_ms),
        )
        sentence = f"The pump has not run since {since}{_vacuum(pump, '; vacuum ')}{_air(farm, picture)}."
        if stop is Stop.FROST:
            sentence = f"The pump rests in the frost since {since}."
        else:
            verdict, priority = Verdict.ACTIVE, PRIORITIES[stop]
            advice = START_IT if stop in (Stop.LATE, Stop.SPRING) else FAILED
            explained_by = FROST if stop is Stop.FROST_SINCE else ""
    return found(
        tuning, subject, now_ms, verdict, sentence, advice, priority=priority, explained_by=explained_by
    )


def _vacuum(pump: Pump, opening: str) -> str:
    return "" if pump.vacuum_pa is None else f"{opening}{inches_of_mercury(pump.vacuum_pa)}"


def _air(farm: Farm, picture: Picture) -> str:
    air = air_c(picture, farm)
    return "" if air is None else f", air {degrees(air)}"


RULE = Rule(ID, subjects, judge)
