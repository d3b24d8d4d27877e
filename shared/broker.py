"""The one way to make an MQTT client, and how it stands with the broker.

MQTT 5 is tried first, since only there a broker says why it refuses; 3.1.1 follows where 5 is not spoken.
"""

import contextlib
import random
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from shared.errors import SettingsError
from shared.settings import Settings

KEEPALIVE_S = 30
VERSION_NAMES = {MQTTProtocolVersion.MQTTv5: "MQTT 5", MQTTProtocolVersion.MQTTv311: "MQTT 3.1.1"}
"""The versions we speak, the better one first."""
_UNSUPPORTED_VERSION = 132
_RECONNECT_LONGEST_S = (15, 25)
_LET_GO_S = 2.0


class Link(StrEnum):
    """How it stands with the broker."""

    CONNECTED = "connected"
    REFUSED = "refused"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class LinkState:
    """The link, with the broker's own reason or ours where it is not as it should be."""

    link: Link
    reason: str = ""


def new_client(
    settings: Settings, client_id: str, protocol: MQTTProtocolVersion, *, keeps_session: bool = False
) -> Client:
    """A client for the broker of these settings, not yet connected; a kept session is acknowledged by hand.

    Raises:
        SettingsError: the certificate authority's file cannot be used.
    """
    is_5 = protocol is MQTTProtocolVersion.MQTTv5
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        protocol=protocol,
        clean_session=None if is_5 else not keeps_session,
        manual_ack=keeps_session,
    )
    if settings.broker_user is not None:
        password = settings.broker_password
        client.username_pw_set(settings.broker_user, password.get_secret_value() if password else None)
    if settings.broker_tls:
        try:
            client.tls_set(ca_certs=str(settings.broker_ca_file) if settings.broker_ca_file else None)
        except OSError as error:
            raise SettingsError(
                f"broker_ca_file {settings.broker_ca_file} cannot be used: {error}"
            ) from error
    client.max_inflight_messages_set(settings.inflight_count)
    # Jitter: after a long outage every client of a broker would come back in the same second.
    client.reconnect_delay_set(1, random.randint(*_RECONNECT_LONGEST_S))  # noqa: S311
    return client


def connect_in_background(client: Client, settings: Settings, *, keeps_session: bool = False) -> None:
    """Start the client's own thread, which connects and reconnects by itself.

    MQTT 5 keeps nothing for a client that is away unless both flags say so: without `clean_start` false *and*
    an expiry the backlog is gone at the next start.
    """
    if client.protocol is MQTTProtocolVersion.MQTTv5:
        connect = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        if keeps_session:
            connect.SessionExpiryInterval = settings.session_expiry_s
            connect.ReceiveMaximum = settings.inflight_count
        client.connect_async(
            settings.broker_host,
            settings.broker_port,
            KEEPALIVE_S,
            clean_start=not keeps_session,
            properties=connect,
        )
    else:
        client.connect_async(settings.broker_host, settings.broker_port, KEEPALIVE_S)
    client.loop_start()


def speaks_no_such_version(reason: ReasonCode) -> bool:
    """Whether a CONNACK says that the broker does not know this MQTT version."""
    return reason.value == _UNSUPPORTED_VERSION


def address(settings: Settings) -> str:
    """The broker as people are told of it."""
    return f"{settings.broker_host}:{settings.broker_port}"


def let_go(client: Client) -> None:
    """Disconnect, without waiting for ever: the thread of a client that hangs cannot be joined."""
    client.on_connect = client.on_connect_fail = client.on_disconnect = None

    def end() -> None:
        with contextlib.suppress(Exception):
            client.disconnect()
            client.loop_stop()

    thread = threading.Thread(target=end, daemon=True)
    thread.start()
    thread.join(_LET_GO_S)


def ask_version(
    settings: Settings, client_id: str, tell: Callable[[MQTTProtocolVersion | LinkState], None]
) -> Client:
    """Ask in the background which MQTT the broker speaks; `tell` hears it, or why it is not known yet.

    With a client of its own, without a session: a broker of 3.1.1 may take the session's properties for the
    length of a name, wait for the rest of it and never answer.
    """
    client = new_client(settings, f"{client_id}-version", MQTTProtocolVersion.MQTTv5)
    answered = threading.Event()

    def on_connect(_client: Client, _: Any, _flags: Any, reason: ReasonCode, _properties: Any) -> None:
        answered.set()
        if not reason.is_failure:
            tell(MQTTProtocolVersion.MQTTv5)
        elif speaks_no_such_version(reason):
            tell(MQTTProtocolVersion.MQTTv311)
        else:
            tell(LinkState(Link.REFUSED, str(reason)))

    def on_connect_fail(_client: Client, _: Any) -> None:
        answered.set()
        tell(no_connection(settings))

    def on_disconnect(_client: Client, _: Any, _flags: Any, _reason: ReasonCode, _properties: Any) -> None:
        if not answered.is_set():  # closed without a word, as some brokers of 3.1.1 do
            tell(MQTTProtocolVersion.MQTTv311)
        answered.clear()

    client.on_connect = on_connect
    client.on_connect_fail = on_connect_fail
    client.on_disconnect = on_disconnect
    connect_in_background(client, settings)
    return client


def no_connection(settings: Settings) -> LinkState:
    """Why nobody was there; to be called where paho reports it, which is within its except clause."""
    return LinkState(Link.DOWN, f"no connection to {address(settings)}: {sys.exception()}")
