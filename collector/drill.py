"""`lantern drill`: a marked test to every contact by every channel; says when each hop was made, until answered.

asked -> the broker has it -> stored, texts written -> each channel took it -> somebody answered
"""

import os
import threading
from collections.abc import Callable
from uuid import uuid4

from collector.alerting import drill
from shared.alerts import Cause
from shared.clock import Clock
from shared.errors import DrillFailed
from shared.farm import Farm
from shared.publisher import Publisher
from shared.requests import Drill, encode
from shared.settings import Settings
from shared.store import OutboxRow, Reader

LOOK_EVERY_S = 0.5
NEWEST_COUNT = 200


def hold_drill(
    settings: Settings,
    farm: Farm,
    reader: Reader,
    by: str,
    patience_s: float,
    clock: Clock,
    say: Callable[[str], None],
) -> int:
    """Hold a drill and say what comes of it; 0 when it was answered.

    Raises:
        BrokerError: the broker cannot be reached or refuses us.
        DrillFailed: where the path ends: the collector does not run, a channel fails, nobody answers.
    """
    asked_ms = clock()
    with Publisher(settings, f"lantern-drill-{os.getpid()}") as broker:
        broker.publish(f"lantern/{farm.id}/request", encode(Drill(uuid4().hex, by, asked_ms)))
        broker.wait_acknowledged()
    say(f"{_after(clock(), asked_ms)}  the broker has it")
    said: set[str] = set()
    while clock() - asked_ms < patience_s * 1000:
        rows = _texts(reader, asked_ms)
        for line in _hops(rows, asked_ms):
            if line not in said:
                said.add(line)
                say(line)
        for change in reader.transitions(asked_ms):
            if change.key == drill.KEY and change.cause is Cause.ACKNOWLEDGED:
                say(f"{_after(change.at_ms, asked_ms)}  answered by {change.by}")
                return 0
        threading.Event().wait(LOOK_EVERY_S)
    raise DrillFailed(_where_it_ended(_texts(reader, asked_ms), patience_s))


def _texts(reader: Reader, asked_ms: int) -> list[OutboxRow]:
    rows = reader.outbox(NEWEST_COUNT)
    return [row for row in reversed(rows) if row.key == drill.KEY and row.created_ms >= asked_ms]


def _hops(rows: list[OutboxRow], asked_ms: int) -> list[str]:
    hops = []
    if rows:
        hops.append(f"{_after(rows[0].created_ms, asked_ms)}  stored, {len(rows)} texts written")
    for row in rows:
        way = f"{row.contact} by {row.channel}"
        if row.sent_ms is not None:
            hops.append(f"{_after(row.sent_ms, asked_ms)}  {way}: taken")
        elif row.error:
            hops.append(f"{'':>8}  {way}: {row.state}, {row.error}")
    return hops


def _where_it_ended(rows: list[OutboxRow], patience_s: float) -> str:
    if not rows:
        return "nothing was written: is the collector running, on this store and broker?"
    untaken = [f"{row.contact} by {row.channel}" for row in rows if row.sent_ms is None]
    if untaken:
        return f"not taken: {', '.join(untaken)}"
    return f"every channel took it, and nobody answered within {patience_s / 60:g} min"


def _after(at_ms: int, asked_ms: int) -> str:
    return f"{(at_ms - asked_ms) / 1000:+7.2f} s"
