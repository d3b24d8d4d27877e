"""Live traffic becomes a stream that can be replayed; what was heard is in the file at once.

The file is plain while it grows and every message is handed to the system as it comes, so that Ctrl-C or a kill
leaves a file that can be replayed; it is compressed at the end if its name asks for it. While a recording that
is to be scrubbed grows, its name says that it is not.

QoS is not recorded: brokers may raise it on the way, ours does. What the broker had kept from before is not
heard: nobody knows when it was said. Nor is what the collector says to itself.
"""

import gzip
import os
import queue
import re
import shutil
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol, TextIO

from collector.scrub import scrub
from shared.clock import Clock
from shared.errors import StreamError
from shared.farm import Farm
from shared.publisher import Publisher
from shared.settings import Settings
from shared.streams import StreamMessage, read_stream, write_message

EVERYTHING = ("#",)
_NAP_S = 0.25
"""The longest wait without looking whether somebody wants to stop."""
_TO_ITSELF = re.compile(r"lantern/[^/]+/(canary|collector/status)")


class Ear(Protocol):
    """What hears messages; shared.publisher.Publisher is one."""

    def hear(
        self, filters: Sequence[str], tell: Callable[[str, bytes, bool], object], *, live_only: bool = False
    ) -> None:
        """Hear from now on."""


def record_into(
    out: Path,
    settings: Settings,
    farm: Farm | None,
    *,
    hears_all: bool,
    scrubs: bool,
    lasts_s: float | None,
    wall: Clock,
    stop: threading.Event,
    say: Callable[[str], object],
) -> None:
    """Record live traffic until `stop` is set, and make of it what was asked for.

    Args:
        out: The file to be there at the end.
        settings: Where the broker is.
        farm: Whose traffic it is; None: nobody knows, so all is heard and nothing can be scrubbed.
        hears_all: Whether topics are recorded that are not of the farm.
        scrubs: Whether to take out whose it is, and write the farm file that goes with it.
        lasts_s: After that it stops by itself.
        wall: As for `record`.
        stop: As for `record`.
        say: Told what goes on.

    Raises:
        BrokerError: the broker does not let us in, or refuses a filter.
        StreamError: a file is there already, or cannot be written or scrubbed.
    """
    growing = growing_path(out, to_be_scrubbed=scrubs)
    need_new({out, growing, growing_path(out)} | ({farm_path(out)} if scrubs else set()))
    timer = None if lasts_s is None else threading.Timer(lasts_s, stop.set)

    def on_listening() -> None:
        say(f"Recording into {growing}; Ctrl-C ends it")
        if timer is not None:
            timer.start()

    filters = EVERYTHING if farm is None or hears_all else filters_of(farm)
    try:
        with (
            Publisher(settings, f"lantern-record-{os.getpid()}") as ear,
            growing.open("x", encoding="utf-8", newline="\n") as lines,
        ):
            count = record(ear, filters, lines, wall=wall, stop=stop, on_listening=on_listening)
            lost_count = ear.links_count - 1
        kept_count = finish(out, farm if scrubs else None)
    except OSError as error:
        raise StreamError(f"cannot write {out}: {error}") from error
    finally:
        if timer is not None:
            timer.cancel()
    kept = "" if kept_count is None else f", {kept_count} of them kept"
    say(f"{count} messages recorded in {out}{kept}")
    if lost_count:
        say(f"The link was lost {lost_count} times; what passed meanwhile is missing.")


def filters_of(farm: Farm) -> tuple[str, ...]:
    """All that is this farm's; no two overlap, or a broker might deliver a message twice."""
    root = f"lantern/{farm.id}/"
    topics = dict.fromkeys(farm.topic_of(sensor) for sensor in farm.sensors)
    return (f"{root}#", *(topic for topic in topics if not topic.startswith(root)))


