"""A sensor has not been heard for several of its intervals: what it watches is not watched.

Judged by arrival, because a late reading is not silence; and never from before listening began, because a
collector that has just been started has not listened yet. What many have in common is told once, and explains
each of them:

- nothing at all is heard: broker, power or machine. It wakes.
- all that speak through one gateway fell silent: the gateway. It tells; it wakes only where no vacuum and no level
  is heard any more though others are, because then nothing is left that would wake its owner.
- what a sensor says is refused: another rule tells why.
"""

from collector.rules.rule import Rule, Subject, found
from shared.alerts import Finding, Priority, Verdict
from shared.estimates.picture import Picture
from shared.estimates.sensor_health import WRONG_CLOCK, SensorHealth
from shared.estimates.silence import silent_from_ms
from shared.farm import Farm
from shared.farm_parts import Sensor
from shared.readings import Quantity
from shared.tuning.sensors import SensorClockWrong, SensorOutOfRange, SensorSilent
from shared.words import capitalised, clock_time, duration

ID = "sensor_silent"
ALL = "all-sensors"
ALL_SILENT_S = 600.0
"""Nothing from anywhere for so long is the broker, the gateway or the power (common practice, no source)."""
LEAST_AT_GATEWAY_COUNT = 2
"""One silent sensor says nothing of its gateway."""

TOGETHER_MS = 120_000
"""Sensors that speak each minute fall silent, and are missed, within this of each other."""
EYES = (Quantity.VACUUM, Quantity.LEVEL)
"""What wakes rests on these."""
AT_ONCE = SensorSilent(raise_hold_s=0.0, clear_hold_s=0.0)
ADVICE = "What it watches is not watched. Look at its battery, radio and wire."


def subjects(farm: Farm) -> tuple[Subject, ...]:
    """All sensors together, every gateway of two or more, and every sensor."""
    watched = tuple(s.id for s in farm.sensors if farm.tuning(SensorSilent, s).enabled)
    if not watched:
        return ()
    gateways = [
        Subject(gateway, tuple(sensor.id for sensor in sensors))
        for gateway in farm.sensors_by_gateway
        if len(sensors := _watched_at(farm, gateway)) >= LEAST_AT_GATEWAY_COUNT
    ]
    return (Subject(ALL, watched), *gateways, *(Subject(sensor, (sensor,)) for sensor in watched))


def judge(farm: Farm, picture: Picture, subject: str, now_ms: int) -> Finding:
    """What is found about one sensor, one gateway, or all."""
    if subject == ALL:
        return _judge_all(farm, picture, now_ms)
    if subject in farm.sensors_by_gateway:
        return _judge_gateway(farm, picture, subject, now_ms)
    sensor, name = farm.sensor_by_id[subject], capitalised(subject)
    tuning = farm.tuning(SensorSilent, sensor)
    if not _is_silent(farm, picture, sensor, now_ms):
        return found(
            tuning, subject, now_ms, Verdict.NORMAL, f"{name} is heard again.", priority=Priority.TELL
        )
    sentence = f"{name} has been silent for {duration((now_ms - _heard_ms(picture, sensor)) / 1000)}."
    because = _explained_by(farm, picture, sensor, now_ms)
    undecided = not because and _gateway_may_be_silent(farm, picture, sensor, now_ms)
    with_all = _all_may_be_silent(picture, _heard_ms(picture, sensor), now_ms)
    verdict = Verdict.BETWEEN if undecided or with_all else Verdict.ACTIVE
    return found(
        tuning, subject, now_ms, verdict, sentence, ADVICE, priority=Priority.TELL, explained_by=because
    )


def _judge_all(farm: Farm, picture: Picture, now_ms: int) -> Finding:
    verdict, sentence = Verdict.NORMAL, "Sensors are heard."
    if _all_are_silent(picture, now_ms):
        since = clock_time(_newest_ms(picture), farm.zone, now_ms)
        verdict, sentence = Verdict.ACTIVE, f"No sensor has been heard since {since}."
    advice = "The farm is not watched. Look at power, broker and gateway."
    return found(AT_ONCE, ALL, now_ms, verdict, sentence, advice, priority=Priority.WAKE)


def _judge_gateway(farm: Farm, picture: Picture, gateway: str, now_ms: int) -> Finding:
    tuning, name = farm.tuning(SensorSilent), capitalised(gateway)
    if not _gateway_is_silent(farm, picture, gateway, now_ms):
        return found(
            tuning, gateway, now_ms, Verdict.NORMAL, f"{name} is heard again.", priority=Priority.TELL
        )
    silent = _watched_at(farm, gateway)
    heard_ms = max(_heard_ms(picture, sensor) for sensor in silent)
    since = clock_time(heard_ms, farm.zone, now_ms)
    sentence = f"{name} is silent since {since}, and with it {len(silent)} sensors."
    blind = _leaves_blind(farm, picture, silent, now_ms)
    advice = "Look at its power, radio and network."
    if blind:
        advice = f"No vacuum and no tank is watched. {advice}"
    with_all = _all_may_be_silent(picture, heard_ms, now_ms)
    verdict = Verdict.BETWEEN if with_all else Verdict.ACTIVE
    priority = Priority.WAKE if blind else Priority.TELL
    return found(tuning, gateway, now_ms, verdict, sentence, advice, priority=priority)


