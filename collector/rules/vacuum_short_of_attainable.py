"""The pump stays far below the vacuum that the air allows, with nothing lost against its usual.

Judged against the barometer (or the standard air of the farm's elevation), so a low on the weather map is none. It
needs no usual, so it speaks in a season's first hours. What `vacuum_lost` or `vacuum_slowly_falling` tell of the
pump explains it.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture, vacuum_view
from shared.estimates.shares import Decline, Share
from shared.estimates.vacuum import VacuumDrop
from shared.estimates.woods_views import decline_view, share_view
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity
from shared.tuning.vacuum import VacuumLost, VacuumShortOfAttainable, VacuumSlowlyFalling
from shared.words import inches_of_mercury

ID = "vacuum_short_of_attainable"
ADVICE = "Belt, oil, relief valve, moisture trap, gauge; lock out power first."


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """The pump, where it has a gauge."""
    sensors = _gauges(farm)
    return (Subject(PUMP, tuple(sensor.id for sensor in sensors)),) if sensors else ()


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about the pump, by its gauge that shows most: one that shows less is the gauge's trouble."""
    shares = [(sensor, share_view(picture, farm, sensor.id, now_ms)) for sensor in _gauges(farm)]
    known = [(sensor, share) for sensor, share in shares if isinstance(share, Share)]
    if not known:
        sensor, unknown = shares[0]
        reason = "" if isinstance(unknown, Share) else unknown.reason
        tuning = farm.tuning(VacuumShortOfAttainable, sensor)
        sentence = f"The pump's vacuum is not known ({reason})."
        return found(tuning, subject, now_ms, Verdict.UNKNOWN, sentence, priority=Priority.TELL)
    sensor, share = max(known, key=lambda each: each[1].share_ratio)
    tuning = farm.tuning(VacuumShortOfAttainable, sensor)
    percent = round(100 * share.share_ratio)
    allows = f"of the {inches_of_mercury(share.attainable_pa)} that the air allows"
    sentence = f"The pump holds {inches_of_mercury(share.vacuum_pa)}, {percent} % {allows}."
    verdict = Verdict.BETWEEN
    if share.is_open and share.share_ratio >= tuning.clear_share_fraction:
        verdict = Verdict.NORMAL
    elif share.is_open and share.share_ratio < tuning.trip_share_fraction:
        verdict = Verdict.ACTIVE
    explained_by = _explained_by(farm, picture, sensor, now_ms) if verdict is Verdict.ACTIVE else ""
    return found(
        tuning,
        subject,
        now_ms,
        verdict,
        sentence,
        ADVICE if verdict is Verdict.ACTIVE else "",
        priority=Priority.TELL,
        explained_by=explained_by,
    )


def _explained_by(farm: Farm, picture: Picture, sensor: Sensor, now_ms: int) -> str:
    drop, lost = vacuum_view(picture, sensor.id, now_ms), farm.tuning(VacuumLost, sensor)
    if lost.enabled and isinstance(drop, VacuumDrop) and drop.drop_pa >= lost.trip_drop_pa:
        return "the vacuum lost"
    decline, slow = decline_view(picture, sensor.id, now_ms), farm.tuning(VacuumSlowlyFalling, sensor)
    if slow.enabled and isinstance(decline, Decline) and decline.drop_pa >= slow.trip_drop_pa:
        return "the slow fall of the pump's vacuum"
    return ""


def _gauges(farm: Farm) -> tuple[Sensor, ...]:
    gauges = (sensor for sensor in farm.sensors_of(Quantity.VACUUM) if sensor.line == PUMP)
    return tuple(s for s in gauges if farm.tuning(VacuumShortOfAttainable, s).enabled)


RULE = Rule(ID, subjects, judge)
