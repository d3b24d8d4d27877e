"""A replay under the hands of somebody, and without end, by a clock that only waiting moves."""

import itertools
import json
import threading

from collector.pacing import Controls
from collector.replay import Plan, looped, plan_of, replay
from shared.streams import StreamMessage, extent_of

START_MS = 1_772_424_306_000
WALL_MS = 1_900_000_000_000
NIGHT = [
    StreamMessage(
        START_MS + i * 60_000,
        "a",
        b'{"value":%d,"time":%d}' % (i, START_MS // 1000 + i * 60),
        is_absolute=True,
    )
    for i in range(10)
]


class Door:
    """Remembers when by the wall what time was told."""

    def __init__(self):
        self.wall_ms = WALL_MS
        self.passed = []

    def publish(self, _topic, payload, **_how):
        self.passed.append((self.wall_ms - WALL_MS, json.loads(payload)["time"] * 1000))

    def wait_acknowledged(self):
        pass


class Hands(threading.Event):
    """Waiting takes no time but the door's; keys are pressed when their time has come."""

    def __init__(self, door, keys):
        super().__init__()
        self.door, self.keys, self.controls = door, sorted(keys.items()), Controls(self, lambda: door.wall_ms)

    def wait(self, timeout=None):
        self.door.wall_ms += max(1, round(timeout * 1000))
        while self.keys and self.door.wall_ms - WALL_MS >= self.keys[0][0]:
            for key in self.keys.pop(0)[1]:
                self.controls.press(key)
        return self.is_set()


def passed(messages, plan, keys=None):
    door = Door()
    stop = Hands(door, keys or {})
    replay(messages, door, plan, stop=stop, controls=stop.controls, wall=lambda: door.wall_ms)
    return door.passed


def plan(speed, *, rebase=False):
    return plan_of(extent_of(NIGHT), speed, WALL_MS, rebase=rebase)


def walls_s(told):
    return [round(wall_ms / 1000) for wall_ms, _ in told]


def test_a_pause_delays_what_follows_by_its_length():
    assert walls_s(passed(NIGHT[:4], plan(1), {90_000: " ", 150_000: " "})) == [0, 60, 180, 240]


def test_faster_and_slower_count_from_where_they_were_pressed():
    assert walls_s(passed(NIGHT[:4], plan(1), {60_500: "+", 100_000: "--"})) == [0, 60, 90, 181]
    assert walls_s(passed(NIGHT[:3], plan(1), {30_000: "-"})) == [0, 90, 210]


def test_while_paused_each_step_sends_one_message():
    told = passed(NIGHT[:5], plan(1), {10_000: " ", 20_000: "s", 30_000: "ss", 600_000: " "})
    assert walls_s(told) == [0, 20, 30, 30, 660]


def test_q_ends_it():
    assert len(passed(NIGHT, plan(1), {130_000: "q"})) == 3


def test_a_pause_holds_at_full_speed_too():
    assert walls_s(passed(NIGHT[:2], Plan(0, None))) == [0, 0]
    door = Door()
    stop = Hands(door, {1000: "s", 2000: " "})
    stop.controls.press(" ")
    replay(NIGHT[:3], door, Plan(0, None), stop=stop, controls=stop.controls, wall=lambda: door.wall_ms)
    assert walls_s(door.passed) == [1, 2, 2]


def test_shifted_to_now_no_key_makes_it_run_ahead_of_the_wall():
    told = passed(NIGHT, plan(1, rebase=True), {1000: "+++"})
    assert all(told_ms <= WALL_MS + wall_ms for wall_ms, told_ms in told)
    assert walls_s(told)[-1] == 540


def test_shifted_to_now_it_catches_up_after_a_pause():
    told = passed(NIGHT, plan(1, rebase=True), {1000: " ", 301_000: " ++"})
    assert all(told_ms <= WALL_MS + wall_ms for wall_ms, told_ms in told)
    assert walls_s(told)[-1] == 540


def test_it_begins_again_with_its_times_moved_on():
    again = looped(lambda: iter(NIGHT[:3]), extent_of(NIGHT[:3]), {})
    told = [(m.at_ms - START_MS, json.loads(m.payload)) for m in itertools.islice(again, 7)]
    assert told == [(i * 60_000, {"value": i % 3, "time": START_MS // 1000 + i * 60}) for i in range(7)]


def test_looped_and_shifted_to_now_it_goes_on_at_the_speed_of_life():
    again = itertools.islice(looped(lambda: iter(NIGHT), extent_of(NIGHT), {}), 13)
    told = passed(again, plan(None, rebase=True))
    assert walls_s(told) == [0] * 10 + [60, 120, 180]
    assert [told_ms for _, told_ms in told[10:]] == [WALL_MS + s * 1000 for s in (60, 120, 180)]


def test_a_stream_of_one_message_may_be_looped():
    again = looped(lambda: iter(NIGHT[:1]), extent_of(NIGHT[:1]), {})
    assert [m.at_ms - START_MS for m in itertools.islice(again, 3)] == [0, 1, 2]


def test_what_a_stream_of_offsets_says_of_time_stays():
    message = StreamMessage(0, "a", NIGHT[0].payload)
    assert passed([message], plan_of(extent_of([message]), 1, WALL_MS, rebase=False)) == [(0, START_MS)]
