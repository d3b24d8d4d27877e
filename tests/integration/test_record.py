"""A recording of a replay, through real brokers, is what was replayed."""

import gzip
import signal
import subprocess
import sys
import threading
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

import pytest

from collector.embedded_broker import EmbeddedBroker
from collector.record import filters_of, record, record_into
from collector.replay import Plan, replay
from shared.clock import monotonic_s, system_clock
from shared.farm_file import parse_farm
from shared.publisher import Publisher
from shared.settings import Settings
from shared.streams import read_stream
from tests.fakes.servers import Mosquitto, free_port, needs_mosquitto
from tests.fakes.sides import PATIENCE_S, wait_until

pytestmark = needs_mosquitto
ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_streams"
FARM = parse_farm((SAMPLES / "juniper-knob.toml").read_text())


@pytest.fixture
def mosquitto():
    with Mosquitto() as broker:
        yield broker


def sample(count):
    with gzip.open(SAMPLES / "faulty-sensors.jsonl.gz", "rt") as lines:
        return list(islice(read_stream(lines), count))


def said(messages):
    return [(m.topic, m.payload, m.retain) for m in messages]


@contextmanager
def recording(settings, path, filters, expected_count):
    """Records in a thread while inside; afterwards `path` holds it."""
    stop, listening, enough = threading.Event(), threading.Event(), threading.Event()
    heard_count = 0

    def on_heard():
        nonlocal heard_count
        heard_count += 1
        if heard_count == expected_count:
            enough.set()

    def listen():
        with Publisher(settings, "record") as ear, path.open("w", encoding="utf-8") as out:
            record(
                ear, filters, out, wall=system_clock, stop=stop, on_listening=listening.set, on_heard=on_heard
            )

    thread = threading.Thread(target=listen)
    thread.start()
    try:
        assert listening.wait(PATIENCE_S)
        yield
        assert enough.wait(PATIENCE_S), f"{heard_count} of {expected_count}"
    finally:
        stop.set()
        thread.join()


def test_a_recorded_replay_is_the_replayed_stream_message_for_message(mosquitto, tmp_path):
    settings, messages = Settings(broker_port=mosquitto.port), sample(3000)
    with (
        recording(settings, tmp_path / "one.jsonl", filters_of(FARM), 3000),
        Publisher(settings, "replay") as door,
    ):
        replay(messages, door, Plan(0, None))
    first = list(read_stream((tmp_path / "one.jsonl").read_text().splitlines()))
    assert said(first) == said(messages)
    # And once more: what was recorded can itself be replayed and recorded.
    with recording(settings, tmp_path / "two.jsonl", ("#",), 3000), Publisher(settings, "replay") as door:
        replay(first, door, Plan(0, None))
    assert said(read_stream((tmp_path / "two.jsonl").read_text().splitlines())) == said(messages)


def test_what_the_broker_had_kept_is_not_recorded_and_what_is_retained_now_is(mosquitto, tmp_path):
    settings = Settings(broker_port=mosquitto.port)
    with Publisher(settings, "sensor") as door:
        door.publish("lantern/juniper-knob/air", b"1", retain=True)
        door.wait_acknowledged()
        with recording(settings, tmp_path / "night", filters_of(FARM), 2):
            door.publish("lantern/juniper-knob/air", b"2", retain=True)
            door.publish("lantern/juniper-knob/air", b"3")
            door.publish("stranger", b"4")
            door.wait_acknowledged()
    assert said(read_stream((tmp_path / "night").read_text().splitlines())) == [
        ("lantern/juniper-knob/air", b"2", True),
        ("lantern/juniper-knob/air", b"3", False),
    ]


def test_a_recording_goes_on_after_a_restart_of_the_broker(mosquitto, tmp_path):
    settings = Settings(broker_port=mosquitto.port)
    with recording(settings, tmp_path / "night", ("#",), 2), Publisher(settings, "sensor") as door:
        door.publish("before", b"1")
        door.wait_acknowledged()
        mosquitto.stop()
        mosquitto.start()
        # Until the recorder listens again, nothing is heard; so it is said until it is.
        give_up_s = monotonic_s() + PATIENCE_S
        while len((tmp_path / "night").read_text().splitlines()) < 2 and monotonic_s() < give_up_s:
            door.publish("after", b"2")
            door.wait_acknowledged()
            threading.Event().wait(0.2)
    topics = [m.topic for m in read_stream((tmp_path / "night").read_text().splitlines())]
    assert topics[0] == "before"
    assert set(topics[1:]) == {"after"}


def test_the_embedded_broker_can_be_recorded_too(tmp_path):
    messages = [message for message in sample(200) if not message.retain]
    with EmbeddedBroker(free_port()) as broker:
        settings = Settings(broker_port=broker.port)
        with (
            recording(settings, tmp_path / "night", ("#",), len(messages)),
            Publisher(settings, "replay") as door,
        ):
            replay(messages, door, Plan(0, None))
    assert said(read_stream((tmp_path / "night").read_text().splitlines())) == said(messages)


def test_a_recording_ends_by_itself_after_its_time(mosquitto, tmp_path):
    words, out = [], tmp_path / "night.jsonl"
    settings = Settings(broker_port=mosquitto.port)

    def say(line):
        words.append(line)
        if len(words) == 1:
            with Publisher(settings, "sensor") as door:
                door.publish("anything", b"1")
                door.wait_acknowledged()

    record_into(
        out,
        settings,
        None,
        hears_all=True,
        scrubs=False,
        lasts_s=0.5,
        wall=system_clock,
        stop=threading.Event(),
        say=say,
    )
    assert words == [f"Recording into {out}; Ctrl-C ends it", f"1 messages recorded in {out}"]
    assert said(read_stream(out.read_text().splitlines())) == [("anything", b"1", False)]


@contextmanager
def command(*arguments):
    process = subprocess.Popen(
        [sys.executable, ROOT / "lantern.py", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


@pytest.mark.parametrize(
    ("how", "left"),
    [
        (signal.SIGINT, ["night.farm.toml", "night.jsonl.gz"]),
        (signal.SIGKILL, ["night.unscrubbed.jsonl"]),
    ],
)
def test_ctrl_c_finishes_a_recording_and_a_kill_leaves_one_that_can_be_read(mosquitto, tmp_path, how, left):
    where = ("--farm", SAMPLES / "juniper-knob.toml", "--broker", f"127.0.0.1:{mosquitto.port}")
    stream = tmp_path / "replayed.jsonl.gz"
    stream.symlink_to(SAMPLES / "windstorm-ledge.jsonl.gz")
    out = tmp_path / "out"
    out.mkdir()
    with command("record", out / "night.jsonl.gz", "--scrub", *where) as recorder:
        assert "Recording into" in recorder.stdout.readline()
        with command("replay", stream, "--from", "17h", "--speed", "max", *where) as player:
            said_at_end, _ = player.communicate(timeout=PATIENCE_S)
        count = int(said_at_end.split()[0])
        growing = out / "night.unscrubbed.jsonl"
        wait_until(lambda: growing.read_bytes().count(b"\n") >= count)
        recorder.send_signal(how)
        said_at_end, _ = recorder.communicate(timeout=PATIENCE_S)
    assert sorted(path.name for path in out.iterdir()) == left
    if how is signal.SIGINT:
        assert said_at_end == f"{count} messages recorded in {out / 'night.jsonl.gz'}, {count} of them kept\n"
    path = out / left[-1]
    with gzip.open(path, "rt") if path.suffix == ".gz" else path.open() as lines:
        assert len(list(read_stream(lines))) == count > 1000