def _leaves_blind(farm: Farm, picture: Picture, silent: tuple[Sensor, ...], now_ms: int) -> bool:
    heard = [s for s in farm.sensors if s not in silent and not _is_silent(farm, picture, s, now_ms)]
    lost = any(sensor.quantity in EYES for sensor in silent)
    return bool(heard) and lost and not any(sensor.quantity in EYES for sensor in heard)


def _explained_by(farm: Farm, picture: Picture, sensor: Sensor, now_ms: int) -> str:
    if sensor.gateway is not None and _gateway_is_silent(farm, picture, sensor.gateway, now_ms):
        return f"gateway {sensor.gateway} is silent"
    health = picture.health.get(sensor.id, SensorHealth())
    rule = SensorClockWrong if health.refused_kind in WRONG_CLOCK else SensorOutOfRange
    if now_ms - health.refused_ms <= _limit_ms(farm, sensor) and farm.tuning(rule, sensor).enabled:
        return "what it says is refused"
    return ""


def _gateway_is_silent(farm: Farm, picture: Picture, gateway: str, now_ms: int) -> bool:
    """Whether those that spoke through it until its last word fell silent together, and nobody has spoken since.

    A sensor that was silent long before is its own trouble. Slow ones that are not due yet are taken to be silent
    with the others, once two are.
    """
    words_ms = {s.id: _word_ms(picture, s) for s in farm.sensors_by_gateway[gateway]}
    last_ms = max(words_ms.values())
    silent = [
        sensor
        for sensor in _watched_at(farm, gateway)
        if last_ms - words_ms[sensor.id] <= _limit_ms(farm, sensor) < now_ms - words_ms[sensor.id]
    ]
    if len(silent) < LEAST_AT_GATEWAY_COUNT:
        return False
    fell_ms = max(words_ms[sensor.id] for sensor in silent)
    return last_ms - fell_ms <= 1000 * min(sensor.interval_s for sensor in silent)


def _gateway_may_be_silent(farm: Farm, picture: Picture, sensor: Sensor, now_ms: int) -> bool:
    """Whether the first of a gateway's sensors to be missed waits for the second, as none has spoken since."""
    if sensor.gateway is None or len(_watched_at(farm, sensor.gateway)) < LEAST_AT_GATEWAY_COUNT:
        return False
    last_ms = max(_word_ms(picture, each) for each in farm.sensors_by_gateway[sensor.gateway])
    word_ms = _word_ms(picture, sensor)
    is_new = now_ms - word_ms <= _limit_ms(farm, sensor) + TOGETHER_MS
    return is_new and last_ms - word_ms <= 1000 * sensor.interval_s


def _watched_at(farm: Farm, gateway: str) -> tuple[Sensor, ...]:
    return tuple(s for s in farm.sensors_by_gateway[gateway] if farm.tuning(SensorSilent, s).enabled)


def _is_silent(farm: Farm, picture: Picture, sensor: Sensor, now_ms: int) -> bool:
    limit_ms = _limit_ms(farm, sensor)
    return now_ms - silent_from_ms(picture.pauses, sensor, _heard_ms(picture, sensor), limit_ms) > limit_ms


def _limit_ms(farm: Farm, sensor: Sensor) -> float:
    tuning = farm.tuning(SensorSilent, sensor)
    return max(tuning.least_s, tuning.missed_count * sensor.interval_s) * 1000


def _heard_ms(picture: Picture, sensor: Sensor) -> int:
    return max(picture.listening_ms, picture.heard_ms.get(sensor.id, 0))


def _word_ms(picture: Picture, sensor: Sensor) -> int:
    """When anything of it last arrived, refused or not."""
    return max(_heard_ms(picture, sensor), picture.health.get(sensor.id, SensorHealth()).refused_ms)


def _newest_ms(picture: Picture) -> int:
    return max([picture.listening_ms, *picture.heard_ms.values()])


def _all_may_be_silent(picture: Picture, heard_ms: int, now_ms: int) -> bool:
    """Whether nobody on the farm has spoken since: then one alert for all says so soon, and wakes."""
    return _all_are_silent(picture, now_ms) or _newest_ms(picture) - heard_ms <= TOGETHER_MS


def _all_are_silent(picture: Picture, now_ms: int) -> bool:
    newest_ms = _newest_ms(picture)
    return newest_ms > 0 and now_ms - newest_ms > ALL_SILENT_S * 1000


RULE = Rule(ID, subjects, judge, by_arrival=True)
