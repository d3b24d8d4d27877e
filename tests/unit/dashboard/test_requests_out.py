import socket

import pytest

from dashboard.requests_out import publisher
from shared.errors import BrokerError
from shared.requests import Acknowledge
from shared.settings import Settings
from tests.fakes.pages import T0


def test_a_request_that_no_broker_takes_is_never_called_sent():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    publish = publisher(Settings(broker_port=port), "juniper-knob")
    with pytest.raises(BrokerError, match="no connection"):
        publish(Acknowledge("1", "Wren Tolliver", T0, alert="tank_nearly_full/lower"))
