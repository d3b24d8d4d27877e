"""A recorded stream is lived again: published to the broker through the same door as real sensors.

Every message goes out at QoS 1, whatever it was recorded with, and is counted when the broker has taken it; a
bounded number is under way, so nothing is dropped at any speed. Times are moved so that sensors that say when
they measured agree with those that do not (rebase.py says which times those are).

Somebody at the keyboard may pause it, step through it and change its speed (pacing.py). Shifted to now, it is
never told ahead of the wall whatever they press, since no collector takes a reading from the future: it slows
down to the speed of life where it would be.
"""

import itertools
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, ProgressColumn, Task, TimeRemainingColumn
from rich.text import Text

from collector.pacing import Controls
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
    never_ahead: bool = False
    """Whether a message waits until the wall shows its time, however fast the replay is made to run."""


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
    return Plan(begins_ms - extent.first_ms, pace, never_ahead=rebase)


def time_fields_of(farm: Farm) -> dict[str, tuple[str, ...]]:
    """Where the payloads of each topic say when they were measured, by the farm file."""
    fields: dict[str, tuple[str, ...]] = {}
    for sensor in farm.sensors:
        if sensor.time_field is not None:
            topic = farm.topic_of(sensor)
            fields[topic] = tuple(dict.fromkeys((*fields.get(topic, ()), sensor.time_field)))
    return fields


def looped(
    read: Callable[[], Iterable[StreamMessage]], extent: Extent, time_fields: Mapping[str, tuple[str, ...]]
) -> Iterator[StreamMessage]:
    """The stream again and again, without end, its times moving on by its length and one usual pause.

    Args:
        read: Begins it anew.
        extent: How far it reaches.
        time_fields: As for `replay`.
    """
    round_ms = extent.length_ms + max(1, extent.length_ms // max(1, extent.count - 1))
    for turn in itertools.count():
        for message in read():
            yield _moved(message, turn * round_ms, time_fields)


def replay(
    messages: Iterable[StreamMessage],
    door: Door,
    plan: Plan,
    *,
    time_fields: Mapping[str, tuple[str, ...]] | None = None,
    stop: threading.Event | None = None,
    controls: Controls | None = None,
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
        controls: Pause, step and speed, from another thread.
        wall: The wall clock that the plan's pace was made for.
        on_sent: Called after each message.

    Raises:
        BrokerError: the broker refuses messages, or takes no more.
        StreamError: from reading the stream.
    """
    stop = stop or threading.Event()
    controls = controls or Controls(stop, wall)
    fields = time_fields or {}
    sent_count = 0
    try:
        for message in messages:
            moved = _moved(message, plan.shift_ms, fields)
            _wait_until_due(moved.at_ms, plan, controls, stop, wall)
            if stop.is_set():
                break
            door.publish(moved.topic, moved.payload, retain=moved.retain)
            sent_count += 1
            on_sent()
    except KeyboardInterrupt:
        door.wait_acknowledged()
        raise
    door.wait_acknowledged()
    return sent_count


def _wait_until_due(told_ms: int, plan: Plan, controls: Controls, stop: threading.Event, wall: Clock) -> None:
    due_ms = None if plan.pace is None else plan.pace.wall_ms(told_ms)
    while not stop.is_set():
        waits_ms: float = told_ms - wall() if plan.never_ahead else 0
        # Asked last: an answer of 0 uses up a step.
        if waits_ms <= 0:
            waits_ms = controls.wait_ms(due_ms)
        if waits_ms <= 0:
            return
        stop.wait(min(waits_ms / 1000, _NAP_S))


def _moved(
    message: StreamMessage, shift_ms: int, time_fields: Mapping[str, tuple[str, ...]]
) -> StreamMessage:
    """The message and the times inside it, later by `shift_ms`.

    What a stream of offsets says of time stays: nobody knows how that goes with its offsets.
    """
    payload = message.payload
    if message.is_absolute:
        payload = rebased(payload, shift_ms, time_fields.get(message.topic, ()), topic=message.topic)
    return replace(message, at_ms=message.at_ms + shift_ms, payload=payload)


class _Words(ProgressColumn):
    """Says how the replay runs, also while nothing is sent."""

    def __init__(self, words: Callable[[], str]) -> None:
        super().__init__()
        self._words = words

    def render(self, task: Task) -> Text:  # noqa: ARG002 - rich's signature
        """What the bar asks for at each refresh."""
        return Text(self._words())


@contextmanager
def progress_bar(
    total_count: int | None, words: Callable[[], str] = lambda: "Replay"
) -> Iterator[Callable[[], object]]:
    """A bar on standard error to be moved on after each message; nothing where that is no terminal.

    Args:
        total_count: None: without end.
        words: Asked again and again what it is doing.
    """
    if not sys.stderr.isatty():
        yield lambda: None
        return
    columns = (_Words(words), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress:
        task = progress.add_task("replay", total=total_count)
        yield lambda: progress.advance(task)
