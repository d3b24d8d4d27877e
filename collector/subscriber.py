"""Messages in from the broker: none is acknowledged before the daemon says it is committed.

The paho callbacks only append to a queue; they cannot raise, since an exception there would end paho's thread
while everything still looks connected. What is guaranteed at each step:

1. A message is taken in: nothing is promised, the broker keeps it. If we die, it comes again.
2. The daemon has committed it and calls `acknowledge`: only now is PUBACK sent, in order of receipt, and only
   if the connection it came by still stands. Packet ids begin again when a broker has lost the session, so a
   late PUBACK could confirm another message, which would be gone for good.
3. If we die between commit and PUBACK it comes again and keeps the time of its first arrival (`arrivals`), so
   that it has the same key in the store as before, even where that time is the arrival itself.

On every connect the filters are subscribed again, the answers are looked at, and a canary is sent. Until it
comes back, messages may be a backlog: they carry `waiting_since_ms`. When nothing has come for a keepalive a
canary is sent as a pulse; a client that stays silent after that is thrown away and built anew.
"""

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.arrivals import Arrivals, Received
from shared.broker import (
    KEEPALIVE_S,
    VERSION_NAMES,
    Link,
    LinkState,
    ask_version,
    connect_in_background,
    let_go,
    new_client,
    no_connection,
    speaks_no_such_version,
)
from shared.clock import Clock
from shared.settings import Settings

LINGER_S = 0.1
"""How long a batch may wait to grow: one commit for many messages, and still at once to a person."""
SILENT_S = 2 * KEEPALIVE_S
"""Longer than any pause between two attempts to connect: a client that shows no life for this is stuck."""
_GOODBYE_S = 2.0
_GRANTED_QOS_1 = 1


