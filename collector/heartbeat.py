"""Says that the watch is alive: an outside watchdog is pinged only while every stage is seen well.

    a stage's work is done -> its time in Vitals -> unwell()? -> nothing: ping the outside watchdog
                                                              -> reasons: no ping; logged once, shown on the page

A machine that is dead, stuck or cut off cannot say so. So somebody outside expects a ping every ten minutes, and
texts the owner by a path of its own when none comes. Pings have a thread of their own, because one may take
minutes on a bad link; the watch never waits for it.

systemd is told by the loop itself as it comes round, so that a loop which stands still says nothing; and only of
what a restart would heal (vitals.RESTART_LIMITS).
"""

import json
import logging
import os
import shutil
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from itertools import takewhile
from urllib.parse import SplitResult, urlsplit

from collector.systemd import Systemd
from collector.vitals import RESTART_LIMITS, Vitals, limits_for, unwell
from shared.clock import Clock
from shared.errors import SettingsError
from shared.farm import Farm
from shared.settings import Settings
from shared.store import OutboxRow, Store

LOG = logging.getLogger(__name__)

CANARY_EVERY_S = 300.0
"""A hundred bytes each way, so that the path stays proven where no sensor speaks for long."""
CANARY_AGAIN_S = 30.0
"""Sooner while the last one has not come back: the first may overtake the subscription and be lost."""
CANARIES_KEPT = 20
"""As many as are sent within the limit; an older one would prove nothing by coming back."""
CONNECT_S = 20.0
ANSWER_S = 60.0
"""A satellite link may need so long; the same patience as for texts (delivery)."""
ANSWER_BYTES = 1000
PING_AGAIN_S = 30.0
LOOK_EVERY_S = 5.0
LEAVE_S = 2.0
TEXTS_SEEN = 50
ALL_WELL = "every stage is seen well"


class Heartbeat:
    """Keeps the vitals of one collector, and tells of them; pings only where an address is set.

    Args:
        settings: Whom to ping and how often. A demo, whose time follows a pace, pings nobody.
        farm: How often its sensors speak.
        store: Asked for its texts.
        clock: For the page, which says when the last ping was taken.
        monotonic: For everything else.
        environment: Where systemd says how it wants to be told.

    Raises:
        SettingsError: the address cannot be pinged.
    """

    def __init__(
        self,
        settings: Settings,
        farm: Farm,
        store: Store,
        clock: Clock,
        monotonic: Callable[[], float],
        environment: Mapping[str, str] = os.environ,
    ) -> None:
        self.vitals = Vitals()
        self.look_every_s = LOOK_EVERY_S
        self.ping_again_s = PING_AGAIN_S
        self._limits = limits_for(farm)
        self._store = store
        self._folder = settings.store_file.absolute().parent
        self._clock = clock
        self._monotonic = monotonic
        self._every_s = settings.heartbeat_s
        secret = settings.heartbeat_url if settings.pace is None else None
        self._target = None if secret is None else _target(secret.get_secret_value())
        self._ping_due_s = monotonic()
        self._pinged_ms: int | None = None
        self._started_ms = clock()
        self._reasons: tuple[str, ...] = ()
        self._ping_error = ""
        self._newest_taken: OutboxRow | None = None
        self._canaries: dict[str, float] = {}
        self._canary_due_s = monotonic()
        self._systemd = Systemd(environment)
        self._status_due_s = monotonic()
        self._is_ready_told = False
        self._stuck: tuple[str, ...] = ()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)

    def start(self) -> None:
        """Begin to ping."""
        if self._target is not None:
            self._thread.start()

    def stop(self) -> None:
        """Ping no more; one that is under way is left to itself."""
        self._stopping.set()
        self._systemd.tell(["STOPPING=1"])
        if self._thread.is_alive():
            self._thread.join(LEAVE_S)

    def committed(self, reading_count: int, canaries: Iterable[str]) -> None:
        """A commit with so many new readings, and these canaries, has returned."""
        if reading_count:
            self.vitals.reading_s = self._monotonic()
        for canary in canaries:
            # One of somebody else, or of an earlier process, proves nothing.
            sent_s = self._canaries.pop(canary, None)
            if sent_s is not None:
                self.vitals.canary_s = sent_s
                self._canary_due_s = sent_s + CANARY_EVERY_S

    def judged(self) -> None:
        """The rules have been looked at by the clock."""
        self.vitals.rules_s = self._monotonic()

    def recorded(self) -> None:
        """The store has taken a record."""
        self.vitals.store_s = self._monotonic()

    def sender_moved(self) -> None:
        """The sender has ended a try, or a look at the outbox."""
        self.vitals.sender_s = self._monotonic()

    def turned(self, send_canary: Callable[[str], bool]) -> None:
        """The loop has come round: send a canary and tell systemd, each where it is due."""
        now_s = self._monotonic()
        if now_s >= self._canary_due_s:
            token = f"canary {self._started_ms} {now_s:.3f}"
            if send_canary(token):
                self._canaries[token] = now_s
                self._canary_due_s = now_s + CANARY_AGAIN_S
            if len(self._canaries) > CANARIES_KEPT:
                del self._canaries[next(iter(self._canaries))]
        if self._systemd.is_there and now_s >= self._status_due_s:
            self._status_due_s = now_s + self._systemd.every_s
            self._tell_systemd(now_s)

    def _tell_systemd(self, now_s: float) -> None:
        stuck = unwell(self.vitals, now_s, RESTART_LIMITS)
        if stuck and _stages(stuck) != _stages(self._stuck):
            LOG.error("systemd is not told that all is well, and may restart this: %s", "; ".join(stuck))
        self._stuck = stuck
        said = [f"STATUS={'; '.join(unwell(self.vitals, now_s, self._limits)) or ALL_WELL}"]
        if not self._is_ready_told:
            said.append("READY=1")
        if not stuck:
            said.append("WATCHDOG=1")
        self._is_ready_told |= self._systemd.tell(said)

    def health(self) -> str:
        """What the page is told of the pings, as JSON; empty where nobody is to be pinged."""
        if self._target is None:
            return ""
        return json.dumps(
            {
                "every_s": self._every_s,
                "started_ms": self._started_ms,
                "pinged_ms": self._pinged_ms,
                "trouble": "; ".join(self._reasons) or self._ping_error,
            }
        )

    def _run(self) -> None:
        while not self._stopping.wait(self.look_every_s):
            self._look()
            if self._reasons or self._monotonic() < self._ping_due_s:
                continue
            self._ping_due_s = self._monotonic() + self._every_s
            if self._ping() or self._stopping.wait(self.ping_again_s):
                continue
            self._look()
            if not self._reasons:
                self._ping()

    def _look(self) -> None:
        """Look at every stage, and say what has changed."""
        before, self._reasons = self._reasons, self._found()
        if _stages(self._reasons) == _stages(before):
            return
        if self._reasons:
            LOG.warning("the outside watchdog is not pinged: %s", "; ".join(self._reasons))
        else:
            LOG.info("%s: the outside watchdog is pinged", ALL_WELL)

    def _found(self) -> tuple[str, ...]:
        try:
            rows = self._store.outbox(TEXTS_SEEN)
            self.vitals.free_bytes = shutil.disk_usage(self._folder).free
        except Exception as error:  # noqa: BLE001 - whatever keeps us from looking, it is not seen well
            return (f"store: cannot be looked at: {error}",)
        now_s = self._monotonic()
        taken, waits = unheard(rows)
        if not waits or taken != self._newest_taken:
            self.vitals.unheard_since_s = None
        if waits and self.vitals.unheard_since_s is None:
            self.vitals.unheard_since_s = now_s
        self._newest_taken = taken
        return unwell(self.vitals, now_s, self._limits)

    def _ping(self) -> bool:
        assert self._target is not None
        try:
            _get(self._target)
        except (OSError, HTTPException, ValueError) as error:
            self._ping_error = f"not reached: {error}"
            LOG.warning("the outside watchdog was not reached: %s", error)
            return False
        self._ping_error = ""
        self._pinged_ms = self._clock()
        return True


