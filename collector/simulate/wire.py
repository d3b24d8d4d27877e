"""What the link does to messages on their way: latency, duplicates, late ones, outages with their backlog."""

from dataclasses import dataclass
from heapq import heappop, heappush
from operator import itemgetter
from random import Random
from typing import NamedTuple

from collector.simulate.moment import every
from collector.simulate.payloads import Template, iso, template_of
from collector.simulate.sensors import Probe
from collector.simulate.story import Story
from collector.simulate.story_events import LinkOutage
from shared.farm import Farm

DUPLICATE_AFTER_S = (0.2, 20.0)
"""How long a message is in coming a second time (common practice, no source)."""


class Message(NamedTuple):
    """One MQTT message at the time it reaches the broker."""

    t_ms: int
    """Since 1970 UTC."""
    topic: str
    payload: str
    qos: int
    retain: bool


@dataclass(slots=True)
class Voice:
    """One topic: the probes that speak on it and how."""

    topic: str
    probes: tuple[Probe, ...]
    template: Template
    interval_s: float
    next_s: float
    outages: tuple[LinkOutage, ...]


def voices(farm: Farm, story: Story, probes: dict[str, Probe], rng: Random) -> list[Voice]:
    """Every topic of the farm, each with its own moment within its interval."""
    by_topic: dict[str, tuple[Probe, ...]] = {}
    for sensor in farm.sensors:
        topic = farm.topic_of(sensor)
        by_topic[topic] = (*by_topic.get(topic, ()), probes[sensor.id])
    outages = every(LinkOutage, story.events)
    made = []
    for topic, group in by_topic.items():
        interval_s = story.interval_factor * min(p.sensor.interval_s for p in group)
        ids = {p.sensor.id for p in group}
        cut_off = tuple(o for o in outages if not o.sensors or ids & set(o.sensors))
        # Whole seconds: what sensors stamp is then what is true.
        first_s = float(int(rng.uniform(0.0, interval_s)))
        template = template_of(farm, story, group)
        made.append(Voice(topic, group, template, interval_s, first_s, cut_off))
    return made


def stream_line(message: Message) -> str:
    """Its line in a recorded stream, without the line break; as `shared.streams.write_message` writes it.

    Made by hand because our payloads are compact JSON already: parsing each again takes longer than
    simulating it. Bare numbers and words are text in a stream, and none of ours needs escaping.
    """
    payload = message.payload
    shown = payload if payload[0] in "{[" else f'"{payload}"'
    seconds, ms = divmod(message.t_ms, 1000)
    return f'{{"t":"{iso(seconds)[:-1]}.{ms:03d}Z","topic":"{message.topic}","payload":{shown}}}'


class Letterbox:
    """Orders messages by the time they reach the broker."""

    def __init__(self, story: Story, start_ms: int, rng: Random) -> None:
        self.lost_count = 0
        self.duplicate_count = 0
        self._link = story.link
        self._start_ms = start_ms
        self._rng = rng
        self._fresh: list[Message] = []
        self._held: list[tuple[int, int, Message]] = []
        self._held_count = 0
        self._kept: dict[float, int] = {}
        self._until_ms = start_ms

    def write_log(self, topic: str, payload: str, at_s: float) -> None:
        """What a person writes; it does not go over the sensors' link."""
        self._put(Message(self._start_ms + int(at_s * 1000), topic, payload, 1, False))

    def post(self, voice: Voice, at_s: float, payload: str) -> None:
        """Send off what a voice says at that time."""
        link, rng = self._link, self._rng
        arrives_s = at_s + link.latency_s * (0.5 + rng.random())
        for outage in voice.outages:
            if outage.is_on(arrives_s):
                if outage.lost or outage.for_s is None:
                    self.lost_count += 1
                    return
                kept = self._kept.get(outage.at_s, 0)
                self._kept[outage.at_s] = kept + 1
                arrives_s = outage.until_s + kept / outage.backlog_per_s
        if link.late_fraction and rng.random() < link.late_fraction:
            arrives_s += link.late_s * rng.expovariate(1.0)
        message = Message(self._start_ms + int(arrives_s * 1000), voice.topic, payload, 1, False)
        self._put(message)
        if link.duplicate_fraction and rng.random() < link.duplicate_fraction:
            self.duplicate_count += 1
            self._put(message._replace(t_ms=message.t_ms + int(1000 * rng.uniform(*DUPLICATE_AFTER_S))))

    def arrived(self, until_s: float) -> list[Message]:
        """What has reached the broker since the last call, in order."""
        until_ms = self._until_ms = self._start_ms + int(until_s * 1000)
        out = self._fresh
        while self._held and self._held[0][0] < until_ms:
            out.append(heappop(self._held)[2])
        out.sort(key=itemgetter(0))
        self._fresh = []
        while out and out[-1].t_ms >= until_ms:
            self._hold(out.pop())
        return out

    def _put(self, message: Message) -> None:
        # Most arrive within their own step; a backlog must not be sorted again in every step.
        if message.t_ms < self._until_ms + 60_000:
            self._fresh.append(message)
        else:
            self._hold(message)

    def _hold(self, message: Message) -> None:
        self._held_count += 1
        heappush(self._held, (message.t_ms, self._held_count, message))
