"""The night brief: all that bears on whether its owner may sleep, asked of the picture at one time.

Tanks, latest starts, frost, what asks, what is not watched, and whether texts were seen to go out. Its words are
in brief_words.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from enum import StrEnum

from shared.alerts import RANK, Alert, AlertState, Priority
from shared.estimates.deadlines import Plan, Starts, TooLate, plan
from shared.estimates.frost import Frost
from shared.estimates.house_tonight import hold_limit_s, is_emptied, sugarhouse_tonight
from shared.estimates.picture import Picture, TankView, fire_view, frost_view, tank_view, vacuum_view
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime
from shared.farm import Farm
from shared.farm_parts import Holds, Tank
from shared.readings import Quantity, Unknown
from shared.tuning.sensors import SensorSilent
from shared.tuning.tanks import PermeateTank, SapHeldTooLong, TankNearlyFull
from shared.tuning.vacuum import VacuumLost
from shared.units import DAY_S, HOUR_S

HORIZON_S = DAY_S
"""Sap that is there now reaches the usual limit within it; the next day's run is not foreseen anyway."""
MORNING = time(8)
LEAST_NIGHT_S = 3 * HOUR_S
"""The brief speaks up to the next morning at eight that is so far away (our choice)."""
NOTHING_HEARD_S = 600.0
"""As the rule sensor_silent says it of all sensors together."""
PROVEN_LASTS_S = 12 * HOUR_S
"""After midnight the evening's proof still counts."""


class Job(StrEnum):
    """What somebody would have to do."""

    RO = "ro"
    BOIL = "boil"
    TRANSFER = "transfer"
    ROOM = "room"
    OLD = "old sap"


@dataclass(frozen=True, slots=True)
class Need:
    """A job, the tank it is for (empty: all of them), and when it must begin or the phone would ring for it."""

    job: Job
    tank: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class Gap:
    """What is not watched, why, and since when or until when if that is known."""

    name: str
    why: str
    at_ms: int | None = None


@dataclass(frozen=True, slots=True)
class NightBrief:
    """All of it; times in ms since 1970 UTC."""

    farm: Farm
    now_ms: int
    morning_ms: int
    heard_ms: int | None
    """When any sensor was heard last."""
    tanks: tuple[TankView, ...]
    plan: Plan | Unknown | None
    """None where the farm file names no evaporator, or no tank of sap."""
    hold_limit_s: float
    frost: Frost | Unknown
    needs: tuple[Need, ...]
    """The earliest first."""
    gaps: tuple[Gap, ...]
    asking: tuple[Alert, ...]
    """Active alerts that nobody has acknowledged and nobody paused, the gravest first."""
    taken: tuple[Alert, ...]
    """Active alerts that somebody has acknowledged."""
    running: tuple[Job, ...]
    """Machines that run now: the RO, as the tank it takes from falls, and the boil, as its fire is lit."""
    proven_ms: int | None
    """When a channel took a text today; None if none did."""

    @property
    def is_blind(self) -> bool:
        """Whether nothing at all is heard."""
        return self.heard_ms is None or self.now_ms - self.heard_ms > NOTHING_HEARD_S * 1000

    @property
    def too_late(self) -> TooLate | None:
        """What starting everything now cannot prevent, at the middle of the inflow."""
        if isinstance(self.plan, Plan) and isinstance(self.plan.at_middle_inflow, TooLate):
            return self.plan.at_middle_inflow
        return None