def record(
    ear: Ear,
    filters: Sequence[str],
    out: TextIO,
    *,
    wall: Clock,
    stop: threading.Event,
    on_listening: Callable[[], object] = lambda: None,
    on_heard: Callable[[], object] = lambda: None,
) -> int:
    """Write down what is heard until `stop` is set; how many messages that were.

    Args:
        ear: An open publisher.
        filters: What to hear.
        out: Gets a line a message.
        wall: Gives their times, which never go back even where it does.
        stop: Ends it from another thread.
        on_listening: Called once nothing is missed any more.
        on_heard: Called after each message that is written.

    Raises:
        BrokerError: the broker refuses a filter.
    """
    heard: queue.SimpleQueue[StreamMessage] = queue.SimpleQueue()

    def tell(topic: str, payload: bytes, retain: bool) -> None:  # noqa: FBT001 - the ear's signature
        if not _TO_ITSELF.fullmatch(topic):
            heard.put(StreamMessage(wall(), topic, payload, retain=retain, is_absolute=True))

    ear.hear(filters, tell, live_only=True)
    on_listening()
    count = 0
    for message in _in_order(_until_stopped(heard, stop)):
        out.write(write_message(message) + "\n")
        out.flush()
        count += 1
        on_heard()
    return count


def _until_stopped(heard: queue.SimpleQueue[StreamMessage], stop: threading.Event) -> Iterator[StreamMessage]:
    while True:
        stopped = stop.is_set()  # before the last look, so that what was heard by then is not lost
        try:
            yield heard.get(block=not stopped, timeout=_NAP_S)
        except queue.Empty:
            if stopped:
                return


def _in_order(messages: Iterable[StreamMessage]) -> Iterator[StreamMessage]:
    last_ms = 0
    for message in messages:
        last_ms = max(last_ms, message.at_ms)
        yield replace(message, at_ms=last_ms)


def growing_path(out: Path, *, to_be_scrubbed: bool = False) -> Path:
    """Where a recording is while it grows: uncompressed, and named after what it is.

    >>> growing_path(Path("night.jsonl.gz"), to_be_scrubbed=True).name
    'night.unscrubbed.jsonl'
    """
    plain = out.with_suffix("") if out.suffix == ".gz" else out
    return plain.with_suffix(f".unscrubbed{plain.suffix}") if to_be_scrubbed else plain


def farm_path(out: Path) -> Path:
    """Where a scrubbed recording's farm file is.

    >>> farm_path(Path("night.jsonl.gz")).name
    'night.farm.toml'
    """
    plain = out.with_suffix("") if out.suffix == ".gz" else out
    return plain.with_suffix(".farm.toml")


def need_new(paths: Iterable[Path]) -> None:
    """Nothing is ever written over.

    Raises:
        StreamError: a file of that name is there.
    """
    for path in paths:
        if path.exists():
            raise StreamError(f"{path} is there already; give the recording another name")


def finish(out: Path, farm_to_scrub: Farm | None = None) -> int | None:
    """Make of a recording that has grown what was asked for; how many messages are left, if it was scrubbed.

    Raises:
        StreamError: it cannot be scrubbed; then it stays as it is.
    """
    plain, kept_count = growing_path(out), None
    if farm_to_scrub is not None:
        growing = growing_path(out, to_be_scrubbed=True)
        with growing.open(encoding="utf-8") as lines:
            messages, farm_text = scrub(read_stream(lines), farm_to_scrub)
            kept_count = _write_stream(messages, plain)
        farm_path(out).write_text(farm_text, encoding="utf-8")
        growing.unlink()
    if plain != out:
        _compress(plain, out)
    return kept_count


def _compress(plain: Path, out: Path) -> None:
    """At every moment one of them is whole."""
    growing = out.with_name(f"{out.name}.part")
    with plain.open("rb") as source, gzip.open(growing, "wb") as target:
        shutil.copyfileobj(source, target)
    growing.replace(out)
    plain.unlink()


def _write_stream(messages: Iterable[StreamMessage], out: Path) -> int:
    count = 0
    with out.open("x", encoding="utf-8", newline="\n") as lines:
        for count, message in enumerate(messages, start=1):  # noqa: B007 - the last number is the count
            lines.write(write_message(message) + "\n")
    return count
