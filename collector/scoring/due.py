"""What is due in a night by its truth, and which wake-ups were earned: the only place that says so.

Due, from physics and not from what sensors said:

- `vacuum_lost`: by one trouble the far end of a watched line, or the pump, truly loses 3 inHg or more of what it
  had before, at two samples ten minutes apart, while it is thawed and the pump runs; by twenty minutes after the
  first of them, on any line that lost as much by it.
- `pump_not_running`: the same, of a pump that has failed.
- `tank_nearly_full`: a tank truly runs full. With an hour of lead (less, where the farm file asks for less) if
  the fill allows it: an hour before, it had been filling for half an hour at two thirds or more of the rate of
  its last hour.
  `overflow_certain` answers too: it says more of the same trouble, and the other is silent then.
- `sap_held_too_long`: sap that came in the night truly grows a day old; within two hours.
- `sensor_silent/all-sensors`: nothing at all arrives for a quarter of an hour.

Not due is what no sensor could show: its sensors were at fault or cut off at the time.

A wake-up is earned when its trouble is true with some margin, due or not: a true loss of 2 inHg (or a
hole of 3 CFM, before anything is usual), a tank truly full, 2 % short of its limit, or on its way to full within
twice the limit's time, or running over within the horizon; sap 20 h old, or concentrate as near to its limit (where
levels leave it open the older is told). Any other is false, and so is one for what has been over for twenty minutes.
"""

from dataclasses import dataclass
from itertools import pairwise

from collector.scoring.fills import OF_TANKS, volume_at_m3
from collector.scoring.listening import Told
from collector.scoring.losses import TAKES_VACUUM, Losses
from collector.simulate.story import Story
from collector.simulate.story_events import LinkOutage, SensorFault
from collector.simulate.truth import Occurrence, TankTruth, Truth
from shared.farm import Farm
from shared.farm_parts import PUMP, Holds, Sensor
from shared.readings import Quantity
from shared.tuning.tanks import TankNearlyFull
from shared.units import CFM_M3_S, HOUR_S, INHG_PA

MINUTE_MS = 60_000
DUE_LOSS_PA = 3.3 * INHG_PA
"""The trade's 3 inHg and a gauge's error: at the limit itself either answer is right."""
EARNED_LOSS_PA = 2.0 * INHG_PA
LARGE_M3_S = 3.0 * CFM_M3_S
"""Where nobody knows yet what is usual, such a hole counts; it takes 3 inHg of most lines."""
LOSS_LASTS_MS = 10 * MINUTE_MS
TOLD_WITHIN_MS = 20 * MINUTE_MS
OVER_MS = 20 * MINUTE_MS
LEAD_S = HOUR_S
ALLOWS_RATIO = 2 / 3
STEADY_MS = 30 * MINUTE_MS
AGAIN_MS = 180 * MINUTE_MS
OLD_S = 24 * HOUR_S
OLD_WITHIN_MS = 120 * MINUTE_MS
ALL_SILENT_MS = 15 * MINUTE_MS


ANSWERS = {"tank_nearly_full": ("tank_nearly_full", "overflow_certain")}
"""Which rules' wake-ups answer one that is due; else its own."""


@dataclass(frozen=True, slots=True)
class Due:
    """One wake-up that must come: from when, by when, and which subjects' alert answers it."""

    rule: str
    subjects: tuple[str, ...]
    from_ms: int
    by_ms: int
    until_ms: int = 0
    """When the trouble is over."""
    full_ms: int | None = None
    """Of a tank: when it truly runs full."""
    lead_s: float | None = None
    """Of a tank: the lead that the fill allows; None if it allows none."""


def due_of(farm: Farm, story: Story, truth: Truth, losses: Losses) -> tuple[Due, ...]:
    """Every wake-up that is due in a night, in order of time."""
    found = [*_vacuum(farm, story, truth, losses), *_tanks(farm, story, truth), *_old(farm, truth)]
    found += [
        Due("sensor_silent", ("all-sensors",), from_ms, from_ms + TOLD_WITHIN_MS)
        for from_ms, to_ms in _all_silent(story, truth)
        if to_ms - from_ms > ALL_SILENT_MS
    ]
    return tuple(sorted(found, key=lambda due: due.from_ms))


