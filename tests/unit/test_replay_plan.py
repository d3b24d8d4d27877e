"""The plan of a replay, and its course by a clock that only waiting moves."""

import json
import threading

import pytest

from collector.replay import Plan, plan_of, progress_bar, replay, time_fields_of
from shared.clock import Pace, Stretch
from shared.streams import Extent, StreamMessage, extent_of
from tests.fakes.knoll import knoll

START_MS = 1_772_424_306_000
HOUR_MS = 3_600_000
NIGHT = [
    StreamMessage(
        START_MS + i * 60_000,
        "sensor/a",
        b'{"value":%d,"time":%d}' % (i, START_MS // 1000 + i * 60),
        is_absolute=True,
    )
    for i in range(10)
]
WALL_MS = 1_900_000_000_000


class Door:
    """Remembers what went through it, and when by a wall clock that only waiting moves."""

    def __init__(self) -> None:
        self.wall_ms = WALL_MS
        self.passed = []
        self.acknowledged_count = 0

    def publish(self, topic, payload, *, retain=False):
        self.passed.append((self.wall_ms, topic, payload, retain))

    def wait_acknowledged(self):
        self.acknowledged_count = len(self.passed)


class VirtualStop(threading.Event):
    """Waiting takes no time but the door's."""

    def __init__(self, door, stop_at=None):
        super().__init__()
        self.door, self.stop_at = door, stop_at

    def wait(self, timeout=None):
        self.door.wall_ms += round(timeout * 1000)
        if self.stop_at is not None and self.door.wall_ms >= self.stop_at:
            self.set()
        return self.is_set()


def replayed(messages, plan, **how):
    door = Door()
    stop = VirtualStop(door, how.pop("stop_at", None))
    count = replay(messages, door, plan, stop=stop, wall=lambda: door.wall_ms, **how)
    assert count == door.acknowledged_count == len(door.passed)
    return door.passed


def times_told(passed):
    return [json.loads(payload)["time"] * 1000 for _, _, payload, _ in passed]


def test_at_its_own_speed_a_night_takes_as_long_as_it_took():
    passed = replayed(NIGHT, plan_of(extent_of(NIGHT), 1.0, WALL_MS, rebase=True))
    assert [wall_ms for wall_ms, *_ in passed] == [WALL_MS + i * 60_000 for i in range(10)]
    assert times_told(passed) == [wall_ms for wall_ms, *_ in passed]


def test_rebased_and_faster_it_ends_now_and_is_never_ahead_of_the_wall():
    passed = replayed(NIGHT, plan_of(extent_of(NIGHT), 60.0, WALL_MS, rebase=True))
    walls_ms = [wall_ms for wall_ms, *_ in passed]
    assert walls_ms == [WALL_MS + i * 1000 for i in range(10)]
    assert times_told(passed)[-1] == walls_ms[-1]
    assert all(told_ms <= wall_ms for told_ms, wall_ms in zip(times_told(passed), walls_ms, strict=True))


def test_rebased_and_slower_it_is_not_ahead_of_the_wall_either():
    passed = replayed(NIGHT[:2], plan_of(extent_of(NIGHT[:2]), 0.5, WALL_MS, rebase=True))
    assert [
        (wall_ms - WALL_MS, told_ms - WALL_MS)
        for (wall_ms, *_), told_ms in zip(passed, times_told(passed), strict=True)
    ] == [(0, 0), (120_000, 60_000)]


def test_at_full_speed_it_ends_at_its_start():
    passed = replayed(NIGHT, plan_of(extent_of(NIGHT), None, WALL_MS, rebase=True))
    assert {wall_ms for wall_ms, *_ in passed} == {WALL_MS}
    assert times_told(passed)[-1] == WALL_MS


def test_not_rebased_it_is_told_as_it_was():
    plan = plan_of(extent_of(NIGHT), 60.0, WALL_MS, rebase=False)
    assert plan.shift_ms == 0
    assert [payload for *_, payload, _ in replayed(NIGHT, plan)] == [m.payload for m in NIGHT]


def test_a_stream_of_offsets_begins_with_the_wall():
    plan = plan_of(Extent(5000, 65_000, 2, is_absolute=False), 1.0, WALL_MS, rebase=False)
    assert plan.shift_ms == WALL_MS - 5000


def test_a_demo_may_pace_it_in_stretches():
    pace = Pace((Stretch(WALL_MS, START_MS, 60.0), Stretch(WALL_MS + 5000, START_MS + 300_000, 1.0)))
    passed = replayed(NIGHT[:7], Plan(0, pace))
    assert [wall_ms - WALL_MS for wall_ms, *_ in passed] == [0, 1000, 2000, 3000, 4000, 5000, 65_000]


def test_it_stops_when_told_to_with_all_it_sent_acknowledged():
    passed = replayed(NIGHT, plan_of(extent_of(NIGHT), 1.0, WALL_MS, rebase=True), stop_at=WALL_MS + 150_000)
    assert len(passed) == 3


def test_ctrl_c_is_passed_on_with_all_it_sent_acknowledged():
    door = Door()

    def interrupt():
        if len(door.passed) == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        replay(NIGHT, door, Plan(0, None), on_sent=interrupt)
    assert door.acknowledged_count == len(door.passed) == 4


def test_the_farm_file_tells_where_firmware_says_the_time():
    fields = time_fields_of(knoll())
    assert fields == {"tele/arch/SENSOR": ("/Epoch",)}
    message = StreamMessage(START_MS, "tele/arch/SENSOR", b'{"Epoch":1772424306}', is_absolute=True)
    ((_, _, payload, _),) = replayed([message], Plan(HOUR_MS, None), time_fields=fields)
    assert json.loads(payload) == {"Epoch": 1_772_427_906}


def test_no_bar_is_drawn_where_no_person_looks(capsys):
    with progress_bar(3) as on_sent:
        on_sent()
    assert capsys.readouterr() == ("", "")
