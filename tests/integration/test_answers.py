"""Answers come back: by a remote broker across a cut link, a push service's stream, the command line."""

import json
import re
import subprocess
import sys
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from collector.daemon import PROVEN
from collector.drill import hold_drill
from shared.alerts import AlertState
from shared.clock import system_clock
from shared.errors import DrillFailed
from shared.farm_file import parse_farm
from shared.readings import Quantity
from shared.settings import Settings
from shared.store.sqlite_reader import open_reader
from tests.fakes.phones import HttpPhone
from tests.fakes.servers import Mosquitto, guarded_mosquitto, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, ROOT, side, wait_until
from tests.fakes.wire import Wire

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
[rules.tank_nearly_full]
raise_hold_s = 0
[[contact]]
id = "owner"
name = "Wren"
channel = [{ id = "push", url = "PUSH" }]
"""
KEY = "tank_nearly_full/lower"
HEARD = "answers are heard by way of the far broker"


@pytest.fixture
def broker():
    with Mosquitto() as broker:
        yield broker


@pytest.fixture
def phone():
    with HttpPhone() as phone:
        yield phone


@contextmanager
def collector_that_asks(folder, broker, phone, **settings):
    """A running collector whose tank has just asked; gives the code of its text and a look at the alert."""
    (folder / "farm.toml").write_text(FARM.replace("PUSH", phone.url))
    with side(["collect"], folder, broker_port=broker.port, **settings) as collector:
        collector.wait_until_said(PROVEN)
        say(broker.port, "lantern/knoll/lower-level", "47")
        (text,) = phone.inbox.wait_for(1)
        reader = open_reader(folder / "lantern.sqlite", {"lower-level": Quantity.LEVEL})
        try:
            yield (
                re.search(r"([A-Z2-7]{10})$", text)[1],
                lambda: next(a for a in reader.alerts() if a.key == KEY),
            )
        finally:
            reader.close()


def say(port, topic, words, *login):
    command = ["mosquitto_pub", "-p", str(port), "-q", "1", "-t", topic, "-m", words, *login]
    subprocess.run(command, check=True, timeout=PATIENCE_S)


def is_taken(alert):
    return alert().state is AlertState.ACKNOWLEDGED and alert().acknowledged_by == "Wren"


def test_an_answer_sent_while_the_link_is_cut_arrives_once_it_is_healed(broker, phone, tmp_path):
    far, far_port = guarded_mosquitto("knoll", "sugar")
    with far, Wire(far_port) as wire:
        settings = {
            "far_broker": f"127.0.0.1:{wire.port}",
            "far_broker_user": "knoll",
            "far_broker_password": "sugar",
            "far_broker_tls": "false",
        }
        with collector_that_asks(tmp_path, broker, phone, **settings) as (code, alert):
            log = tmp_path / "collect.log"
            wait_until(lambda: HEARD in log.read_text(), log.read_text)
            wire.cut()
            say(far_port, "lantern/knoll/answer", "no answer at all", "-u", "knoll", "-P", "sugar")
            say(far_port, "lantern/knoll/answer", f"{code} quiet 2", "-u", "knoll", "-P", "sugar")
            assert alert().state is AlertState.ACTIVE
            wire.heal()
            wait_until(lambda: is_taken(alert), log.read_text)
            assert alert().shelved_until_ms is not None


def test_an_answer_waits_far_away_while_the_farms_own_broker_is_down(broker, phone, tmp_path):
    far, far_port = guarded_mosquitto("knoll", "sugar")
    with far:
        settings = {
            "far_broker": f"127.0.0.1:{far_port}",
            "far_broker_user": "knoll",
            "far_broker_password": "sugar",
            "far_broker_tls": "false",
        }
        with collector_that_asks(tmp_path, broker, phone, **settings) as (code, alert):
            log = tmp_path / "collect.log"
            wait_until(lambda: HEARD in log.read_text(), log.read_text)
            broker.stop()
            say(far_port, "lantern/knoll/answer", code, "-u", "knoll", "-P", "sugar")
            wait_until(lambda: "an answer waits for the farm's broker" in log.read_text(), log.read_text)
            broker.start()
            wait_until(lambda: is_taken(alert), log.read_text)


class Stream:
    """A push service's stream: a line for each message since an id, then signs of life; ends when told."""

    def __init__(self):
        self.lines, self.asked = [], []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                outer.asked.append(self.path)
                self.send_response(200)
                self.end_headers()
                for line in [{"event": "open"}, *outer.lines]:
                    self.wfile.write(json.dumps(line).encode() + b"\n")

            def log_message(self, *_):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}/knoll-answers/json"

    def __enter__(self):
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_):
        self._server.shutdown()
        self._server.server_close()


