"""A plain publisher that knows what the broker has acknowledged."""

import threading
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Any, Self

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from shared.broker import (
    VERSION_NAMES,
    address,
    connect_in_background,
    let_go,
    new_client,
    no_connection,
    speaks_no_such_version,
)
from shared.errors import BrokerError
from shared.settings import Settings

_NO_RECEIVE_MAXIMUM = 65_535
_CONNECT_S = 15.0
"""A satellite link needs a second or two; a broker that says nothing for longer is none."""

_CLOSED = "it closed the connection without a word; if it wants TLS, set LANTERN_BROKER_TLS"


class Publisher:
    """Publishes at QoS 1, waits when too many are unacknowledged, and counts what the broker took.

    A lost link is taken up again and what was unacknowledged is sent again, so a message may arrive twice but
    none is lost while this process lives.
    """

    def __init__(self, settings: Settings, client_id: str) -> None:
        self._settings = settings
        self._client_id = client_id
        self._changed = threading.Condition()
        self._answer: ReasonCode | str | None = None
        self._sent_count = 0
        self._acknowledged_count = 0
        self._refusal: str | None = None
        self._client: Client | None = None
        self._window_count = settings.inflight_count
        self._links_count = 0
        self._filters: tuple[str, ...] = ()
        self._live_only = False
        self._grants: list[ReasonCode] = []

    def __enter__(self) -> Self:
        """Connect.

        Raises:
            BrokerError: nobody there, or the broker refuses; the reason is the broker's.
        """
        for protocol in VERSION_NAMES:
            self._answer = None
            client = new_client(self._settings, self._client_id, protocol)
            answer = self._answer_to(client)
            if isinstance(answer, ReasonCode) and not answer.is_failure:
                self._client = client
                return self
            let_go(client)
            # Some brokers of 3.1.1 close without a word where MQTT 5 is spoken.
            if answer != _CLOSED and not (isinstance(answer, ReasonCode) and speaks_no_such_version(answer)):
                break
        raise BrokerError(f"the broker at {address(self._settings)} does not let us in: {answer}")

    def _answer_to(self, client: Client) -> ReasonCode | str:
        with self._changed:
            client.on_connect = self._on_connect
            client.on_connect_fail = self._on_connect_fail
            client.on_publish = self._on_publish
            client.on_disconnect = self._on_disconnect
            connect_in_background(client, self._settings)
            self._changed.wait_for(lambda: self._answer, _CONNECT_S)
            return self._answer or f"no answer within {_CONNECT_S:.0f} s"

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Disconnect."""
        if self._client is not None:
            let_go(self._client)
            self._client = None

    @property
    def sent_count(self) -> int:
        """Messages handed over so far."""
        return self._sent_count

    @property
    def acknowledged_count(self) -> int:
        """Messages the broker has taken so far."""
        return self._acknowledged_count

    @property
    def links_count(self) -> int:
        """How often the link was made; what passed between two links was not heard."""
        return self._links_count

    def hear(
        self,
        filters: Sequence[str],
        tell: Callable[[str, bytes, bool], object],
        *,
        live_only: bool = False,
    ) -> None:
        """Also hear what passes, from when this returns until the end, after a lost link again.

        Args:
            filters: None of them may overlap.
            tell: Gets topic, payload and the retain flag, in paho's thread, which an exception would end.
            live_only: Leave out what the broker has kept from before; the flag is then the sender's, which a
                broker of MQTT 3.1.1 does not pass on.

        Raises:
            BrokerError: the broker refuses a filter, or does not answer.
        """
        client = self._client
        assert client is not None, "use it as a context manager"
        tells_flags = client.protocol is MQTTProtocolVersion.MQTTv5

        def on_message(_client: Client, _: Any, message: MQTTMessage) -> None:
            if not (live_only and message.retain and not tells_flags):
                tell(message.topic, bytes(message.payload), message.retain)

        self._filters, self._live_only = tuple(filters), live_only
        client.on_message = on_message
        client.on_subscribe = self._on_subscribe
        self._subscribe(client)
        with self._changed:
            self._changed.wait_for(lambda: self._grants, _CONNECT_S)
            if not self._grants:
                raise BrokerError(f"the broker at {address(self._settings)} does not answer")
            for wanted, grant in zip(self._filters, self._grants, strict=True):
                if grant.is_failure:
                    raise BrokerError(f"the broker does not let us hear {wanted}: {grant}")

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, wait_s: float = 60.0) -> None:
        """Hand one message over, waiting for room.

        Raises:
            BrokerError: the broker refused a message before, or made no room in time.
        """
        assert self._client is not None, "use it as a context manager"
        with self._changed:
            has_room = self._changed.wait_for(
                lambda: self._refusal or self._unanswered() < self._window_count, wait_s
            )
            self._raise_refusal()
            if not has_room:
                raise BrokerError(f"the broker at {address(self._settings)} acknowledges nothing any more")
            self._sent_count += 1
        self._client.publish(topic, payload, qos=1, retain=retain)

    def wait_acknowledged(self, wait_s: float = 60.0) -> None:
        """Wait until the broker has taken all that was published.

        Raises:
            BrokerError: it refused a message, or did not take all in time.
        """
        with self._changed:
            self._changed.wait_for(lambda: self._refusal or self._unanswered() == 0, wait_s)
            self._raise_refusal()
            if self._unanswered():
                raise BrokerError(
                    f"{self._unanswered()} messages were not acknowledged within {wait_s:.0f} s"
                )

    def _subscribe(self, client: Client) -> None:
        if client.protocol is MQTTProtocolVersion.MQTTv5:
            kept = (
                SubscribeOptions.RETAIN_DO_NOT_SEND
                if self._live_only
                else SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE
            )
            options = SubscribeOptions(qos=1, retainAsPublished=self._live_only, retainHandling=kept)
            client.subscribe([(wanted, options) for wanted in self._filters])
        else:
            client.subscribe([(wanted, 1) for wanted in self._filters])

    def _unanswered(self) -> int:
        return self._sent_count - self._acknowledged_count

    def _raise_refusal(self) -> None:
        if self._refusal is not None:
            raise BrokerError(f"the broker refused a message: {self._refusal}")

    def _on_connect(self, client: Client, _: Any, _flags: Any, reason: ReasonCode, properties: Any) -> None:
        with self._changed:
            self._answer = reason
            # More than a broker of MQTT 5 can take at once ends the link.
            self._window_count = min(
                self._settings.inflight_count, getattr(properties, "ReceiveMaximum", _NO_RECEIVE_MAXIMUM)
            )
            self._links_count += not reason.is_failure
            self._changed.notify_all()
        if self._filters and not reason.is_failure:
            self._subscribe(client)

    def _on_subscribe(
        self, _client: Client, _: Any, _mid: int, grants: list[ReasonCode], _properties: Any
    ) -> None:
        with self._changed:
            self._grants = grants
            self._changed.notify_all()

    def _on_connect_fail(self, _client: Client, _: Any) -> None:
        with self._changed:
            self._answer = no_connection(self._settings).reason
            self._changed.notify_all()

    def _on_disconnect(
        self, _client: Client, _: Any, _flags: Any, _reason: ReasonCode, _properties: Any
    ) -> None:
        with self._changed:
            self._answer = self._answer or _CLOSED
            self._changed.notify_all()

    def _on_publish(self, _client: Client, _: Any, _mid: int, reason: ReasonCode, _properties: Any) -> None:
        with self._changed:
            if reason.is_failure:
                self._refusal = str(reason)
            else:
                self._acknowledged_count += 1
            self._changed.notify_all()
