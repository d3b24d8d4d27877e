"""The local horn: sounds on the farm when no text about a wake-up was taken, by a retained MQTT message.

    alerts and what was told of them -> wanted? -> on or off, at each change, at the start and each minute

Retained and said again, so that neither a restart here nor one of the broker or the siren leaves it sounding for
nothing, or silent when it should sound. Publishing waits for nobody: what the link does not take is said at the next
look.
"""

from collections.abc import Callable, Mapping
from typing import Protocol

from collector.alerting.book import Told
from shared.alerts import Alert, AlertState, Priority
from shared.farm import Farm
from shared.farm_contacts import Horn

AGAIN_S = 60.0
NOTHING_TOLD = Told()


class Publish(Protocol):
    """Publishes at QoS 1 and returns at once; False where there is no link."""

    def __call__(self, topic: str, payload: bytes, *, retain: bool) -> bool:
        """Publish one message."""


def horn_wanted(alerts: Mapping[str, Alert], told: Mapping[str, Told], horn: Horn, now_ms: int) -> bool:
    """Whether some wake-up asks that no channel has taken in time, or that nobody has answered in time."""
    return any(_calls(alert, told.get(key, NOTHING_TOLD), horn, now_ms) for key, alert in alerts.items())


def _calls(alert: Alert, told: Told, horn: Horn, now_ms: int) -> bool:
    asks = alert.state is AlertState.ACTIVE and alert.priority is Priority.WAKE
    if not asks or alert.explained_by or alert.is_shelved(now_ms):
        return False
    # Where there is nobody to tell, it asks from the moment it was raised.
    asked_ms = told.asked_ms or alert.raised_ms or now_ms
    unheard = told.confirmed_ms < asked_ms and now_ms - asked_ms >= horn.after_s * 1000
    unanswered = horn.unanswered_s is not None and now_ms - asked_ms >= horn.unanswered_s * 1000
    return unheard or unanswered


class HornSwitch:
    """Says on or off to the farm's horn; nothing where it has none."""

    def __init__(self, farm: Farm, publish: Publish, monotonic: Callable[[], float]) -> None:
        self._horn = farm.horn
        self._topic = "" if farm.horn is None else farm.horn.topic_on(farm.id)
        self._publish = publish
        self._monotonic = monotonic
        self._said: bool | None = None
        self._again_s = 0.0

    def look(self, alerts: Mapping[str, Alert], told: Mapping[str, Told], now_ms: int) -> None:
        """Say what is wanted now, where it has changed or was last said too long ago."""
        if self._horn is None:
            return
        wanted = horn_wanted(alerts, told, self._horn, now_ms)
        now_s = self._monotonic()
        if wanted is self._said and now_s < self._again_s:
            return
        payload = self._horn.on if wanted else self._horn.off
        if self._publish(self._topic, payload.encode(), retain=True):
            self._said, self._again_s = wanted, now_s + AGAIN_S
