"""The collector: its `_turn` reads like the data-flow diagram.

    broker -> take -> decode -> commit -> acknowledge -> fold -> record (alerts, texts, cursor) -> sender

What is true if the process dies after each step of a turn:

1. taken: nothing is stored, nothing acknowledged; the broker sends it again.
2. committed: stored once; it comes again and is known as a duplicate.
3. acknowledged: the broker lets go of it; it is in the inbox, beyond the cursor, and is folded at the next start.
4. recorded: alerts, texts and cursor are written together; texts are sent, now or after the next start.
5. sent: a text that was taken but not yet marked is sent twice.
"""

import json
import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from operator import itemgetter

from collector.alerting.delivery import Sender
from collector.alerting.horn import HornSwitch
from collector.arrivals import Received
from collector.evaluator import Changes, Plan, Watch, memory_of, new_watch, restore_watch
from collector.heartbeat import Heartbeat
from collector.intake import Intake, Memory, rejects_after, take_in
from collector.people import on_delivery, on_request
from collector.subscriber import Subscriber
from collector.topics import Router
from collector.watch import on_clock, on_reading, on_reject, on_start
from shared.broker import LinkState
from shared.clock import Clock
from shared.errors import StoreError
from shared.readings import Reading, Reject
from shared.requests import Request
from shared.settings import Settings
from shared.store import Batch, Record, Store, Stored

LOG = logging.getLogger(__name__)

TAKE_WAIT_S = 0.2
FOLD_EVERY_S = 2.0
"""How long a reading may be stored and not yet thought about, while more come than can be taken."""
CLOCK_EVERY_S = 1.0
RECORD_EVERY_MS = 60_000
"""How much is folded again at the next start, at the most, and how old the words on a page may be; farm time."""
COMPACT_EVERY_S = 300.0
COMPACT_COUNT = 20_000
PROVEN = "the path from the broker to the store is proven"
RETRY_S = (1.0, 2.0, 5.0, 10.0, 30.0)
"""Waits before a commit is tried again: the batch stays in memory, and unacknowledged at the broker."""


