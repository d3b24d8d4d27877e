"""What pages are made from: the store (read-only), the farm, its clock, and the picture of it.

The picture is the collector's memory as last stored, with every reading since then folded in by the same
functions; so a page knows a reading as soon as it is committed.
"""

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import TypeVar
from zlib import crc32

from shared.clock import Clock
from shared.estimates.picture import Picture, new_picture, observe, restore_picture
from shared.farm import Farm
from shared.requests import Request
from shared.store import Reader

Answer = TypeVar("Answer")

MINUTE_MS = 60_000
TEXTS_SHOWN = 12


@dataclass(slots=True)
class Sources:
    """Handed to every page; safe to use from several threads.

    `publish_request` returns when the broker has taken the request, and raises BrokerError when it has not.
    """

    reader: Reader
    farm: Farm
    clock: Clock
    publish_request: Callable[[Request], None]
    _picture: Picture | None = None
    _answers: dict[Hashable, tuple[int, object]] = field(default_factory=dict)
    _cursor: int = 0
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _answers_lock: threading.RLock = field(default_factory=threading.RLock)

    def ask(self, question: Callable[[Picture], Answer]) -> Answer:
        """Answer a question from the picture as it is now; nobody else changes it meanwhile."""
        with self._lock:
            return question(self._follow())

    def once_a_minute(self, key: Hashable, make: Callable[[], Answer]) -> Answer:
        """What is dear to work out, once a minute of farm time, whoever asks; others wait for it."""
        minute = self.clock() // MINUTE_MS
        with self._answers_lock:
            self._answers = {k: told for k, told in self._answers.items() if told[0] == minute}
            if key not in self._answers:
                self._answers[key] = (minute, make())
            answer: Answer = self._answers[key][1]  # type: ignore[assignment]  # made by the same key's `make`
            return answer

    def pulse(self) -> str:
        """A word that differs whenever a page would: new readings, alerts or texts, or another minute."""
        with self._lock:
            self._follow()
            seen = repr((self.reader.alerts(), self.reader.outbox(TEXTS_SHOWN)))
            return f"{self._cursor}.{crc32(seen.encode()):x}.{self.clock() // MINUTE_MS}"

    def _follow(self) -> Picture:
        while True:
            memory = self.reader.memory()
            # Readings that the memory holds may leave the inbox at any time; those beyond it stay there.
            if memory is not None and (self._picture is None or memory.cursor > self._cursor):
                self._picture = restore_picture(memory.picture, self.farm)
                self._cursor = memory.cursor
            elif self._picture is None:
                self._picture = new_picture(self.farm)
            arrived = self.reader.since(self._cursor)
            after = self.reader.memory()
            went_on = after is not None and after.cursor > self._cursor
            if went_on and (not arrived or arrived[0][0] > self._cursor + 1):
                continue  # what we asked for may have been moved away meanwhile
            for sequence, reading in arrived:
                observe(self._picture, self.farm, reading)
                self._cursor = sequence
            return self._picture
