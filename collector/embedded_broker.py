"""A small broker in this process, for the demo and quick tests; not durable, and it says so.

It keeps nothing on disk, speaks only MQTT 3.1.1 and drops what a subscriber has not acknowledged when the
link breaks. A farm runs Mosquitto with deploy/mosquitto/lantern.conf.
"""

import asyncio
import logging
import threading
from collections.abc import Coroutine
from types import TracebackType
from typing import Any, Self

from amqtt.broker import Broker  # type: ignore[import-untyped]

from shared.errors import BrokerError

NOT_DURABLE = (
    "Embedded broker on {host}:{port}: for the demo only. It is not durable: what it holds is lost when it "
    "stops. On the farm use Mosquitto."
)
_ANSWER_S = 10.0


class EmbeddedBroker:
    """Runs while the context is open, on loopback by default."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        self.port = port
        self.host = host
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="embedded-broker", daemon=True)
        self._broker: Broker | None = None

    @property
    def notice(self) -> str:
        """What to tell people before they rely on it."""
        return NOT_DURABLE.format(host=self.host, port=self.port)

    def __enter__(self) -> Self:
        """Start listening.

        Raises:
            BrokerError: the port is taken.
        """
        # Its own log repeats every connect and, at full speed, every acknowledgement.
        logging.getLogger("amqtt").setLevel(logging.CRITICAL)
        logging.getLogger("transitions").setLevel(logging.CRITICAL)
        self._thread.start()
        try:
            self._broker = self._run(_started(f"{self.host}:{self.port}"))
        except Exception as error:
            self._end()
            raise BrokerError(
                f"the embedded broker cannot listen on {self.host}:{self.port}: {error}"
            ) from error
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop listening."""
        if self._broker is not None:
            self._run(self._broker.shutdown())
        self._end()

    def _run(self, work: Coroutine[Any, Any, Any]) -> Any:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(_ANSWER_S)

    def _end(self) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(_ANSWER_S)
        self._loop.close()


async def _started(bind: str) -> Broker:
    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": bind}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        },
        loop=asyncio.get_running_loop(),
    )
    await broker.start()
    return broker
