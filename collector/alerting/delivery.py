"""Hands texts from the outbox to their channels, by Apprise, until each was taken or is a day old.

    outbox -> what is due, by contact and channel -> still needed? (digest) -> handed over -> marked -> outcome

What is true if the process dies after each step:

1. chosen: nothing has changed; it is chosen again at the next start.
2. spared: marked with its reason; the text that says it as well still waits, or was taken.
3. handed over: taken but not marked, so it comes once more; its last word shows that it is the same.
4. marked: never sent again. Its outcome for the alert about the channel is read from the outbox at the next start.

Each channel of each contact has a thread while it is at work, because a satellite link may take minutes to
answer and no other channel is to wait for it.
"""

import logging
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from queue import Empty, SimpleQueue

from collector.alerting.channels import Deliver, Way, gone
from collector.alerting.digest import Parcel, parcels_of, still_needed
from shared.clock import Clock
from shared.errors import ChannelError, LanternError, StoreError
from shared.farm import Farm
from shared.store import LONGEST_RETRY_MS, Delivery, Store

LOG = logging.getLogger(__name__)


RETRY_S = (10.0, 30.0, 60.0, 120.0, 300.0, LONGEST_RETRY_MS / 1000)
"""Waits between tries; the last one repeats. All that waits for a channel follows its newest text."""
EXPIRES_S = 86_400.0
"""After a day a text is history: it is kept as expired, never dropped."""
RECALLED_S = 30 * EXPIRES_S
"""What was taken within so long is told again at the start; older than any alert that still asks."""
LEAVE_S = 10.0
"""A text in hand is given so long when we are told to stop; systemd waits for 30 s."""


