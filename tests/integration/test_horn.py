"""The horn on a real broker: on when no phone takes a wake-up, off when somebody has it, and right after a kill."""

import json
import threading
from uuid import uuid4

import pytest

from collector.daemon import PROVEN
from shared.clock import system_clock
from shared.publisher import Publisher
from shared.requests import Acknowledge, encode
from shared.settings import Settings
from tests.fakes.phones import HttpPhone
from tests.fakes.servers import Mosquitto, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, side

pytestmark = needs_mosquitto

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
[[sensor]]
id = "lower-level"
quantity = "level"
unit = "in"
tank = "lower"
interval_s = 30
[rules.tank_nearly_full]
raise_hold_s = 0
[horn]
after_s = 1
[[contact]]
id = "owner"
name = "Wren"
channel = [{ id = "push", url = "PUSH" }]
"""


class Siren:
    """Hears what the horn is told, as a relay on the network does."""

    def __init__(self, broker):
        self._door = Publisher(Settings(broker_port=broker.port), f"siren-{uuid4().hex}")
        self._news = threading.Condition()
        self.said = []

    def __enter__(self):
        self._door.__enter__()
        self._door.hear(("lantern/knoll/horn",), self._hear)
        return self

    def __exit__(self, *how):
        self._door.__exit__(*how)

    def _hear(self, _topic, payload, retained):
        with self._news:
            self.said.append((payload.decode(), retained))
            self._news.notify_all()

    def waits_for(self, word, after=0):
        """Until so many were heard, and the last of them is that word."""
        with self._news:
            assert self._news.wait_for(lambda: self.said[after:] and self.said[-1][0] == word, PATIENCE_S), (
                self.said
            )


@pytest.fixture
def broker():
    with Mosquitto() as broker:
        yield broker


def say_level(broker, inches):
    with Publisher(Settings(broker_port=broker.port), "sensor") as door:
        door.publish("lantern/knoll/lower-level", json.dumps({"value": inches}).encode())
        door.wait_acknowledged()


def test_a_wake_up_that_no_phone_takes_sounds_the_horn_until_somebody_has_it(broker, tmp_path):
    with HttpPhone() as push:
        push.status = 503
        (tmp_path / "farm.toml").write_text(FARM.replace("PUSH", push.url))
        with side(["collect"], tmp_path, broker_port=broker.port) as collector, Siren(broker) as siren:
            siren.waits_for("off")
            collector.wait_until_said(PROVEN)
            say_level(broker, 47)
            siren.waits_for("on")
            collector.wait_until_said("error=503")  # why, in the phone's own words
            collector.kill()
            with Siren(broker) as another:
                another.waits_for("on")
                assert another.said == [("on", True)]
            said = len(siren.said)
            collector.start()
            collector.wait_until_said(PROVEN, count=2)
            siren.waits_for("on", after=said)
            with Publisher(Settings(broker_port=broker.port), "phone") as door:
                ask = Acknowledge("a1", "Wren", system_clock(), alert="tank_nearly_full/lower")
                door.publish("lantern/knoll/request", encode(ask))
                door.wait_acknowledged()
            siren.waits_for("off")
            assert {word for word, _ in siren.said[said:]} == {"on", "off"}
            assert collector.stop() == 0


def test_a_phone_that_takes_the_wake_up_silences_the_horn_also_by_a_text_of_before_a_kill(broker, tmp_path):
    with HttpPhone() as push, Siren(broker) as siren:
        push.status = 503
        (tmp_path / "farm.toml").write_text(FARM.replace("PUSH", push.url))
        with side(["collect"], tmp_path, broker_port=broker.port) as collector:
            collector.wait_until_said(PROVEN)
            say_level(broker, 47)
            siren.waits_for("on")
            taken = threading.Event()
            push.on_text = lambda _body: taken.set()
            push.status = 200
            assert taken.wait(PATIENCE_S)
            siren.waits_for("off")
            collector.kill()
            said = len(siren.said)
            collector.start()
            collector.wait_until_said(PROVEN, count=2)
            siren.waits_for("off", after=said)
            assert {word for word, _ in siren.said[said:]} == {"off"}
            assert collector.stop() == 0
