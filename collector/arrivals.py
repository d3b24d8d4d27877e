"""What is known of a message as it arrives: when it first came, and whether it may have waited; pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple
from zlib import crc32

DRAIN_S = 600.0
"""Where the broker's rules do not let the canary back, a backlog counts as drained after this long (common
practice, no source; at the rate measured with mosquitto it is more than half a million messages)."""
BURST_MS = 1000
"""Messages of one topic in the same ms are told apart by moving them on by 1 ms each, at most this far: a
clock that was put back is followed."""


class Received(NamedTuple):
    """One message as the broker delivered it; a tuple, because thousands a second are made of them."""

    epoch: int
    """The connection it came by."""
    mid: int
    qos: int
    topic: str
    payload: bytes
    retain: bool
    dup: bool
    received_ms: int
    """No two of one topic alike; of a redelivered message, when it first came."""
    monotonic_s: float
    waiting_since_ms: int | None
    """It may have waited in the broker since then (0: nobody knows since when); None: it did not wait."""

    @property
    def arrival(self) -> tuple[int, int, int]:
        """What to keep in the message's own commit, to know it again if it is redelivered."""
        return self.mid, _digest(self.topic, self.payload), self.received_ms

    @property
    def alive_ms(self) -> int:
        """What to keep as the moment until which nothing is waiting in the broker."""
        return self.received_ms if self.waiting_since_ms is None else self.waiting_since_ms


@dataclass(slots=True)
class Arrivals:
    """Stamps messages as they arrive.

    A redelivered message (same packet id, duplicate flag, same content) keeps the time of its first arrival.
    So a reading that has no time of its own gets the same key again and is stored once.

    After a connect to a kept session, messages may have waited since the last sign of life, until the canary
    that was sent on connecting comes back: a broker delivers in order.
    """

    window_count: int
    last_alive_ms: int | None = None
    by_mid: dict[int, tuple[int, int]] = field(default_factory=dict)
    """What `Received.arrival` said, the oldest first."""
    last_ms_by_topic: dict[str, int] = field(default_factory=dict)
    waiting_since_ms: int | None = None
    drain_token: bytes = b""
    drain_ends_s: float = 0.0

    def connected(self, *, session_present: bool, drain_token: bytes, now_s: float) -> None:
        """A connection stands; `drain_token` has been sent as a canary."""
        if not session_present:
            self.waiting_since_ms = None
        elif self.waiting_since_ms is None:  # else an earlier backlog has not been drained yet
            self.waiting_since_ms = self.last_alive_ms or 0
        self.drain_token = drain_token
        self.drain_ends_s = now_s + DRAIN_S

    def received(
        self,
        *,
        epoch: int,
        mid: int,
        qos: int,
        topic: str,
        payload: bytes,
        retain: bool,
        dup: bool,
        now_ms: int,
        now_s: float,
    ) -> Received:
        """That message, stamped."""
        digest = _digest(topic, payload)
        received_ms = self.last_alive_ms = now_ms
        known = self.by_mid.pop(mid, None) if qos else None
        if dup and known is not None and known[0] == digest:
            received_ms = known[1]
        else:
            last_ms = self.last_ms_by_topic.get(topic, 0)
            if received_ms <= last_ms < received_ms + BURST_MS:
                received_ms = last_ms + 1
            self.last_ms_by_topic[topic] = received_ms
        if qos:
            self.by_mid[mid] = (digest, received_ms)
            # No more than a window can be redelivered; twice that, as ids of two connections may mix.
            while len(self.by_mid) > 2 * self.window_count:
                del self.by_mid[next(iter(self.by_mid))]
        waiting_since_ms = self.waiting_since_ms
        if waiting_since_ms is not None and (payload == self.drain_token or now_s > self.drain_ends_s):
            self.waiting_since_ms = None
        return Received(epoch, mid, qos, topic, payload, retain, dup, received_ms, now_s, waiting_since_ms)


def arrivals_from(
    kept: Sequence[tuple[int, int, int]],
    window_count: int,
    last_alive_ms: int | None,
    stamped_ms: Mapping[str, int],
) -> Arrivals:
    """Go on from what an earlier process kept of `Received.arrival` and `Received.alive_ms`, in order of receipt.

    `stamped_ms` is, by topic, the latest time that was given on arrival: the first message after a restart
    must not be given it again.
    """
    newest = {mid: (checksum, received_ms) for mid, checksum, received_ms in kept[-2 * window_count :]}
    return Arrivals(window_count, last_alive_ms, newest, dict(stamped_ms))


def _digest(topic: str, payload: bytes) -> int:
    return crc32(payload, crc32(topic.encode()))