class Sender:
    """Empties the outbox: one thread looks at it, and each channel has its own while it is at work.

    What channels took lately comes as outcomes first: nobody may have heard of it before the process died.
    """

    def __init__(self, store: Store, farm: Farm, channels: Mapping[Way, Deliver], clock: Clock) -> None:
        self._store = store
        self._farm = farm
        self._channels = channels
        self._clock = clock
        self._contacts = {contact.id: contact for contact in farm.contacts}
        known = [(contact.id, channel.id) for contact in farm.contacts for channel in contact.channels]
        self._order = {way: place for place, way in enumerate(known)}
        self._outcomes: SimpleQueue[Delivery] = SimpleQueue()
        self._at_work: set[Way] = set()
        self._rest = threading.Condition()
        self._begun_ms: dict[int, int] = {}
        self._trying: dict[Way, int] = {}
        self._seen_trying: set[tuple[Way, int]] = set()
        self._unwritten: dict[Way, list[Callable[[], None]]] = {}
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sender", daemon=True)
        self.on_moved: Callable[[], None] = lambda: None
        """Called when the outbox was looked at and every try seen at the last such time has ended: a channel
        that hangs must be seen."""
        for outcome in store.taken_since(clock() - round(RECALLED_S * 1000)):
            self._outcomes.put(outcome)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def wake(self) -> None:
        """There may be something to send."""
        self._wake.set()

    def stop(self, leave_s: float = LEAVE_S) -> None:
        """Finish the texts in hand and end; a channel that hangs is left to itself."""
        self._stopping.set()
        self._wake.set()
        self._thread.join()
        with self._rest:
            self._rest.wait_for(lambda: not self._at_work, leave_s)

    def outcomes(self) -> Iterator[Delivery]:
        """What has come of tries since this was last asked."""
        while True:
            try:
                yield self._outcomes.get_nowait()
            except Empty:
                return

    def send_due(self) -> int:
        """Try every text that is due, once, in this thread and in the order of the farm file; how many were taken."""
        taken = sum(self._deliver(way, self._chosen(way)) for way in self._due_ways())
        self.on_moved()
        return taken

    def _due_ways(self) -> list[Way]:
        ways = self._store.due_ways(self._clock())
        return sorted(ways, key=lambda way: (self._order.get(way, len(self._order)), way))

    def _chosen(self, way: Way) -> list[Parcel]:
        """What is to be handed over by that way now; what need not be is marked so."""
        for write in self._unwritten.get(way, []):
            write()  # what the store could not take before, or a text that was taken would be sent again
        self._unwritten.pop(way, None)
        now_ms = self._clock()
        contact, channel = way
        begun_ms = dict(self._begun_ms)  # before the rows are read: what ends meanwhile is marked in them
        rows = self._store.texts_to(contact)
        if way not in self._order:
            own = [row for row in rows if row.text.channel == channel]
            return [Parcel(row) for row in own if row.is_due(now_ms)]
        spared, left = still_needed(rows, self._contacts[contact], channel, begun_ms, now_ms)
        if spared:
            self._store.mark_spared(spared)
        if not any(row.is_due(now_ms) for row in left):
            return []
        alerts = {alert.key: alert for alert in self._store.alerts()}
        return parcels_of(left, alerts, self._farm, now_ms)

    def _deliver(self, way: Way, parcels: Sequence[Parcel]) -> int:
        """Try what is due; and, when the channel took any of it, also what waits for its next try."""
        now_ms = self._clock()
        due = [parcel for parcel in parcels if parcel.is_due(now_ms)]
        taken = sum(self._try(way, parcel) for parcel in due)
        if taken:
            taken += sum(self._try(way, parcel) for parcel in parcels if parcel not in due)
        return taken

    def _try(self, way: Way, parcel: Parcel) -> bool:
        if self._stopping.is_set():
            return False
        text = parcel.lead.text
        self._trying[way] = parcel.lead.id
        try:
            (self._channels.get(way) or gone)(text.body, text.long_body)
        except Exception as error:  # noqa: BLE001 - a channel's plugin may raise anything; no text may be lost by it
            self._failed(way, parcel, error)
            return False
        else:
            self._taken(way, parcel)
            return True
        finally:
            self._trying.pop(way, None)

    def _taken(self, way: Way, parcel: Parcel) -> None:
        now_ms, lead = self._clock(), parcel.lead
        for row in parcel.rows:
            keys = (row.text.key, *row.text.also)
            self._outcomes.put(Delivery(*way, now_ms, keys, row.text.code, row.created_ms))
        self._write(
            way,
            partial(
                self._store.mark_sent,
                lead.id,
                now_ms,
                text=lead.text if parcel.along else None,
                along=[row.id for row in parcel.along],
            ),
        )

    def _failed(self, way: Way, parcel: Parcel, error: Exception) -> None:
        now_ms, lead = self._clock(), parcel.lead
        LOG.warning("text %s to %s by %s: %s", lead.id, *way, error)
        if way in self._order:
            self._outcomes.put(Delivery(*way, now_ms, error=str(error)))
        permanent = isinstance(error, ChannelError) and error.permanent
        attempts = max(parcel.rows, key=lambda row: row.id).attempts
        retry_ms = now_ms + round(RETRY_S[min(attempts, len(RETRY_S) - 1)] * 1000)
        ids = [row.id for row in parcel.rows]
        self._write(
            way,
            partial(
                self._store.mark_failed,
                ids,
                now_ms,
                error=str(error),
                retry_ms=None if permanent else retry_ms,
            ),
        )
        expired = [(row.id, str(error)) for row in parcel.rows if now_ms - row.created_ms >= EXPIRES_S * 1000]
        if expired:
            self._write(way, partial(self._store.mark_expired, expired))

    def _write(self, way: Way, write: Callable[[], None]) -> None:
        """Mark what came of a try; what cannot be written now must be before that way is used again."""
        try:
            write()
        except StoreError:
            LOG.exception("what came of a text is not written; it stays for the next look")
            self._unwritten.setdefault(way, []).append(write)

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._look()
            except LanternError:
                # The store is busy or its disk is full: the texts stay in it; try again.
                LOG.exception("the outbox cannot be worked on")
            self._wake.wait(timeout=1.0)
            self._wake.clear()

    def _look(self) -> None:
        """Set every channel to work that has something to do and is not at it."""
        for way in self._due_ways():
            if way not in self._at_work and (parcels := self._chosen(way)):
                ids = [row.id for parcel in parcels for row in parcel.rows]
                self._begun_ms |= dict.fromkeys(ids, self._clock())
                thread = threading.Thread(
                    target=self._work, args=(way, parcels, ids), name=".".join(way), daemon=True
                )
                self._at_work.add(way)
                thread.start()
        trying = set(self._trying.items())
        if not trying & self._seen_trying:
            self._seen_trying = trying
            self.on_moved()

    def _work(self, way: Way, parcels: Sequence[Parcel], ids: Sequence[int]) -> None:
        try:
            self._deliver(way, parcels)
        finally:
            for text_id in ids:
                self._begun_ms.pop(text_id, None)
            with self._rest:
                self._at_work.discard(way)
                self._rest.notify_all()
            self._wake.set()
