"""Hands texts from the outbox to their channels, by Apprise, until each was taken or is a day old.

Sent is recorded after sending: if the process dies in between, a text comes twice, never not at all.
The sender runs in a thread of its own, because a satellite link may take a minute to answer.
"""

import logging
import string
import threading
from collections.abc import Callable, Mapping

from apprise import Apprise

from shared.clock import Clock
from shared.errors import ChannelError, LanternError, SettingsError
from shared.farm import Farm
from shared.store import Store, WaitingText

LOG = logging.getLogger(__name__)

Deliver = Callable[[str, str], None]
"""Hands one text (short, long) over; raises ChannelError when it was not taken."""

RETRY_S = (10.0, 30.0, 60.0, 120.0, 300.0, 600.0)
"""Waits between tries; the last one repeats."""
EXPIRES_S = 86_400.0
"""After a day a text is history: it is kept as expired, never dropped."""
TERMINAL = "terminal:"
"""An address that shows the text where the collector runs, for the demo and a first try."""
TEXT_MARK = "text to "


def open_channels(farm: Farm, environment: Mapping[str, str]) -> dict[tuple[str, str], Deliver]:
    """(contact, channel) -> how to hand a text over.

    Raises:
        SettingsError: a variable named in an address is not set, or Apprise knows no such service.
    """
    channels: dict[tuple[str, str], Deliver] = {}
    for contact in farm.contacts:
        for channel in contact.channels:
            place = f"contact {contact.id}, channel {channel.id}"
            try:
                url = string.Template(channel.url).substitute(environment)
            except KeyError as error:
                raise SettingsError(f"{place}: set the environment variable {error.args[0]}") from error
            except ValueError as error:
                raise SettingsError(f"{place}: {error}; write $$ for a dollar sign") from error
            channels[contact.id, channel.id] = (
                _on_terminal(contact.name) if url == TERMINAL else _by_apprise(url, place)
            )
    return channels


def _on_terminal(name: str) -> Deliver:
    def deliver(body: str, _long_body: str) -> None:
        print(f"  {TEXT_MARK}{name}: {body}", flush=True)  # noqa: T201 - this is the channel

    return deliver


def _by_apprise(url: str, place: str) -> Deliver:
    service = Apprise()
    if not service.add(_patient(url)):
        raise SettingsError(f"{place}: Apprise knows no such address; see its list of services")
    is_mail = url.startswith("mailto")

    def deliver(body: str, long_body: str) -> None:
        # One service per call, so that a failure is this channel's alone.
        result = service.notify(body=long_body if is_mail else body)
        if not result:
            raise ChannelError(f"not taken ({result.status})", permanent=False)

    return deliver


def _gone(_body: str, _long_body: str) -> None:
    raise ChannelError("the farm file no longer has this channel", permanent=True)


def _patient(url: str) -> str:
    """Apprise waits 4 s by default: less than a satellite link needs, and a late answer would be a second text."""
    return f"{url}{'&' if '?' in url else '?'}cto=20&rto=60"


class Sender:
    """The thread that empties the outbox."""

    def __init__(self, store: Store, channels: Mapping[tuple[str, str], Deliver], clock: Clock) -> None:
        self._store = store
        self._channels = channels
        self._clock = clock
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sender", daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def wake(self) -> None:
        """There may be something to send."""
        self._wake.set()

    def stop(self) -> None:
        """Finish the text in hand and end."""
        self._stopping.set()
        self._wake.set()
        self._thread.join()

    def send_due(self) -> int:
        """Try every text that is due, once; how many were taken."""
        taken = 0
        for waiting in self._store.due_texts(self._clock(), limit=20):
            if self._stopping.is_set():
                break
            taken += self._send(waiting)
        return taken

    def _send(self, waiting: WaitingText) -> bool:
        text = waiting.text
        try:
            deliver = self._channels.get((text.contact, text.channel))
            (deliver or _gone)(text.body, text.long_body)
        except Exception as error:  # noqa: BLE001 - a channel's plugin may raise anything; no text may be lost by it
            self._failed(waiting, error)
            return False
        self._store.mark_sent(waiting.id, self._clock())
        return True

    def _failed(self, waiting: WaitingText, error: Exception) -> None:
        now_ms = self._clock()
        LOG.warning("text %s to %s by %s: %s", waiting.id, waiting.text.contact, waiting.text.channel, error)
        permanent = isinstance(error, ChannelError) and error.permanent
        expired = now_ms - waiting.created_ms >= EXPIRES_S * 1000
        wait_s = RETRY_S[min(waiting.attempts, len(RETRY_S) - 1)]
        self._store.mark_failed(
            waiting.id,
            error=str(error),
            retry_ms=None if permanent or expired else now_ms + round(wait_s * 1000),
            expired=expired,
        )

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self.send_due()
            except LanternError:
                # The store is busy or its disk is full: the texts stay in it; try again.
                LOG.exception("the outbox cannot be worked on")
            self._wake.wait(timeout=1.0)
            self._wake.clear()