class Subscriber:
    """The collector's session at the broker."""

    def __init__(
        self,
        settings: Settings,
        farm_id: str,
        filters: Sequence[str],
        clock: Clock,
        monotonic: Callable[[], float],
        *,
        unwanted: Sequence[str] = (),
        arrivals: Arrivals | None = None,
    ) -> None:
        """Make ready; `start` connects.

        Args:
            settings: Where the broker is and how much may be unacknowledged.
            farm_id: Gives the client id and Lantern's own topics.
            filters: What to subscribe to.
            clock: Farm time, for `received_ms`.
            monotonic: For waiting and silence.
            unwanted: Filters of an earlier start that a kept session still holds.
            arrivals: What is known of messages that came before; None: nothing.
        """
        self._settings = settings
        self.canary_topic = f"lantern/{farm_id}/canary"
        self.status_topic = f"lantern/{farm_id}/collector/status"
        self._client_id = settings.broker_client_id or f"lantern-{farm_id}"
        self._filters = tuple(filters)
        self._unwanted = tuple(unwanted)
        self._clock = clock
        self._monotonic = monotonic
        self._arrivals = arrivals or Arrivals(settings.inflight_count)
        # Reentrant: paho may call back from within our own call of it.
        self._lock = threading.RLock()
        self._news = threading.Condition(self._lock)
        self._queue: deque[Received] = deque()
        self._wake_count = 1
        self._epoch = 0
        self._connected_epoch: int | None = None
        self._state = LinkState(Link.DOWN, "not started")
        self._refused_filters: dict[str, str] = {}
        self._heard_s = 0.0
        self._pulse_sent = False
        self._protocol: MQTTProtocolVersion | None = None
        self._asks_version = False
        self._client: Client | None = None

    @property
    def state(self) -> LinkState:
        """The link as it is now."""
        return self._state

    @property
    def refused_filters(self) -> dict[str, str]:
        """Filters the broker did not grant at QoS 1, with its reason."""
        return dict(self._refused_filters)

    @property
    def protocol(self) -> str:
        """The MQTT version the broker speaks, empty until it is known."""
        return VERSION_NAMES[self._protocol] if self._protocol is not None else ""

    def start(self) -> None:
        """Connect in the background; a broker that is down is waited for."""
        self._build()

    def stop(self) -> None:
        """Say goodbye and let go; what is not acknowledged comes again at the next start."""
        client, self._client = self._client, None
        if client is None:
            return
        with contextlib.suppress(RuntimeError, ValueError):
            client.publish(self.status_topic, "offline", qos=1, retain=True).wait_for_publish(_GOODBYE_S)
        with self._lock:
            self._connected_epoch = None
            self._state = LinkState(Link.DOWN, "stopped")
        let_go(client)

    def take(self, max_count: int, wait_s: float, linger_s: float = LINGER_S) -> list[Received]:
        """Up to `max_count` messages, in order of receipt.

        Waits up to `wait_s` for the first and then up to `linger_s` for more, unless there are enough. Also
        looks after the client, so it must be called again and again.
        """
        self._look_after()
        with self._news:
            self._wake_count = 1
            if self._news.wait_for(lambda: self._queue or self._needs_other_client(), wait_s):
                self._wake_count = max_count
                self._news.wait_for(lambda: len(self._queue) >= max_count, linger_s)
            return [self._queue.popleft() for _ in range(min(max_count, len(self._queue)))]

    def acknowledge(self, items: Iterable[Received]) -> None:
        """Tell the broker that these are committed; in the order in which `take` gave them."""
        with self._lock:
            client = self._client
            for item in items:
                if client is not None and item.qos > 0 and item.epoch == self._connected_epoch:
                    client.ack(item.mid, item.qos)

    def publish(self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False) -> bool:
        """Publish now; False, and nothing kept for later, while there is no link."""
        # Without our lock: paho holds its own while it calls back, and the callback asks for ours.
        client = self._client
        if client is None or self._connected_epoch is None:
            return False
        return client.publish(topic, payload, qos, retain).rc is MQTTErrorCode.MQTT_ERR_SUCCESS

    def send_canary(self, token: str) -> bool:
        """Send a token that should come back by the same path as any reading."""
        return self.publish(self.canary_topic, token.encode())

    def _build(self) -> None:
        with self._lock:
            self._connected_epoch = None
            self._heard()
            self._asks_version = self._protocol is None
            if self._protocol is None:
                self._client = ask_version(self._settings, self._client_id, self._on_version)
                return
            client = new_client(self._settings, self._client_id, self._protocol, keeps_session=True)
            self._client = client
        client.will_set(self.status_topic, "offline", qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        connect_in_background(client, self._settings, keeps_session=True)

    def _look_after(self) -> None:
        """Rebuild the client where it cannot go on by itself; pulse where nothing has come for long."""
        client = self._client
        if client is None:
            return
        silent_s = self._monotonic() - self._heard_s
        if silent_s > SILENT_S:
            self._state = LinkState(Link.DOWN, f"no sign of life for {silent_s:.0f} s")
        elif not self._needs_other_client():
            if silent_s > KEEPALIVE_S and not self._pulse_sent:
                self._pulse_sent = self.send_canary(f"pulse {self._client_id} {self._epoch}")
            return
        let_go(client)
        self._build()

    def _needs_other_client(self) -> bool:
        return self._asks_version != (self._protocol is None)

    def _on_version(self, answer: MQTTProtocolVersion | LinkState) -> None:
        with self._news:
            self._heard()
            if isinstance(answer, LinkState):
                self._state = answer
            else:
                self._protocol = answer
                self._news.notify()

    def _on_connect(self, client: Client, _: Any, flags: Any, reason: ReasonCode, _properties: Any) -> None:
        with self._lock:
            if client is not self._client:
                return
            self._heard()
            if reason.is_failure:
                self._state = LinkState(Link.REFUSED, str(reason))
                if speaks_no_such_version(reason):  # another broker has taken the place of the one we asked
                    self._protocol = None
                return
            self._epoch += 1
            self._connected_epoch = self._epoch
            self._state = LinkState(Link.CONNECTED)
            drain_token = f"drain {self._client_id} {self._epoch} {self._clock()}".encode()
            self._arrivals.connected(
                session_present=flags.session_present, drain_token=drain_token, now_s=self._heard_s
            )
        client.subscribe([(topic, 1) for topic in self._filters])
        if self._unwanted:
            client.unsubscribe(list(self._unwanted))
        client.publish(self.status_topic, "online", qos=1, retain=True)
        client.publish(self.canary_topic, drain_token, qos=1)

    def _on_connect_fail(self, client: Client, _: Any) -> None:
        with self._lock:
            if client is self._client:
                self._heard()
                self._state = no_connection(self._settings)

    def _on_disconnect(
        self, client: Client, _: Any, _flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        with self._lock:
            if client is not self._client:
                return
            self._heard()
            self._connected_epoch = None
            if self._state.link is Link.CONNECTED:  # a refusal keeps the broker's own reason
                self._state = LinkState(Link.DOWN, f"link lost: {reason}")

    def _on_subscribe(
        self, client: Client, _: Any, _mid: int, reasons: list[ReasonCode], _properties: Any
    ) -> None:
        with self._lock:
            if client is self._client:
                self._heard()
                self._refused_filters = {
                    topic: str(reason)
                    for topic, reason in zip(self._filters, reasons, strict=False)
                    if reason.value != _GRANTED_QOS_1
                }

    def _on_publish(self, client: Client, _: Any, _mid: int, _reason: ReasonCode, _properties: Any) -> None:
        if client is self._client:  # no lock here, see publish()
            self._heard()
            self._arrivals.last_alive_ms = self._clock()

    def _on_message(self, client: Client, _: Any, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "\N{REPLACEMENT CHARACTER}"
        with self._news:
            if client is not self._client:
                return  # not acknowledged, so the broker brings it again to the client that took its place
            self._heard()
            self._queue.append(
                self._arrivals.received(
                    epoch=self._epoch,
                    mid=message.mid,
                    qos=message.qos,
                    topic=topic,
                    payload=bytes(message.payload),
                    retain=message.retain,
                    dup=message.dup,
                    now_ms=self._clock(),
                    now_s=self._heard_s,
                )
            )
            # A wake-up for each message of a backlog would cost more than all the rest of its way.
            if len(self._queue) >= self._wake_count:
                self._news.notify()

    def _heard(self) -> None:
        self._heard_s = self._monotonic()
        self._pulse_sent = False
