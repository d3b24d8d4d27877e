"""Recording from an ear that is told what to hear; what reaches the disk, when, and under what name."""

import gzip
import io
import threading

import pytest

from collector.record import farm_path, filters_of, finish, growing_path, need_new, record
from shared.errors import StreamError
from shared.farm_file import parse_farm
from shared.streams import StreamMessage, read_stream, write_message
from tests.fakes.knoll import knoll

AT_MS = 1_772_424_306_000


class Ear:
    """Hears a list of messages as soon as it listens, then stops the recording."""

    def __init__(self, said, stop):
        self.said, self.stop, self.filters = said, stop, None

    def hear(self, filters, tell, *, live_only=False):
        assert live_only
        self.filters = filters
        for message in self.said:
            tell(*message)
        self.stop.set()


def recorded(said, times_ms):
    stop, out, times = threading.Event(), io.StringIO(), iter(times_ms)
    count = record(Ear(said, stop), ("#",), out, wall=lambda: next(times), stop=stop)
    messages = list(read_stream(out.getvalue().splitlines()))
    assert count == len(messages)
    return messages


def test_what_is_heard_is_written_with_the_time_of_its_arrival():
    said = [("a", b"1", False), ("b/c", b"\xff", True)]
    assert recorded(said, (AT_MS, AT_MS + 7)) == [
        StreamMessage(AT_MS, "a", b"1", is_absolute=True),
        StreamMessage(AT_MS + 7, "b/c", b"\xff", retain=True, is_absolute=True),
    ]


def test_where_the_clock_goes_back_the_recording_does_not():
    said = [("a", b"%d" % i, False) for i in range(3)]
    assert [m.at_ms - AT_MS for m in recorded(said, (AT_MS, AT_MS - 9000, AT_MS + 5))] == [0, 0, 5]


def test_what_the_collector_says_to_itself_is_not_recorded():
    said = [
        ("lantern/knob/canary", b"drain", False),
        ("lantern/knob/collector/status", b"online", True),
        ("lantern/knob/node/status", b"online", True),
        ("lantern/knob/request", b"{}", False),
    ]
    topics = [message.topic for message in recorded(said, range(AT_MS, AT_MS + 4))]
    assert topics == ["lantern/knob/node/status", "lantern/knob/request"]


def test_every_message_is_in_the_file_before_the_next(tmp_path):
    """A kill in between then leaves a file that can be read."""
    stop, on_disk, path = threading.Event(), [], tmp_path / "night.jsonl"
    said = [("a", b"%d" % i, False) for i in range(3)]
    with path.open("w") as out:
        record(
            Ear(said, stop),
            ("#",),
            out,
            wall=lambda: AT_MS,
            stop=stop,
            on_heard=lambda: on_disk.append(len(list(read_stream(path.read_text().splitlines())))),
        )
    assert on_disk == [1, 2, 3]


def test_all_of_a_farm_is_heard_and_nothing_twice():
    assert filters_of(knoll()) == (
        "lantern/knob/#",
        "plc/lower",
        "tele/arch/SENSOR",
        "tele/pump/STATE",
        "senml/mast",
    )


MESSAGES = [
    StreamMessage(AT_MS + i * 1000, "lantern/knob/ledge-vacuum", b"22.5", is_absolute=True) for i in range(3)
]


@pytest.fixture
def night(tmp_path):
    """Writes a recording that has grown; gives the path that was asked for."""

    def grown(name, *, to_be_scrubbed=False):
        out = tmp_path / name
        lines = "".join(write_message(message) + "\n" for message in MESSAGES)
        growing_path(out, to_be_scrubbed=to_be_scrubbed).write_text(lines)
        return out

    return grown


def test_a_plain_recording_is_finished_as_it_is(night, tmp_path):
    out = night("night.jsonl")
    assert finish(out) is None
    assert list(read_stream(out.read_text().splitlines())) == MESSAGES
    assert list(tmp_path.iterdir()) == [out]


def test_a_recording_is_compressed_at_its_end(night, tmp_path):
    out = night("night.jsonl.gz")
    finish(out)
    with gzip.open(out, "rt") as lines:
        assert list(read_stream(lines)) == MESSAGES
    assert list(tmp_path.iterdir()) == [out]


def test_a_scrubbed_recording_comes_with_its_farm_and_without_the_original(night, tmp_path):
    out = night("night.jsonl.gz", to_be_scrubbed=True)
    assert finish(out, knoll()) == 3
    assert sorted(tmp_path.iterdir()) == [farm_path(out), out]
    assert b"knob" not in farm_path(out).read_bytes().lower()
    assert parse_farm(farm_path(out).read_text()).taps == knoll().taps
    with gzip.open(out, "rt") as lines:
        assert [m.topic for m in read_stream(lines)] == ["lantern/farm-1/sensor-1"] * 3


def test_what_cannot_be_scrubbed_stays_under_a_name_that_says_so(tmp_path):
    out = tmp_path / "night.jsonl"
    growing = growing_path(out, to_be_scrubbed=True)
    growing.write_text('{"t": 0, "topic": "lantern/knob/air", "payload": "1"}\n')
    with pytest.raises(StreamError, match="scrubbed"):
        finish(out, knoll())
    assert growing.exists()
    assert growing.name == "night.unscrubbed.jsonl"


def test_no_file_is_written_over(tmp_path):
    need_new([tmp_path / "new"])
    (tmp_path / "old").touch()
    with pytest.raises(StreamError, match="is there already"):
        need_new([tmp_path / "new", tmp_path / "old"])
