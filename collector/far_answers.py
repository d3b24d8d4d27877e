"""Answers from far away: over connections that the farm opens, since nobody can reach it from outside.

    remote broker's topic, or a push service's stream -> is it an answer? -> request to the farm's own broker

An answer is let go where it came from only when the farm's own broker has it. The code in it says whose it is;
what it may do is decided where every request is (people.py).
"""

import json
import logging
import threading
from collections.abc import Callable, Iterable
from types import TracebackType
from typing import Self

import requests

from collector.alerting.answers import answer_of
from collector.subscriber import Subscriber
from shared.clock import Clock
from shared.errors import BrokerError, PayloadError
from shared.publisher import Publisher
from shared.requests import encode
from shared.settings import Settings

LOG = logging.getLogger(__name__)

RETRY_S = (5.0, 15.0, 60.0)
TAKE_COUNT = 10
TAKE_WAIT_S = 1.0
SILENT_S = 180.0
"""A push service sends a sign of life at least each minute or two; a stream silent for longer is dead."""


class FarAnswers:
    """Listens far away, in threads of its own, and hands answers to the farm's broker."""

    def __init__(
        self, settings: Settings, farm_id: str, clock: Clock, monotonic: Callable[[], float]
    ) -> None:
        self._settings = settings
        self._farm_id = farm_id
        self._clock = clock
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self._far: Subscriber | None = None
        if settings.far_broker is not None:
            heard = (f"lantern/{farm_id}/answer", f"lantern/{farm_id}/canary")
            self._far = Subscriber(settings.for_far_broker(farm_id), farm_id, heard, clock, monotonic)
            self._threads.append(threading.Thread(target=self._hear_broker, name="far-broker", daemon=True))
        if settings.answer_stream is not None:
            self._threads.append(
                threading.Thread(target=self._hear_stream, name="answer-stream", daemon=True)
            )

    def __enter__(self) -> Self:
        """Begin to listen, where the settings say so."""
        if self._far is not None:
            self._far.start()
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop; a stream that hangs is left to its own end."""
        self._stopping.set()
        for thread in self._threads:
            thread.join(TAKE_WAIT_S + 1.0)
        if self._far is not None:
            self._far.stop()

    def _hear_broker(self) -> None:
        far = self._far
        assert far is not None
        known, proven = None, False
        while not self._stopping.is_set():
            items = far.take(TAKE_COUNT, TAKE_WAIT_S)
            if far.state != known:
                known, proven = far.state, False
                LOG.info("the far broker: %s %s", known.link, known.reason)
            if not proven and any(item.topic == far.canary_topic for item in items):
                proven = True
                LOG.info("answers are heard by way of the far broker")
            said = [item.payload.decode(errors="replace") for item in items if item.topic != far.canary_topic]
            if items and self._hand_over(said):
                far.acknowledge(items)

    def _hear_stream(self) -> None:
        assert self._settings.answer_stream is not None
        url = self._settings.answer_stream.get_secret_value()
        since, attempt = "1h", 0
        while not self._stopping.is_set():
            try:
                with requests.get(
                    url, params={"since": since}, stream=True, timeout=(20.0, SILENT_S)
                ) as answer:
                    answer.raise_for_status()
                    attempt = 0
                    for line in answer.iter_lines():
                        if self._stopping.is_set():
                            return
                        since = self._hear_line(line) or since
            except (requests.RequestException, OSError) as error:
                LOG.warning("the answers' stream is away: %s", error)
            self._stopping.wait(RETRY_S[min(attempt, len(RETRY_S) - 1)])
            attempt += 1

    def _hear_line(self, line: bytes) -> str | None:
        """Take one line of the stream; the id to go on from after it, where it has one."""
        try:
            event = json.loads(line) if line else None
        except ValueError:
            return None
        if not isinstance(event, dict) or not isinstance(event.get("message"), str):
            return None
        if not self._hand_over([event["message"]]):
            return None
        return event["id"] if isinstance(event.get("id"), str) else None

    def _hand_over(self, said: Iterable[str]) -> bool:
        """Give answers to the farm's broker, trying until it has them; False when told to stop before."""
        answers = []
        for words in said:
            try:
                answers.append(answer_of(words, self._clock()))
            except PayloadError as error:
                LOG.warning("not an answer: %.40r (%s)", words, error)
        attempt = 0
        while answers:
            try:
                with Publisher(self._settings, f"lantern-{self._farm_id}-far-answers") as broker:
                    for answer in answers:
                        broker.publish(f"lantern/{self._farm_id}/request", encode(answer))
                    broker.wait_acknowledged()
                return True
            except BrokerError as error:
                LOG.warning("an answer waits for the farm's broker: %s", error)
                if self._stopping.wait(RETRY_S[min(attempt, len(RETRY_S) - 1)]):
                    return False
                attempt += 1
        return True
