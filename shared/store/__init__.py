"""What the store keeps and what it promises; `sqlite` keeps the promise.

- `commit` is durable when it returns: only then may a message be acknowledged.
- A (series, time) is stored once. The first value stays; a second, differing one goes to `conflict`.
- `record` writes alerts, transitions, texts and the cursor they came from in one transaction.
- Exactly one process opens the store for writing; readers never block it and are never blocked.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from shared.alerts import Alert, Priority, Transition
from shared.readings import Reading, Reject
from shared.requests import Request, WriteLog


@dataclass(frozen=True, slots=True)
class Batch:
    """What one draw from the broker brought, to be made durable at once."""

    readings: Sequence[Reading] = ()
    rejects: Sequence[Reject] = ()
    requests: Sequence[Request] = ()
    rejects_after: Sequence[int] = ()
    """How many of the readings came before each reject; not told: all."""
    received_ms: int = 0
    arrivals: Sequence[tuple[int, int, int]] = ()
    """Packet id, checksum and first arrival of each message, to know it again if it is redelivered."""
    alive_ms: int = 0
    """Until when nothing is known to wait in the broker; kept as the health of `alive`."""


@dataclass(frozen=True, slots=True)
class Stored:
    """What `commit` made of a batch: what is new, with its sequence; duplicates are not among it.

    Readings and rejects have one sequence, the order in which they came in; requests have their own.
    """

    readings: tuple[tuple[int, Reading], ...]
    rejects: tuple[tuple[int, Reject], ...]
    requests: tuple[tuple[int, Request], ...]
    duplicate_count: int
    conflict_count: int


@dataclass(frozen=True, slots=True)
class Text:
    """One message for one channel of one contact; (key, event, contact, channel) makes it unique."""

    key: str
    event: str
    contact: str
    channel: str
    body: str
    long_body: str
    due_ms: int
    priority: Priority = Priority.WAKE
    also: tuple[str, ...] = ()
    """Keys of other alerts that the same text tells of; an answer to it is an answer for them too."""
    code: str = ""
    """What to answer it with; empty where it asks nothing."""
    fallback: bool = False
    """Only for the case that no channel before it has taken the text when it falls due."""


LONGEST_RETRY_MS = 600_000
"""No text that was tried waits longer for its next try."""


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A text in the outbox, and how it stands there."""

    id: int
    text: Text
    attempts: int
    created_ms: int
    state: str = "waiting"
    """waiting, sent, spared (another text says it), expired (nobody took it for a day), refused."""

    def is_due(self, now_ms: int) -> bool:
        """Whether it waits and is to be tried now.

        So is what was written, or is to be tried, later than can be: the clock was put back since.
        """
        is_put_back = self.created_ms > now_ms or (
            self.attempts > 0 and self.text.due_ms > now_ms + LONGEST_RETRY_MS
        )
        return self.state == "waiting" and (self.text.due_ms <= now_ms or is_put_back)


@dataclass(frozen=True, slots=True)
class Delivery:
    """What came of one try to hand a text over."""

    contact: str
    channel: str
    at_ms: int
    keys: tuple[str, ...] = ()
    """What alerts it told of."""
    code: str = ""
    created_ms: int = 0
    """When the text was written."""
    error: str | None = None
    """Why it was not taken; None: it was."""


@dataclass(frozen=True, slots=True)
class Memory:
    """The evaluator's memory as last written, and the cursors to go on from."""

    cursor: int
    request_cursor: int
    at_ms: int
    picture: bytes
    """All estimates; pages read it too."""
    alerting: bytes
    """Alerts, what was told of them, and when rules were last judged."""


