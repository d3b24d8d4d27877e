"""Hands a person's request to the collector by way of the broker, and returns only when the broker has it."""

from collections.abc import Callable
from uuid import uuid4

from shared.publisher import Publisher
from shared.requests import Request, encode
from shared.settings import Settings

PATIENCE_S = 6.0
"""A person waits at the button: after so long it is better to say that it was not taken."""


def publisher(settings: Settings, farm_id: str) -> Callable[[Request], None]:
    """A function that publishes one request at QoS 1 and waits for the broker's acknowledgement.

    The function raises BrokerError when the broker cannot be reached, refuses us, or does not answer.
    """

    def publish(request: Request) -> None:
        # A client of its own for each request: they are rare, and no idle link has to be kept up for them.
        with Publisher(settings, f"lantern-page-{uuid4().hex[:12]}") as broker:
            broker.publish(f"lantern/{farm_id}/request", encode(request), wait_s=PATIENCE_S)
            broker.wait_acknowledged(PATIENCE_S)

    return publish
