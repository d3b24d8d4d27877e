"""One night through the collector's own functions, on virtual time: what it tells, and what it believes.

    message -> take_in -> on_request, on_reading -> on_clock   as the daemon's turn does, without broker or store

The clock on the wall is the time of arrival. It is looked at once a minute and after each urgent change; the
daemon looks every second, which finds the same, up to a minute sooner. Questions asked on the way go past the
picture's own remembered answers, so that asking changes nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Protocol

from collector.evaluator import Changes, Plan, Watch, new_watch, plan_for
from collector.intake import Memory, take_in
from collector.people import on_request
from collector.topics import router_of
from collector.watch import on_clock, on_reading, on_reject, on_start
from shared.alerts import Alert, Priority, Transition
from shared.estimates import tank_book
from shared.estimates.leaks import locate
from shared.estimates.picture import air_c, vacuum_view
from shared.estimates.suspects import Suspect
from shared.estimates.tank_flow import FillTime
from shared.farm import Farm
from shared.readings import Quantity
from shared.store import Text

CLOCK_MS = 60_000
PLACE_AFTER_MS = 5 * 60_000
"""Where the leak is, is asked so long after the wake-up: when its owner has boots on."""
FORECAST_EVERY_MS = 30 * 60_000


class Message(Protocol):
    """One message as a stream or the simulator gives it."""

    @property
    def topic(self) -> str:
        """MQTT topic."""


@dataclass(frozen=True, slots=True)
class Told:
    """The first text of an alert's episode, or of its growing worse."""

    rule: str
    subject: str
    priority: Priority
    at_ms: int
    """By the clock on the wall."""
    body: str


@dataclass(frozen=True, slots=True)
class Places:
    """Where a leak was believed to be, the likeliest first, some minutes after that line's wake-up."""

    line: str
    woken_ms: int
    suspects: tuple[Suspect, ...]


@dataclass(frozen=True, slots=True)
class Forecast:
    """When a tank was believed to be full."""

    tank: str
    asked_ms: int
    fill: FillTime


@dataclass(slots=True)
class Heard:
    """All that came of a night."""

    told: list[Told] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    transitions: list[Transition] = field(default_factory=list)
    places: list[Places] = field(default_factory=list)
    forecasts: list[Forecast] = field(default_factory=list)
    message_count: int = 0
    reading_count: int = 0
    rejects: list[str] = field(default_factory=list)


def listen(farm: Farm, messages: Iterable[tuple[int, str, bytes]]) -> Heard:
    """What the collector makes of messages (time of arrival, topic, payload), in order of arrival."""
    plan, router, memory = plan_for(farm), router_of(farm), Memory()
    watch, heard = new_watch(plan), Heard()
    # The store knows what it has; so does this.
    seen: dict[str, set[int]] = {sensor.id: set() for sensor in farm.sensors}
    asked = _Asked()
    next_clock_ms = 0
    for at_ms, topic, payload in messages:
        if heard.message_count == 0:
            on_start(watch, at_ms)
            next_clock_ms = asked.next_forecast_ms = at_ms
        heard.message_count += 1
        while next_clock_ms <= at_ms:
            _look_at_clock(watch, plan, next_clock_ms, Changes(), heard, asked)
            next_clock_ms += CLOCK_MS
        intake = take_in(router, memory, topic, payload, at_ms)
        heard.rejects.extend(reject.reason for reject in intake.rejects)
        changes = Changes()
        for reading in intake.readings:
            if reading.measured_ms not in seen[reading.sensor]:
                seen[reading.sensor].add(reading.measured_ms)
                heard.reading_count += 1
                on_reading(watch, plan, reading, changes)
        for reject in intake.rejects:
            on_reject(watch, plan, reject)
        for request in intake.requests:
            on_request(watch, plan, request, changes)
        if changes.is_urgent:
            _look_at_clock(watch, plan, at_ms, changes, heard, asked)
    return heard


@dataclass(slots=True)
class _Asked:
    """What is still to be asked."""

    next_forecast_ms: int = 0
    places: list[tuple[str, int]] = field(default_factory=list)
    told: set[tuple[str, int, Priority]] = field(default_factory=set)
    """What is no news any more: alert, episode, priority."""


def _look_at_clock(
    watch: Watch, plan: Plan, now_ms: int, changes: Changes, heard: Heard, asked: _Asked
) -> None:
    on_clock(watch, plan, now_ms, changes)
    heard.transitions.extend(changes.transitions)
    heard.texts.extend(changes.texts)
    for text in changes.texts:
        owner = plan.farm.contacts[0]
        if (text.contact, text.channel) != (owner.id, owner.channels[0].id):
            continue
        for alert in _told_of(watch, text):
            once = (alert.key, alert.episode, alert.priority)
            if watch.alerting.told[alert.key].asked_ms != now_ms or once in asked.told:
                continue
            asked.told.add(once)
            heard.told.append(Told(alert.rule, alert.subject, alert.priority, now_ms, text.body))
            if alert.rule == "vacuum_lost" and alert.priority is Priority.WAKE:
                asked.places.append((alert.subject, now_ms))
    while asked.places and asked.places[0][1] + PLACE_AFTER_MS <= now_ms:
        line, woken_ms = asked.places.pop(0)
        heard.places.append(Places(line, woken_ms, _suspects(watch, plan.farm, now_ms)))
    if now_ms >= asked.next_forecast_ms:
        asked.next_forecast_ms += FORECAST_EVERY_MS
        heard.forecasts.extend(_forecasts(watch, plan.farm, now_ms))


def _told_of(watch: Watch, text: Text) -> list[Alert]:
    """The alerts that a text tells of; none where it is the night brief."""
    known = watch.alerting.alerts
    return [known[key] for key in (text.key, *text.also) if key in known]


def _suspects(watch: Watch, farm: Farm, now_ms: int) -> tuple[Suspect, ...]:
    drops = {s.id: vacuum_view(watch.picture, s.id, now_ms) for s in farm.sensors_of(Quantity.VACUUM)}
    found = locate(farm, drops, air_c(watch.picture, farm), now_ms)
    return found if isinstance(found, tuple) else ()


def _forecasts(watch: Watch, farm: Farm, now_ms: int) -> list[Forecast]:
    found = []
    for tank in farm.tanks:
        fill = tank_book.fill_time(watch.picture.tanks, tank.id, now_ms)
        if isinstance(fill, FillTime):
            found.append(Forecast(tank.id, now_ms, fill))
    return found
