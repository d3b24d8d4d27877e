"""Which topic is whose, and what to subscribe to; pure."""

from dataclasses import dataclass

from shared.errors import InvalidArgument
from shared.farm import Farm
from shared.farm_parts import Sensor


@dataclass(frozen=True, slots=True)
class Router:
    """Which topic is whose."""

    farm: Farm
    sensors_by_topic: dict[str, tuple[Sensor, ...]]
    root: str

    @property
    def canary_topic(self) -> str:
        """Where the collector proves its own path."""
        return f"{self.root}/canary"

    @property
    def request_topic(self) -> str:
        """Where dashboard and command line ask for things."""
        return f"{self.root}/request"

    @property
    def own_status_topic(self) -> str:
        """Where the collector says that it is there."""
        return f"{self.root}/collector/status"

    @property
    def filters(self) -> tuple[str, ...]:
        """What to subscribe to; no two overlap, or the broker might deliver a message twice."""
        statuses = f"{self.root}/+/status"
        topics = [topic for topic in self.sensors_by_topic if self.device_of(topic) is None]
        return (self.canary_topic, self.request_topic, statuses, *sorted(topics))

    def device_of(self, topic: str) -> str | None:
        """The device whose status topic this is."""
        start, end = f"{self.root}/", "/status"
        if not (topic.startswith(start) and topic.endswith(end) and len(topic) > len(start) + len(end)):
            return None
        device = topic[len(start) : -len(end)]
        return None if "/" in device else device


def router_of(farm: Farm) -> Router:
    """The router of a farm.

    Raises:
        InvalidArgument: a sensor's topic cannot be one, or is one of Lantern's own.
    """
    by_topic: dict[str, tuple[Sensor, ...]] = {}
    for sensor in farm.sensors:
        topic = farm.topic_of(sensor)
        if not topic or any(mark in topic for mark in "+#\0"):
            raise InvalidArgument(f"sensor {sensor.id}: topic", topic, "one topic, without + or #")
        by_topic[topic] = (*by_topic.get(topic, ()), sensor)
    router = Router(farm, by_topic, f"lantern/{farm.id}")
    horn = () if farm.horn is None else (farm.horn.topic_on(farm.id),)
    for own in (router.canary_topic, router.request_topic, router.own_status_topic, *horn):
        if own in by_topic:
            raise InvalidArgument(
                f"sensor {by_topic[own][0].id}: topic", own, "another: this one is Lantern's own"
            )
    return router