def test_an_answer_by_a_push_services_stream_is_taken_once_however_often_it_is_told(broker, phone, tmp_path):
    with (
        Stream() as stream,
        collector_that_asks(tmp_path, broker, phone, answer_stream=stream.url) as (code, alert),
    ):
        stream.lines = [{"id": "m1", "message": "hello"}, {"id": "m2", "message": code}]
        wait_until(lambda: is_taken(alert), (tmp_path / "collect.log").read_text)
        taken_ms = alert().acknowledged_ms
        wait_until(lambda: any("since=m2" in path for path in stream.asked))
        assert alert().acknowledged_ms == taken_ms


def lantern(folder, broker, *arguments):
    command = [sys.executable, ROOT / "lantern.py", *arguments, "--broker", f"127.0.0.1:{broker.port}"]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=60, check=False)


def test_the_command_line_says_who_asks_and_answers_by_key(broker, phone, tmp_path):
    with collector_that_asks(tmp_path, broker, phone) as (_, alert):
        asked = lantern(tmp_path, broker, "answer")
        assert KEY in asked.stdout
        assert asked.returncode == 0
        unexplained = lantern(tmp_path, broker, "answer", KEY, "--quiet", "2")
        assert unexplained.returncode == 1
        assert "--reason" in unexplained.stderr
        done = lantern(tmp_path, broker, "answer", KEY, "--quiet", "2", "--reason", "pump is being mended")
        assert done.returncode == 0, done.stderr
        wait_until(lambda: alert().state is AlertState.ACKNOWLEDGED and alert().shelved_reason is not None)


def test_a_drill_prints_each_hop_until_it_is_answered(broker, phone, tmp_path):
    with collector_that_asks(tmp_path, broker, phone):
        drill = subprocess.Popen(
            [
                sys.executable,
                ROOT / "lantern.py",
                "drill",
                "--by",
                "Wren",
                "--broker",
                f"127.0.0.1:{broker.port}",
            ],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            text=True,
        )
        text = phone.inbox.wait_for(2)[1]
        assert text.startswith("Drill of ")
        code = re.search(r"([A-Z2-7]{10})$", text)[1]
        assert lantern(tmp_path, broker, "answer", code).returncode == 0
        said, _ = drill.communicate(timeout=PATIENCE_S)
        assert drill.returncode == 0
        assert [line.split("s  ", 1)[1] for line in said.splitlines()] == [
            "the broker has it",
            "stored, 1 texts written",
            "owner by push: taken",
            "answered by Wren",
        ]


def test_a_drill_that_no_collector_hears_says_where_its_path_ends(broker, phone, tmp_path):
    with collector_that_asks(tmp_path, broker, phone):
        pass
    reader = open_reader(tmp_path / "lantern.sqlite", {"lower-level": Quantity.LEVEL})
    farm, settings = parse_farm((tmp_path / "farm.toml").read_text()), Settings(broker_port=broker.port)
    said = []
    with pytest.raises(DrillFailed, match="is the collector running"):
        hold_drill(settings, farm, reader, "Wren", 1.5, system_clock, said.append)
    assert [line.split("s  ", 1)[1] for line in said] == ["the broker has it"]
    reader.close()
