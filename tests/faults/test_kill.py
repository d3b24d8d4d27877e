"""kill -9 of the collector in the middle of a replay: every message that was published is stored exactly once."""

import json
import sqlite3
import threading

import pytest

from collector.daemon import PROVEN
from shared.clock import system_clock
from shared.publisher import Publisher
from shared.settings import Settings
from tests.fakes.servers import Mosquitto, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, side, wait_until

pytestmark = needs_mosquitto

FARM = """
[farm]
id = "knoll"
name = "Knoll"
timezone = "America/New_York"
elevation_ft = 1450
[[sensor]]
id = "timed"
quantity = "stack_temperature"
unit = "Cel"
"""
BARE = [f"bare-{number}" for number in range(20)]
FARM += "".join(f'[[sensor]]\nid = "{sensor}"\nquantity = "battery"\nunit = "V"\n' for sensor in BARE)
COUNT = 6000
KILLS = 4


def publish_all(broker, begun):
    """Half with a time of their own, half without: both kinds must be known again when they are redelivered."""
    start_ms = system_clock() - COUNT * 1000
    with Publisher(Settings(broker_port=broker.port), "sensors") as door:
        for number in range(COUNT):
            if number % 2:
                sensor = BARE[number // 2 % len(BARE)]
                door.publish(f"lantern/knoll/{sensor}", f"{number / 1000:.3f}".encode())
            else:
                at_s = (start_ms + number * 1000) / 1000
                door.publish(
                    "lantern/knoll/timed", json.dumps({"value": number / 100, "time": at_s}).encode()
                )
            if number == COUNT // 10:
                begun.set()
        door.wait_acknowledged()


def stored(path, sensors):
    """All values of sensors whose id begins so, what was refused, and how many conflicts there were."""
    with sqlite3.connect(path) as connection:
        rows = connection.execute(
            "SELECT value FROM series JOIN (SELECT series, value FROM inbox UNION ALL SELECT series, value FROM"
            " reading) ON series = id WHERE sensor LIKE ? || '%'",
            (sensors,),
        ).fetchall()
        refused = connection.execute("SELECT reason, count(*) FROM reject GROUP BY reason").fetchall()
        conflicts = connection.execute("SELECT count(*) FROM conflict").fetchone()[0]
    connection.close()
    return sorted(value for (value,) in rows), refused, conflicts


def test_every_message_is_stored_exactly_once(tmp_path):
    (tmp_path / "farm.toml").write_text(FARM)
    path = tmp_path / "lantern.sqlite"
    with Mosquitto() as broker, side(["collect"], tmp_path, broker_port=broker.port) as collector:
        collector.wait_until_said(PROVEN)
        begun = threading.Event()
        sensors = threading.Thread(target=publish_all, args=(broker, begun))
        sensors.start()
        assert begun.wait(PATIENCE_S)
        for kill in range(KILLS):
            collector.kill()
            collector.start()
            collector.wait_until_said(PROVEN, count=kill + 2)
        sensors.join()
        half = COUNT // 2
        wait_until(
            lambda: [len(stored(path, s)[0]) for s in ("timed", "bare")] == [half, half],
            lambda: [(len(stored(path, s)[0]), stored(path, s)[1:]) for s in ("timed", "bare")],
        )
        assert collector.stop() == 0
    timed, refused, conflicts = stored(path, "timed")
    assert timed == pytest.approx([number / 100 for number in range(0, COUNT, 2)])
    assert stored(path, "bare")[0] == pytest.approx([number / 1000 for number in range(1, COUNT, 2)])
    assert (refused, conflicts) == ([], 0)