def night_brief(
    farm: Farm, picture: Picture, alerts: Iterable[Alert], now_ms: int, proven_ms: int | None
) -> NightBrief:
    """The brief at that time; `proven_ms`: when a channel last took a text, or a drill was answered."""
    views = tuple(tank_view(picture, farm, tank.id, now_ms) for tank in farm.tanks)
    found = frost_view(picture, farm, now_ms)
    house = sugarhouse_tonight(picture, farm, found, now_ms)
    planned = house if house is None or isinstance(house, Unknown) else plan(house, HORIZON_S)
    alerts = sorted(alerts, key=lambda alert: (-RANK[alert.priority], -(alert.raised_ms or 0)))
    told = [
        a for a in alerts if a.priority is not Priority.NOTE and not (a.is_shelved(now_ms) or a.explained_by)
    ]
    return NightBrief(
        farm,
        now_ms,
        _morning_ms(farm, now_ms),
        _heard_ms(farm, picture, now_ms),
        views,
        planned,
        hold_limit_s(farm),
        found,
        _needs(farm, views, planned, now_ms),
        (*_gaps(farm, picture, views, planned, now_ms), *_paused(alerts, now_ms)),
        tuple(a for a in told if a.state is AlertState.ACTIVE),
        tuple(a for a in told if a.state is AlertState.ACKNOWLEDGED),
        tuple(_running(farm, picture, views, now_ms)),
        _proven_today_ms(farm, proven_ms, now_ms),
    )


def _running(farm: Farm, picture: Picture, views: tuple[TankView, ...], now_ms: int) -> Iterator[Job]:
    taken_from = () if farm.ro is None else farm.ro.takes_from
    if any(view.tank_id in taken_from and is_emptied(view.flow) for view in views):
        yield Job.RO
    burning = fire_view(picture, farm, now_ms)
    if not isinstance(burning, Unknown) and burning.is_lit:
        yield Job.BOIL


def _heard_ms(farm: Farm, picture: Picture, now_ms: int) -> int | None:
    last_ms = max(picture.heard_ms.values(), default=None)
    # Where the farm file says that silence means nothing, to have been heard once is to be heard.
    return last_ms if last_ms is None or farm.tuning(SensorSilent).enabled else now_ms


def _morning_ms(farm: Farm, now_ms: int) -> int:
    earliest = datetime.fromtimestamp(now_ms / 1000 + LEAST_NIGHT_S, UTC).astimezone(farm.zone)
    day = earliest.date() + timedelta(days=earliest.time() > MORNING)
    return round(datetime.combine(day, MORNING, farm.zone).timestamp() * 1000)


def _proven_today_ms(farm: Farm, proven_ms: int | None, now_ms: int) -> int | None:
    if proven_ms is None or proven_ms > now_ms:
        return None
    proven, now = (datetime.fromtimestamp(ms / 1000, farm.zone) for ms in (proven_ms, now_ms))
    is_today = proven.date() == now.date() or now_ms - proven_ms < PROVEN_LASTS_S * 1000
    return proven_ms if is_today else None


def _needs(
    farm: Farm, views: tuple[TankView, ...], planned: Plan | Unknown | None, now_ms: int
) -> tuple[Need, ...]:
    found: dict[tuple[Job, str], Need] = {}
    for need in (*_planned(farm, planned, now_ms), *_filling(farm, views, now_ms)):
        # Of the machines there is one each, whatever tank it is for.
        key = (need.job, "" if need.job in (Job.RO, Job.BOIL) else need.tank)
        if key not in found or need.at_ms < found[key].at_ms:
            found[key] = need
    if not isinstance(planned, Plan):
        for need in _aging(farm, views, now_ms):
            found[need.job, need.tank] = need
    return tuple(sorted(found.values(), key=lambda need: need.at_ms))


def _planned(farm: Farm, planned: Plan | Unknown | None, now_ms: int) -> Iterator[Need]:
    """The latest starts if the run is as strong as it may well be: then none is named too late."""
    if not isinstance(planned, Plan):
        return
    strong = planned.at_high_inflow
    if isinstance(strong, TooLate):
        if farm.ro is not None:
            yield Need(Job.RO, "", now_ms)
        yield Need(Job.BOIL, "", now_ms)
        return
    assert isinstance(strong, Starts)
    for job, start in ((Job.RO, strong.ro), (Job.BOIL, strong.boil)):
        if start is not None:
            yield Need(job, start.tank, now_ms + round(start.start_s * 1000))


def _filling(farm: Farm, views: tuple[TankView, ...], now_ms: int) -> Iterator[Need]:
    """When the phone would ring for a tank, or it may be full, whichever comes first."""
    for tank, view in zip(farm.tanks, views, strict=True):
        tuning, left = filling_rule(farm, tank), view.time_to_full
        if tuning is None or view.volume_m3 is None or not isinstance(left, FillTime):
            continue
        ahead_s = max(0.0, min(left.low_s, left.middle_s - tuning.trip_time_to_full_s))
        if ahead_s < HORIZON_S:
            yield Need(_job(farm, tank), tank.id, now_ms + round(ahead_s * 1000))


