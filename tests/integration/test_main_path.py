"""The main job on real parts: a sensor's message in, a text on the phone, on both brokers."""

import json
import subprocess
import time

import pytest

from collector.daemon import PROVEN
from collector.embedded_broker import EmbeddedBroker
from shared.alerts import AlertState
from shared.publisher import Publisher
from shared.readings import Quantity
from shared.requests import Acknowledge, encode
from shared.settings import Settings
from shared.store.sqlite_reader import open_reader
from tests.fakes.phones import HttpPhone, MailPhone
from tests.fakes.servers import Mosquitto, free_port, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, side, wait_until

FARM = """
[farm]
id = "knoll"
name = "Knoll"
timezone = "America/New_York"
elevation_ft = 1450

[[tank]]
id = "lower"
shape = "box"
length_ft = 10
width_ft = 5
height_ft = 4

# As common open sensor firmware speaks: its own topic, nested, numbers as text beside words.
[[sensor]]
id = "lower-level"
quantity = "level"
unit = "in"
tank = "lower"
interval_s = 30
topic = "tele/sugarhouse/SENSOR"
field = "/SR04/Distance"
mount_height_in = 60

[rules.tank_nearly_full]
raise_hold_s = 0
clear_hold_s = 0

[[contact]]
id = "owner"
name = "Wren"
channel = [{ id = "push", url = "PUSH" }, { id = "mail", url = "MAIL", after_min = 0 }]
"""


def firmware(distance_in):
    said = {
        "Uptime": "0T01:02:03",
        "SR04": {"Distance": f"{distance_in:.1f}", "State": "OK"},
        "Wifi": {"RSSI": "-61"},
    }
    return json.dumps(said)


@pytest.fixture(params=["mosquitto", "embedded"])
def broker(request):
    if request.param == "mosquitto":
        with Mosquitto() as broker:
            yield broker
    else:
        with EmbeddedBroker(free_port()) as broker:
            yield broker


pytestmark = needs_mosquitto


def mosquitto_pub(broker, topic, payload):
    subprocess.run(
        ["mosquitto_pub", "-p", str(broker.port), "-q", "1", "-t", topic, "-m", payload],
        check=True,
        timeout=PATIENCE_S,
    )


def test_a_tank_nearly_full_reaches_the_phone_and_is_acknowledged(broker, tmp_path):
    with HttpPhone() as push, MailPhone() as mail:
        (tmp_path / "farm.toml").write_text(FARM.replace("PUSH", push.url).replace("MAIL", mail.url))
        store_file = tmp_path / "lantern.sqlite"
        with side(["collect"], tmp_path, broker_port=broker.port) as collector:
            collector.wait_until_said(PROVEN)
            mosquitto_pub(broker, "tele/sugarhouse/SENSOR", firmware(50))  # 10 of 48 in
            time.sleep(1.2)  # a subject is judged once a second at the most
            assert push.inbox.bodies == []
            mosquitto_pub(broker, "tele/sugarhouse/SENSOR", firmware(13.5))  # 46.5 of 48 in: 97 %
            (text,) = push.inbox.wait_for(1)
            assert text.startswith("Lower tank is 97% full. 1,449 of 1,496 gal")
            (long,) = mail.inbox.wait_for(1)
            assert long.startswith("Knoll: Lower tank is 97% full.")

            reader = open_reader(store_file, {"lower-level": Quantity.LEVEL})
            (alert,) = [a for a in reader.alerts() if a.state is AlertState.ACTIVE]
            with Publisher(Settings(broker_port=broker.port), "phone") as door:
                ask = Acknowledge(id="a1", by="Wren", asked_ms=alert.raised_ms + 1000, alert=alert.key)
                door.publish("lantern/knoll/request", encode(ask))
                door.wait_acknowledged()
            wait_until(lambda: reader.alerts()[0].state is AlertState.ACKNOWLEDGED)
            assert reader.alerts()[0].acknowledged_by == "Wren"

            assert [r.state for r in reader.outbox(10)] == ["sent"] * 2
            reader.close()
            assert collector.stop() == 0


def test_what_cannot_be_read_is_kept_with_its_reason_and_the_rest_goes_on(broker, tmp_path):
    with HttpPhone() as push:
        (tmp_path / "farm.toml").write_text(FARM.replace("PUSH", push.url).replace("MAIL", push.url))
        with side(["collect"], tmp_path, broker_port=broker.port) as collector:
            collector.wait_until_said(PROVEN)
            for payload in (
                "garbage",
                firmware(50).replace("50.0", "nan"),
                '{"SR04":{"Distance":null}}',
                firmware(50),
            ):
                mosquitto_pub(broker, "tele/sugarhouse/SENSOR", payload)
            reader = open_reader(tmp_path / "lantern.sqlite", {"lower-level": Quantity.LEVEL})
            wait_until(lambda: "lower-level" in reader.latest())
            rejects = reader.rejects(10)
            reader.close()
    assert [r.payload for r in rejects][::-1][0] == b"garbage"
    assert len(rejects) == 3
    assert all(r.reason for r in rejects)