def is_earned(farm: Farm, story: Story, truth: Truth, losses: Losses, told: Told) -> bool:
    """Whether a wake-up was about something true."""
    at_ms = told.at_ms
    match told.rule:
        case "vacuum_lost":
            going_on = [
                o
                for o in truth.occurrences
                if o.kind in TAKES_VACUUM and o.from_ms <= at_ms <= o.to_ms + OVER_MS
            ]
            lost_pa = losses.worst_pa(told.subject, at_ms - OVER_MS, at_ms + LOSS_LASTS_MS)
            if lost_pa is None:
                return any(o.amounts.get("choked_m3_s", LARGE_M3_S) >= LARGE_M3_S for o in going_on)
            return bool(going_on) and lost_pa >= EARNED_LOSS_PA
        case rule if rule in OF_TANKS:
            return OF_TANKS[rule](farm, truth, told.subject, at_ms)
        case "sensor_silent":
            return any(a <= at_ms <= b + OVER_MS for a, b in _all_silent(story, truth))
        case _:
            kind = "pump_stop" if told.rule == "pump_not_running" else told.rule
            return any(o.kind == kind and o.from_ms <= at_ms <= o.to_ms + OVER_MS for o in truth.occurrences)


def _vacuum(farm: Farm, story: Story, truth: Truth, losses: Losses) -> list[Due]:
    troubles = [o for o in truth.occurrences if o.kind in TAKES_VACUUM]
    found = []
    for trouble in troubles:
        # What comes after the next trouble has begun may be that one's.
        next_ms = min((o.from_ms for o in troubles if o.from_ms > trouble.from_ms), default=trouble.to_ms)
        alone = _hit(farm, story, truth, losses, trouble, min(next_ms, trouble.to_ms))
        hit = alone or _hit(farm, story, truth, losses, trouble, trouble.to_ms)
        if hit:
            by_ms = min(min(at_ms for _, at_ms, _ in hit) + LOSS_LASTS_MS, trouble.to_ms) + TOLD_WITHIN_MS
            subjects = tuple(subject for _, _, subject in sorted(hit, reverse=True))
            stop = trouble.kind == "pump_stop"
            rule, subjects = ("pump_not_running", (PUMP,)) if stop else ("vacuum_lost", subjects)
            found.append(Due(rule, subjects, trouble.from_ms, by_ms, until_ms=trouble.to_ms))
    return _merged(found)


def _hit(
    farm: Farm, story: Story, truth: Truth, losses: Losses, trouble: Occurrence, to_ms: int
) -> list[tuple[float, int, str]]:
    """What a trouble took, when, from which line or the pump; where enough was taken for long enough."""
    hit = []
    lines = [s.line for s in farm.sensors_of(Quantity.VACUUM) if s.line and _is_far(farm, s)]
    for subject in dict.fromkeys([PUMP, *lines]):
        sensors = [s for s in farm.sensors_of(Quantity.VACUUM) if s.line == subject]
        taken = [
            loss
            for loss in losses.taken_by(subject, trouble)
            if (loss.pa or 0.0) >= DUE_LOSS_PA
            and loss.at_ms <= to_ms
            and not _blind(story, truth, sensors, loss.at_ms)
        ]
        lasting = next((a for a, b in pairwise(taken) if b.at_ms - a.at_ms <= LOSS_LASTS_MS), None)
        if lasting is not None and sensors:
            hit.append((lasting.pa or 0.0, lasting.at_ms, subject))
    return hit


def _merged(found: list[Due]) -> list[Due]:
    """A second trouble that hits the same line hardest, while its alert stands, is no second wake-up."""
    merged: list[Due] = []
    for due in sorted(found, key=lambda due: due.from_ms):
        hardest = due.rule, due.subjects[0]
        if not any(
            hardest == (before.rule, before.subjects[0]) and due.from_ms <= before.until_ms
            for before in merged
        ):
            merged.append(due)
    return merged