@dataclass(slots=True)
class Daemon:
    """One collector at work. `run` returns when `stopping` is set."""

    settings: Settings
    plan: Plan
    router: Router
    store: Store
    subscriber: Subscriber
    sender: Sender
    clock: Clock
    monotonic: Callable[[], float]
    stopping: threading.Event = field(default_factory=threading.Event)
    retry_s: tuple[float, ...] = RETRY_S
    heartbeat: Heartbeat = field(init=False)
    horn: HornSwitch = field(init=False)
    _watch: Watch = field(init=False)
    _changes: Changes = field(default_factory=Changes)
    _last_good: Memory = field(default_factory=Memory)
    _cursor: int = 0
    _request_cursor: int = 0
    _recorded_cursor: int = 0
    _canary_ms: int = 0
    _link: LinkState | None = None
    _unfolded: list[Stored] = field(default_factory=list)
    _next_fold_s: float = 0.0
    _next_clock_s: float = 0.0
    _recorded_ms: int = 0
    _next_compact_s: float = 0.0
    _uncompacted_count: int = 0
    _statuses: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Have every stage tell the heartbeat, and the horn speak by our own link."""
        self.heartbeat = Heartbeat(self.settings, self.plan.farm, self.store, self.clock, self.monotonic)
        self.sender.on_moved = self.heartbeat.sender_moved
        self.horn = HornSwitch(self.plan.farm, self.subscriber.publish, self.monotonic)

    def run(self) -> None:
        """Watch until told to stop; then write down what is known."""
        self._resume()
        self.sender.start()
        self.subscriber.start()
        self.heartbeat.start()
        try:
            while not self.stopping.is_set():
                self._turn()
                self.heartbeat.turned(self.subscriber.send_canary)
        finally:
            self.heartbeat.stop()
            self.subscriber.stop()
            self.sender.stop()
            self._record()
            self.store.close()

    def _resume(self) -> None:
        """Take up the memory, and fold what was stored after it."""
        stored = self.store.memory()
        self._watch = new_watch(self.plan)
        if stored is not None:
            self._watch = restore_watch(stored, self.plan, self._changes)
            self._cursor, self._request_cursor = stored.cursor, stored.request_cursor
        self._fold(
            self.store.since(self._cursor),
            self.store.rejects_since(self._cursor),
            self.store.requests_since(self._request_cursor),
        )
        on_start(self._watch, self.clock())

    def _turn(self) -> None:
        limit = max(1, self.settings.inflight_count // 2)
        items = self.subscriber.take(limit, TAKE_WAIT_S)
        if self.subscriber.state != self._link:
            self._link = self.subscriber.state
            LOG.info("broker: %s %s", self._link.link, self._link.reason)
        if items:
            stored = self._commit(items)
            if stored is None:
                return
            self.subscriber.acknowledge(items)
            self._unfolded.append(stored)
            self._uncompacted_count += len(stored.readings)
        now_s = self.monotonic()
        # Texts are decided when the backlog is worked off, so that only what is true now is told.
        is_drained = len(items) < limit
        # In a backlog storing goes before thinking: what is on the disk here can no longer be lost elsewhere.
        if is_drained or now_s >= self._next_fold_s:
            self._next_fold_s = now_s + FOLD_EVERY_S
            for stored in self._unfolded:
                self._fold(stored.readings, stored.rejects, stored.requests)
            self._unfolded.clear()
        if is_drained and (self._changes.is_urgent or now_s >= self._next_clock_s):
            self._next_clock_s = now_s + CLOCK_EVERY_S
            for delivery in self.sender.outcomes():
                on_delivery(self._watch, self.plan, delivery)
            on_clock(self._watch, self.plan, self.clock(), self._changes)
            self.horn.look(self._watch.alerting.alerts, self._watch.alerting.told, self.clock())
            self.heartbeat.judged()
        is_due = abs(self.clock() - self._recorded_ms) >= RECORD_EVERY_MS  # a clock put back is due as well
        if (is_drained and self._changes.is_urgent) or is_due:
            self._record()
        if now_s >= self._next_compact_s or self._uncompacted_count >= COMPACT_COUNT:
            self._next_compact_s = now_s + COMPACT_EVERY_S
            self._uncompacted_count = 0
            self._record()
            self._try(lambda: self.store.compact(self._recorded_cursor), "compact")

    def _decode(self, item: Received) -> Intake:
        return take_in(
            self.router,
            self._last_good,
            item.topic,
            item.payload,
            item.received_ms,
            retain=item.retain,
            waiting_since_ms=item.waiting_since_ms,
        )

    def _commit(self, items: Sequence[Received]) -> Stored | None:
        """Make a draw durable, trying until it is; None when told to stop before."""
        taken = [self._decode(item) for item in items]
        batch = Batch(
            readings=[reading for intake in taken for reading in intake.readings],
            rejects=[reject for intake in taken for reject in intake.rejects],
            rejects_after=rejects_after(taken),
            requests=[request for intake in taken for request in intake.requests],
            received_ms=self.clock(),
            arrivals=[item.arrival for item in items if item.qos],
            alive_ms=items[-1].alive_ms,
        )
        attempt = 0
        while True:
            try:
                stored = self.store.commit(batch)
                break
            except StoreError as error:
                wait_s = self.retry_s[min(attempt, len(self.retry_s) - 1)]
                LOG.error("not stored, nothing acknowledged, trying again in %.0f s: %s", wait_s, error)  # noqa: TRY400
                attempt += 1
                if self.stopping.wait(wait_s):
                    return None
        self.heartbeat.committed(len(stored.readings), [c for intake in taken for c in intake.canaries])
        for intake in taken:
            if intake.canaries:
                if not self._canary_ms:
                    LOG.info(PROVEN)
                self._canary_ms = self.clock()
            self._statuses.update({s.device: "online" if s.online else "offline" for s in intake.statuses})
        return stored

    def _fold(
        self,
        readings: Sequence[tuple[int, Reading]],
        rejects: Sequence[tuple[int, Reject]],
        requests: Sequence[tuple[int, Request]],
    ) -> None:
        numbered: list[tuple[int, Reading | Reject]] = [*readings, *rejects]
        for sequence, item in sorted(numbered, key=itemgetter(0)):
            if isinstance(item, Reject):
                on_reject(self._watch, self.plan, item)
            else:
                on_reading(self._watch, self.plan, item, self._changes)
            self._cursor = sequence
        for sequence, request in requests:
            on_request(self._watch, self.plan, request, self._changes)
            self._request_cursor = sequence

    def _record(self) -> None:
        now_ms = self._recorded_ms = self.clock()
        changes = self._changes
        record = Record(
            memory_of(self._watch, self._cursor, self._request_cursor, now_ms),
            alerts=tuple(changes.alerts.values()),
            transitions=changes.transitions,
            texts=changes.texts,
            health=self._health(),
        )
        if self._try(lambda: self.store.record(record), "record"):
            self.heartbeat.recorded()
            self._recorded_cursor = self._cursor
            self._changes = Changes()
            if record.texts:
                self.sender.wake()

    def _health(self) -> dict[str, str]:
        state = self.subscriber.state
        return {
            "broker": f"{state.link}{': ' if state.reason else ''}{state.reason}",
            "protocol": self.subscriber.protocol,
            "canary": str(self._canary_ms),
            "refused topics": json.dumps(self.subscriber.refused_filters),
            "filters": json.dumps(self.router.filters),
            "devices": json.dumps(self._statuses),
            "heartbeat": self.heartbeat.health(),
        }

    def _try(self, write: Callable[[], object], what: str) -> bool:
        """A write that may wait for the next turn: what it would have written is kept."""
        try:
            write()
        except StoreError:
            LOG.exception("could not %s; it stays for the next turn", what)
            return False
        return True
