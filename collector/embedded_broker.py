"""A small broker in this process, for the demo and quick tests; not durable, and it says so.

It keeps nothing on disk, speaks only MQTT 3.1.1 and drops what a subscriber has not acknowledged when the
link breaks. A farm runs Mosquitto with deploy/mosquitto/lantern.conf.

amqtt speaks MQTT here, and listening and ending are ours, because amqtt 0.12 loses connections: its writer calls
itself closed before it has closed, so one whose client has reset the link stays open for good; a client that
left before its first packet is never closed; and its shutdown knows only clients that have introduced themselves.
"""

import asyncio
import logging
import threading
from collections.abc import Coroutine
from contextlib import suppress
from types import TracebackType
from typing import Any, Self

from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter  # type: ignore[import-untyped]
from amqtt.broker import Broker  # type: ignore[import-untyped]

from shared.errors import BrokerError

NOT_DURABLE = (
    "Embedded broker on {host}:{port}: for the demo only. It is not durable: what it holds is lost when it "
    "stops. On the farm use Mosquitto."
)
_ANSWER_S = 10.0
_CONFIG = {
    "listeners": {"default": {"type": "external"}},  # it does not listen itself
    "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
}


class EmbeddedBroker:
    """Runs while the context is open, on loopback by default."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        self.port = port
        self.host = host
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="embedded-broker", daemon=True)
        self._broker: Broker | None = None
        self._listener: asyncio.Server | None = None
        self._clients: dict[asyncio.Task[None], tuple[asyncio.StreamWriter, StreamWriterAdapter]] = {}

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
            self._run(self._begin())
        except Exception as error:
            self._end()
            raise BrokerError(
                f"the embedded broker cannot listen on {self.host}:{self.port}: {error}"
            ) from error
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop listening; no task, thread or socket is left."""
        self._end()

    def _run(self, work: Coroutine[Any, Any, None]) -> None:
        asyncio.run_coroutine_threadsafe(work, self._loop).result(_ANSWER_S)

    def _end(self) -> None:
        with suppress(TimeoutError):
            self._run(self._leave())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(_ANSWER_S)
        self._loop.close()

    async def _begin(self) -> None:
        self._broker = Broker(_CONFIG, loop=self._loop)
        await self._broker.start()
        self._listener = await asyncio.start_server(self._welcome, self.host, self.port)

    def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Not a coroutine: a client is known from its first moment, whenever the end may come."""
        assert self._broker is not None
        door = StreamWriterAdapter(writer)
        served = self._broker.external_connected(StreamReaderAdapter(reader), door, "default")
        task = self._loop.create_task(served)
        self._clients[task] = writer, door
        task.add_done_callback(self._part)

    def _part(self, task: asyncio.Task[None]) -> None:
        """What amqtt should have closed is closed."""
        writer, _ = self._clients.pop(task)
        writer.transport.abort()

    async def _leave(self) -> None:
        """End everything, without amqtt's shutdown: it saves nothing, and it waits for clients that do not read."""
        if self._listener is not None:
            for listening in self._listener.sockets:
                self._loop.remove_reader(listening)
            # The client just accepted is given its link; after the listener's end asyncio would lose the socket.
            await asyncio.sleep(0)
            self._listener.close()
        # What is cut off now has no news to tell.
        self._loop.set_exception_handler(lambda _loop, _context: None)
        while left := asyncio.all_tasks() - {asyncio.current_task()}:
            for writer, door in self._clients.values():
                door.is_closed = True  # amqtt writes no more
                writer.transport.abort()
            for task in left:
                task.cancel()
            # Not for ever: some of amqtt's tasks take one cancel for an answer to something else and go on.
            await asyncio.wait(left, timeout=0.1)