@dataclass(frozen=True, slots=True)
class Record:
    """What one step of the watch changed: all of it is written, or nothing."""

    memory: Memory
    alerts: Sequence[Alert] = ()
    transitions: Sequence[Transition] = ()
    texts: Sequence[Text] = ()
    health: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Bucket:
    """All readings of one stretch of time, none of its extremes hidden. SI, times in ms."""

    t_ms: int
    count: int
    sum: float
    min: float
    min_ms: int
    max: float
    max_ms: int
    first: float
    first_ms: int
    last: float
    last_ms: int

    @property
    def mean(self) -> float:
        """Mean of the readings."""
        return self.sum / self.count


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A text as the Alerts page shows it."""

    key: str
    event: str
    contact: str
    channel: str
    body: str
    created_ms: int
    state: str
    sent_ms: int | None
    attempts: int
    error: str | None


class Reader(Protocol):
    """What pages and commands may ask; nothing here writes."""

    def latest(self) -> dict[str, Reading]:
        """The newest reading of each sensor by the time it was measured."""

    def readings(self, sensor: str, from_ms: int, to_ms: int) -> list[tuple[int, float]]:
        """Times and values of one sensor, from_ms <= t < to_ms, in order."""

    def buckets(self, sensor: str, from_ms: int, to_ms: int, width_ms: int) -> list[Bucket]:
        """The same, summed up in buckets of `width_ms` aligned to 1970; empty buckets are left out."""

    def since(self, cursor: int) -> list[tuple[int, Reading]]:
        """Readings that arrived after that sequence, in the order of arrival."""

    def rejects_since(self, cursor: int) -> list[tuple[int, Reject]]:
        """What was refused after that sequence, in the order of arrival."""

    def requests_since(self, cursor: int) -> list[tuple[int, Request]]:
        """Requests that arrived after that sequence."""

    def memory(self) -> Memory | None:
        """The evaluator's memory, None before the first step."""

    def alerts(self) -> list[Alert]:
        """Every alert that was ever raised or is pending."""

    def transitions(self, since_ms: int) -> list[Transition]:
        """The history from that time on, oldest first."""

    def outbox(self, limit: int) -> list[OutboxRow]:
        """The newest texts, newest first."""

    def text_by_code(self, code: str) -> Text | None:
        """The text that carried this code; None where there was none."""

    def rejects(self, limit: int) -> list[Reject]:
        """The newest refused messages, newest first."""

    def log_entries(self, since_ms: int) -> list[WriteLog]:
        """What the owner wrote in the log from that time on, oldest first."""

    def health(self) -> dict[str, tuple[int, str]]:
        """Name -> (when it was last seen, what was seen)."""

    def close(self) -> None:
        """Let the file go."""


class Store(Reader, Protocol):
    """What the collector, and nobody else, may write."""

    def commit(self, batch: Batch) -> Stored:
        """Make a batch durable. Raises StoreError when it cannot; then nothing of it is stored."""

    def arrivals(self) -> list[tuple[int, int, int]]:
        """Packet id, checksum and first arrival of the messages last committed, in the order of receipt."""

    def record(self, record: Record) -> None:
        """Write what a step changed, with its cursors, in one transaction."""

    def compact(self, up_to: int) -> int:
        """Move inbox rows up to that sequence to their final place and bring rollups up to date."""

    def due_ways(self, now_ms: int) -> list[tuple[str, str]]:
        """(contact, channel) of every text that is to be handed over now."""

    def texts_to(self, contact: str) -> list[Outgoing]:
        """All texts to a contact, by any channel and however they stand, from the oldest that waits on."""

    def mark_sent(
        self, text_id: int, now_ms: int, *, text: Text | None = None, along: Sequence[int] = ()
    ) -> None:
        """The channel took it: in the words of `text` where given, and in place of those `along`."""

    def mark_failed(self, text_ids: Sequence[int], now_ms: int, *, error: str, retry_ms: int | None) -> None:
        """The channel did not take them: try again at `retry_ms`, or never (None)."""

    def mark_spared(self, reasons: Sequence[tuple[int, str]]) -> None:
        """These need not be sent: another text says it, by this channel or one before it."""

    def mark_expired(self, reasons: Sequence[tuple[int, str]]) -> None:
        """These were tried long enough."""

    def taken_since(self, since_ms: int) -> list[Delivery]:
        """What channels have taken from that time on, in that order."""