def _is_far(farm: Farm, sensor: Sensor) -> bool:
    if sensor.line is None or sensor.line == PUMP or sensor.at_m is None:
        return True
    return sensor.at_m > 0.8 * farm.line_by_id[sensor.line].length_m


def _blind(story: Story, truth: Truth, sensors: list[Sensor], at_ms: int) -> bool:
    """Whether any of those sensors, of which the worst is judged, tells nothing or nothing true."""
    at_s = (at_ms - truth.start_ms) / 1000.0
    ids = {sensor.id for sensor in sensors}
    for event in story.events:
        if event.at_s <= at_s <= event.until_s + OVER_MS / 1000.0 and (
            (isinstance(event, SensorFault) and event.sensor in ids)
            or (isinstance(event, LinkOutage) and (not event.sensors or ids & set(event.sensors)))
        ):
            return True
    return False


def _all_silent(story: Story, truth: Truth) -> list[tuple[int, int]]:
    return [
        (
            truth.at_ms(event.at_s),
            min(truth.at_ms(event.until_s), truth.end_ms) if event.for_s else truth.end_ms,
        )
        for event in story.events
        if isinstance(event, LinkOutage) and not event.sensors
    ]


def _tanks(farm: Farm, story: Story, truth: Truth) -> list[Due]:
    found: list[Due] = []
    for occurrence in truth.occurrences:
        tank = farm.tank_by_id.get(occurrence.subject)
        if (
            occurrence.kind != "full"
            or tank is None
            or tank.holds is Holds.PERMEATE
            or not (tuning := farm.tuning(TankNearlyFull, tank)).enabled
        ):
            continue
        full_ms = occurrence.from_ms
        sensors = list(farm.sensors_of(Quantity.LEVEL, tank=tank.id))
        if not sensors or any(
            _blind(story, truth, sensors, full_ms - m * MINUTE_MS) for m in range(0, 150, 10)
        ):
            continue
        if any(
            o.kind == "full" and o.subject == tank.id and 0 < full_ms - o.to_ms < AGAIN_MS
            for o in truth.occurrences
        ):
            continue  # it ran over, sank a little and ran over again
        lead_s = min(LEAD_S, tuning.trip_time_to_full_s - 600.0)
        allows = _allows(truth.tanks[tank.id], full_ms, lead_s)
        from_ms = full_ms - round(2 * tuning.trip_time_to_full_s * 1000)
        found.append(
            Due(
                "tank_nearly_full",
                (tank.id,),
                from_ms,
                full_ms,
                full_ms=full_ms,
                lead_s=lead_s if allows else None,
            )
        )
    return found


def _allows(rows: list[TankTruth], full_ms: int, lead_s: float) -> bool:
    alarm_ms = full_ms - round(lead_s * 1000)
    volumes = [volume_at_m3(rows, at_ms) for at_ms in (alarm_ms - STEADY_MS, alarm_ms, full_ms)]
    if rows[0].at_ms > alarm_ms - STEADY_MS or None in volumes:
        return False
    before, then, full = (volume or 0.0 for volume in volumes)
    return (then - before) / STEADY_MS >= ALLOWS_RATIO * (full - then) / (full_ms - alarm_ms)


def _old(farm: Farm, truth: Truth) -> list[Due]:
    found = []
    for tank in farm.tanks:
        old_ms = [
            row.at_ms
            for row in truth.tanks.get(tank.id, [])
            if row.at_ms - truth.start_ms >= OLD_S * 1000
            and (row.oldest_age_s or 0.0) >= OLD_S
            and tank.holds is Holds.SAP
            and row.volume_m3 > 1.2 * tank.heel_m3
        ]
        if len(old_ms) > OLD_WITHIN_MS // LOSS_LASTS_MS and farm.sensors_of(Quantity.LEVEL, tank=tank.id):
            found.append(Due("sap_held_too_long", (tank.id,), old_ms[0], old_ms[0] + OLD_WITHIN_MS))
    return found
