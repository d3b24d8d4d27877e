"""A recorded stream is lived again: published to the broker through the same door as real sensors.

Every message goes out at QoS 1, whatever it was recorded with, and is counted when the broker has taken it; a
bounded number is under way, so nothing is dropped at any speed. Times are moved so that sensors that say when
they measured agree with those that do not (rebase.py says which times those are).
"""

import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from collector.rebase import rebased
from shared.clock import Clock, Pace, Stretch, system_clock
from shared.farm import Farm
from shared.streams import Extent, StreamMessage

_NAP_S = 0.25
"""The longest wait without looking whether somebody wants to stop."""


class Door(Protocol):
    """Where messages go in; shared.publisher.Publisher is one."""

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Hand one message over, waiting for room."""

    def wait_acknowledged(self) -> None:
        """Wait until all of them are taken."""


@dataclass(frozen=True, slots=True)
class Plan:
    """When what is published: times of the stream plus `shift_ms` are farm time; `pace` gives the wall's."""

    shift_ms: int
    pace: Pace | None
    """None: as fast as the broker takes it."""


def plan_of(extent: Extent, speed: float | None, wall_ms: int, *, rebase: bool) -> Plan:
    """How to replay a stream from `wall_ms` on, `speed` times as fast as it was; None: at full speed.

    Rebased, the stream ends at the wall time at which its replay ends, so nothing is ever ahead of the wall;
    at less than its own speed it begins with the wall instead. Not rebased, recorded times stay, and a stream
    of offsets begins with the wall.
    """
    lasts_ms = 0 if speed is None else round(extent.length_ms / speed)
    begins_ms = min(wall_ms, wall_ms + lasts_ms - extent.length_ms)
    if not rebase:
        begins_ms = extent.first_ms if extent.is_absolute else wall_ms
    pace = None if speed is None else Pace((Stretch(wall_ms, begins_ms, speed),))
    return Plan(begins_ms - extent.first_ms, pace)


def time_fields_of(farm: Farm) -> dict[str, tuple[str, ...]]:
    """Where the payloads of each topic say when they were measured, by the farm file."""
    fields: dict[str, tuple[str, ...]] = {}
    for sensor in farm.sensors:
        if sensor.time_field is not None:
            topic = farm.topic_of(sensor)
            fields[topic] = tuple(dict.fromkeys((*fields.get(topic, ()), sensor.time_field)))
    return fields


def replay(
    messages: Iterable[StreamMessage],
    door: Door,
    plan: Plan,
    *,
    time_fields: Mapping[str, tuple[str, ...]] | None = None,
    stop: threading.Event | None = None,
    wall: Clock = system_clock,
    on_sent: Callable[[], object] = lambda: None,
) -> int:
    """Publish a stream by its plan and wait until the broker has taken all of it; how many that were.

    Ends early when `stop` is set. What was published is acknowledged then too, and on Ctrl-C, which is passed
    on.

    Args:
        messages: In order of time.
        door: An open publisher.
        plan: When; `plan_of` makes one, a demo may make its own with several stretches.
        time_fields: By topic, where payloads say when they were measured; `time_fields_of` knows a farm's.
        stop: Ends the replay from another thread.
        wall: The wall clock that the plan's pace was made for.
        on_sent: Called after each message.

    Raises:
        BrokerError: the broker refuses messages, or takes no more.
        StreamError: from reading the stream.
    """
    stop = stop or threading.Event()
    fields = time_fields or {}
    sent_count = 0
    try:
        for message in messages:
            if plan.pace is not None:
                due_ms = plan.pace.wall_ms(message.at_ms + plan.shift_ms)
                while not stop.is_set() and (ahead_ms := due_ms - wall()) > 0:
                    stop.wait(min(ahead_ms / 1000, _NAP_S))
            if stop.is_set():
                break
            payload = rebased(message.payload, plan.shift_ms, fields.get(message.topic, ()))
            door.publish(message.topic, payload, retain=message.retain)
            sent_count += 1
            on_sent()
    except KeyboardInterrupt:
        door.wait_acknowledged()
        raise
    door.wait_acknowledged()
    return sent_count


@contextmanager
def progress_bar(total_count: int) -> Iterator[Callable[[], object]]:
    """A bar on standard error to be moved on after each message; nothing where that is no terminal."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    columns = (TextColumn("Replay"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress:
        task = progress.add_task("replay", total=total_count)
        yield lambda: progress.advance(task)