def filling_rule(farm: Farm, tank: Tank) -> TankNearlyFull | PermeateTank | None:
    """How the rule about this tank's filling is tuned; None where it may fill and run over."""
    if tank.holds is Holds.PERMEATE:
        permeate = farm.tuning(PermeateTank, tank)
        return permeate if permeate.enabled and not permeate.may_run_over else None
    tuning = farm.tuning(TankNearlyFull, tank)
    return tuning if tuning.enabled else None


def _job(farm: Farm, tank: Tank) -> Job:
    if tank.drains_to is not None:
        return Job.TRANSFER
    if farm.ro is not None and tank.id in farm.ro.takes_from:
        return Job.RO
    if farm.evaporator is not None and farm.evaporator.takes_from == tank.id:
        return Job.BOIL
    return Job.ROOM


def _aging(farm: Farm, views: tuple[TankView, ...], now_ms: int) -> Iterator[Need]:
    """Where no plan says it: when the oldest sap of a tank would wake somebody."""
    for tank, view in zip(farm.tanks, views, strict=True):
        tuning = farm.tuning(SapHeldTooLong, tank)
        if tank.holds is not Holds.PERMEATE and tuning.enabled and isinstance(view.age, SapAge):
            ahead_s = max(0.0, tuning.wake_age_s - view.age.oldest_s)
            if ahead_s < HORIZON_S:
                yield Need(Job.OLD, tank.id, now_ms + round(ahead_s * 1000))


def _gaps(
    farm: Farm,
    picture: Picture,
    views: tuple[TankView, ...],
    planned: Plan | Unknown | None,
    now_ms: int,
) -> Iterator[Gap]:
    silent = dict(_silent(farm, picture, now_ms))
    for sensor_id, at_ms in silent.items():
        yield Gap(sensor_id, "never heard" if at_ms is None else "silent", at_ms)
    blind = False
    for tank, view in zip(farm.tanks, views, strict=True):
        levels = farm.sensors_of(Quantity.LEVEL, tank=tank.id)
        watched = filling_rule(farm, tank) is not None
        if not levels and (watched or tank.holds is not Holds.PERMEATE):
            blind = True
            yield Gap(tank.id, "no level sensor")
        elif any(sensor.id in silent for sensor in levels):
            blind = True
        elif watched and isinstance(view.time_to_full, Unknown):
            blind = True
            yield Gap(tank.id, view.time_to_full.reason)
    if isinstance(planned, Unknown) and not blind:
        yield Gap("latest starts", planned.reason)
    for sensor in farm.sensors_of(Quantity.VACUUM):
        if sensor.id not in silent and farm.tuning(VacuumLost, sensor).enabled:
            found = vacuum_view(picture, sensor.id, now_ms)
            if isinstance(found, Unknown):
                yield Gap(sensor.id, found.reason)


def _silent(farm: Farm, picture: Picture, now_ms: int) -> Iterator[tuple[str, int | None]]:
    """Sensors that do not speak, and when they last did; one whose silence means nothing must have spoken once."""
    for sensor in farm.sensors:
        if sensor.id not in picture.latest:
            yield sensor.id, None
            continue
        tuning = farm.tuning(SensorSilent, sensor)
        last_ms = min(picture.latest[sensor.id][0], picture.heard_ms[sensor.id])
        patience_s = max(tuning.least_s, tuning.missed_count * sensor.interval_s)
        if tuning.enabled and now_ms - last_ms > patience_s * 1000:
            yield sensor.id, last_ms


def _paused(alerts: Iterable[Alert], now_ms: int) -> Iterator[Gap]:
    for alert in alerts:
        if alert.is_shelved(now_ms):
            why = f"paused ({alert.shelved_reason})" if alert.shelved_reason else "paused"
            yield Gap(f"{alert.subject} ({alert.rule.replace('_', ' ')})", why, alert.shelved_until_ms)
