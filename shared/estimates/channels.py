"""How a channel takes its texts: when it last did, and since when it does not."""

from dataclasses import dataclass


@dataclass(slots=True)
class ChannelRecord:
    """What is remembered of one channel of one contact."""

    taken_ms: int | None = None
    """When it last took a text."""
    failing_since_ms: int | None = None
    """When the first try after that failed; None: none has."""
    failed_ms: int | None = None
    """When its last try failed."""
    error: str = ""
    """Why."""


def note_taken(record: ChannelRecord, at_ms: int) -> None:
    """It took a text; one that it took before it began to fail changes nothing."""
    record.taken_ms = max(at_ms, record.taken_ms or 0)
    if record.failing_since_ms is not None and at_ms >= record.failing_since_ms:
        record.failing_since_ms = None


def note_failed(record: ChannelRecord, at_ms: int, error: str) -> None:
    """It did not take a text."""
    record.failed_ms, record.error = at_ms, error
    # A first failure that lies in the future is from before the clock was put back.
    if record.failing_since_ms is None or record.failing_since_ms > at_ms:
        record.failing_since_ms = at_ms
