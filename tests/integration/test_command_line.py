"""The commands as an owner types them, on a real broker."""

import gzip
import json

import pytest

from lantern import main
from shared.instants import instant_text
from shared.publisher import Publisher
from shared.settings import Settings
from tests.fakes.servers import Mosquitto, needs_mosquitto
from tests.fakes.sides import ROOT, side, wait_until

pytestmark = needs_mosquitto
DEMO_FARM = str(ROOT / "sample_streams/juniper-knob.toml")

FARM = """
[farm]
id = "knoll"
name = "Knoll"
timezone = "America/New_York"
elevation_ft = 1450
[[line]]
id = "ledge"
kind = "mainline"
length_ft = 1000
bore_in = 1
taps = 100
[[sensor]]
id = "ledge-far"
quantity = "vacuum"
unit = "inHg"
line = "ledge"
rules.vacuum_lost.trip_drop_inhg = 4
[[sensor]]
id = "air"
quantity = "air_temperature"
unit = "degF"
"""


def test_check_prints_the_farm_as_it_was_understood(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")
    assert main(["check", "--farm", DEMO_FARM]) == 0
    said = capsys.readouterr().out
    for words in (
        "3,200 taps, 1,450 ft",
        "2,800 gal",
        "trip drop 3 inHg",
        "Wren Tolliver",
        "tank_nearly_full",
    ):
        assert words in said


def test_check_prints_who_is_told_by_what_when_and_what_sounds_on_the_farm(capsys, monkeypatch, tmp_path):
    monkeypatch.setenv("COLUMNS", "160")
    told = """
[horn]
topic = "siren/cmnd/POWER"
unanswered_min = 30
[[contact]]
id = "owner"
name = "Wren"
quiet = { from = "22:00", to = "06:00" }
channel = [{ id = "push", url = "x:" }, { id = "mail", url = "x:" }, { id = "bell", url = "x:", after_min = 0 }]
[[contact]]
id = "neighbour"
name = "Abel"
quiet = { from = "21:00", to = "07:00", holds = "wake" }
channel = [{ id = "phone", url = "x:" }]
"""
    (tmp_path / "farm.toml").write_text(FARM + told)
    assert main(["check", "--farm", str(tmp_path / "farm.toml")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "owner Wren push, mail after 3 min, bell at once 22:00-06:00, but for wake-ups" in said
    assert "neighbour Abel phone 21:00-07:00, wake-ups too" in said
    assert (
        "Horn when a wake-up was taken by no channel for 5 min, or answered by nobody for 30 min:"
        " on or off to siren/cmnd/POWER" in said
    )


def test_check_prints_a_mistake_with_its_key_and_fix(capsys, tmp_path):
    (tmp_path / "farm.toml").write_text(FARM.replace('unit = "degF"', 'unit = "warm"'))
    assert main(["check", "--farm", str(tmp_path / "farm.toml")]) == 1
    assert "sensor \"air\": unit = 'warm': not a unit we know; use one of Pa" in capsys.readouterr().err


def test_a_missing_farm_file_is_said_plainly(capsys, tmp_path):
    assert main(["check", "--farm", str(tmp_path / "none.toml")]) == 1
    assert "cannot read the farm file" in capsys.readouterr().err


def test_check_listen_says_who_is_heard_who_is_not_and_what_nobody_claims(tmp_path):
    (tmp_path / "farm.toml").write_text(FARM)
    with Mosquitto() as broker, side(["check", "--listen", "2"], tmp_path, broker_port=broker.port) as check:
        check.wait_until_said("Listening")
        with Publisher(Settings(broker_port=broker.port), "sensor") as door:
            while check.wait(0.2) is None:
                door.publish("lantern/knoll/ledge-far", b"24.5")
                door.publish("garage/door", b"open")
        assert check.wait(0) == 1  # somebody was not heard
        said = check.said()
    assert "24.5 inHg" in said
    assert "not heard" in said
    assert "garage/door" in said
    assert "rule" in said
    assert "trip drop 4 inHg" in said


def test_a_broker_that_is_not_there_is_said_plainly(capsys, tmp_path):
    (tmp_path / "farm.toml").write_text(FARM)
    assert (
        main(["check", "--farm", str(tmp_path / "farm.toml"), "--listen", "1", "--broker", "127.0.0.1:1"])
        == 1
    )
    assert "127.0.0.1:1" in capsys.readouterr().err


@pytest.mark.parametrize(("name", "opened"), [("night.jsonl", open), ("night.jsonl.gz", gzip.open)])
def test_a_replay_at_full_speed_reaches_the_store_whole(capsys, tmp_path, name, opened):
    (tmp_path / "farm.toml").write_text(FARM)
    start_ms = 1_772_000_000_000
    lines = []
    for number in range(500):
        at = instant_text(start_ms + number * 10_000)
        payload = {"value": 40 + number / 1000, "time": at}
        lines.append(json.dumps({"t": at, "topic": "lantern/knoll/air", "payload": payload}))
    with opened(tmp_path / name, "wt") as stream:
        stream.write("\n".join(lines))
    with Mosquitto() as broker, side(["collect"], tmp_path, broker_port=broker.port) as collector:
        collector.wait_until_said("proven")
        where = ["--broker", f"127.0.0.1:{broker.port}", "--farm", str(tmp_path / "farm.toml")]
        assert main(["replay", str(tmp_path / name), "--speed", "max", "--now", *where]) == 0
        assert "500 of 500 messages published" in capsys.readouterr().out
        wait_until(lambda: collector.stored_count() == 500, collector.stored_count)


def test_a_stream_that_cannot_be_read_names_its_line(capsys, tmp_path):
    (tmp_path / "night.jsonl").write_text('{"t": 0, "topic": "a", "payload": "1"}\n{"t": 1}\n')
    assert main(["replay", str(tmp_path / "night.jsonl"), "--farm", str(tmp_path / "farm.toml")]) == 1
    assert "line 2" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--port", "0"], "LANTERN_LISTEN_PORT"),
        (["--broker", "nowhere"], "LANTERN_BROKER_PORT"),
    ],
)
def test_a_wrong_setting_is_named(capsys, arguments, says):
    assert main(["serve", "--farm", DEMO_FARM, *arguments]) == 1
    assert says in capsys.readouterr().err