def _target(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
        is_sound = parts.scheme in {"http", "https"} and parts.hostname and parts.port != 0 and url.isascii()
    except ValueError:
        is_sound = False
    if not is_sound or any(letter.isspace() for letter in url):
        # The address is a secret, and stays out of the log.
        raise SettingsError("LANTERN_HEARTBEAT_URL is no address; it begins with http:// or https://")
    return parts


def _get(target: SplitResult) -> None:
    """Ask for that address once; a redirect is not followed, since it would cost the link twice each time.

    By the standard library: `requests`, which apprise brings along, would add headers, a pool and redirects,
    and this is one GET with two timeouts.

    Raises:
        OSError: nobody is there, or does not answer in time.
        HTTPException: the answer is none, or says no.
    """
    connect = HTTPSConnection if target.scheme == "https" else HTTPConnection
    with closing(connect(target.hostname or "", target.port, timeout=CONNECT_S)) as connection:
        connection.connect()
        connection.sock.settimeout(ANSWER_S)
        query = f"?{target.query}" if target.query else ""
        connection.request("GET", f"{target.path or '/'}{query}", headers={"Connection": "close"})
        answer = connection.getresponse()
        answer.read(ANSWER_BYTES)
        if answer.status // 100 != 2:  # noqa: PLR2004 - HTTP's successes
            raise HTTPException(f"it answered {answer.status} {answer.reason}")


def unheard(rows: Sequence[OutboxRow]) -> tuple[OutboxRow | None, bool]:
    """The newest text that was taken, and whether a newer one was tried and still waits.

    A text that one channel has taken is heard, though another channel still tries it: that channel's failure is
    an alert of its own.
    """
    taken = next((row for row in rows if row.state == "sent"), None)
    newer = takewhile(lambda row: row is not taken, rows)
    said = (taken.key, taken.event) if taken is not None else None
    return taken, any(
        row.state == "waiting" and row.attempts and (row.key, row.event) != said for row in newer
    )


def _stages(reasons: Iterable[str]) -> tuple[str, ...]:
    return tuple(reason.partition(":")[0] for reason in reasons)
