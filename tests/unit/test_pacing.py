"""Pause, step and speed by a clock that stands until it is told to go on."""

import math
import threading

import pytest

from collector.pacing import (
    FASTEST_RATIO,
    SLOWEST_RATIO,
    Controls,
    Pacer,
    course_ms,
    faster,
    go,
    let_through,
    pause,
    slower,
    step,
)

WALL_MS = 1_900_000_000_000


def test_untouched_the_course_is_the_wall():
    assert course_ms(Pacer(), WALL_MS) == WALL_MS


def test_a_pause_takes_its_time_out_of_the_course():
    paused = pause(Pacer(), WALL_MS)
    assert course_ms(paused, WALL_MS + 60_000) == WALL_MS
    assert course_ms(go(paused, WALL_MS + 60_000), WALL_MS + 61_000) == WALL_MS + 1000


@pytest.mark.parametrize(("change", "after_10_s_ms"), [(faster, 20_000), (slower, 5_000)])
def test_a_change_of_speed_counts_from_then_on(change, after_10_s_ms):
    changed = change(Pacer(), WALL_MS)
    assert course_ms(changed, WALL_MS) == WALL_MS
    assert course_ms(changed, WALL_MS + 10_000) == WALL_MS + after_10_s_ms


def test_as_often_slower_as_faster_is_the_speed_there_was():
    pacer = Pacer()
    for change in (faster, faster, slower, slower):
        pacer = change(pacer, WALL_MS)
    assert pacer.speed_ratio == 1


@pytest.mark.parametrize(("change", "end"), [(faster, FASTEST_RATIO), (slower, SLOWEST_RATIO)])
def test_speed_has_an_end(change, end):
    pacer = Pacer()
    for _ in range(100):
        pacer = change(pacer, WALL_MS)
    assert pacer.speed_ratio == end


def test_a_change_of_speed_does_not_end_a_pause():
    paused = faster(pause(Pacer(), WALL_MS), WALL_MS + 1000)
    assert course_ms(paused, WALL_MS + 9000) == WALL_MS
    assert course_ms(go(paused, WALL_MS + 9000), WALL_MS + 10_000) == WALL_MS + 2000


def test_while_paused_nothing_passes_but_what_is_stepped():
    paused = pause(Pacer(), WALL_MS)
    for due_ms in (None, WALL_MS - 5000, WALL_MS + 60_000):
        assert let_through(paused, due_ms, WALL_MS) == (paused, math.inf)
    stepped, waits_ms = let_through(step(paused), WALL_MS + 60_000, WALL_MS)
    assert waits_ms == 0
    assert let_through(stepped, WALL_MS + 60_000, WALL_MS)[1] == math.inf


def test_after_a_step_it_runs_on_from_the_message_stepped_to():
    stepped, _ = let_through(step(pause(Pacer(), WALL_MS)), WALL_MS + 60_000, WALL_MS)
    running = go(stepped, WALL_MS + 5000)
    assert let_through(running, WALL_MS + 61_000, WALL_MS + 5000)[1] == 1000


def test_a_step_while_it_runs_means_nothing():
    assert step(Pacer()) == Pacer()


def test_steps_that_were_not_used_end_with_the_pause():
    assert go(step(pause(Pacer(), WALL_MS)), WALL_MS).step_count == 0


def test_a_wait_is_told_in_time_of_the_wall():
    quick = faster(Pacer(), WALL_MS)
    assert let_through(quick, WALL_MS + 10_000, WALL_MS)[1] == 5000
    assert let_through(quick, WALL_MS - 1, WALL_MS)[1] == 0
    assert let_through(quick, None, WALL_MS)[1] == 0


def controls(wall=lambda: WALL_MS):
    stop = threading.Event()
    return Controls(stop, wall), stop


def test_each_key_does_what_the_line_of_keys_says():
    keys, stop = controls()
    seen = []
    for key in (" ", "s", " ", "+", "=", "-", "_", "-", "x"):
        keys.press(key)
        seen.append(keys.words)
    assert seen == [
        "Paused",
        "Paused",
        "Replay",
        "Replay ×2",
        "Replay ×4",
        "Replay ×2",
        "Replay",
        "Replay ×0.5",
        "Replay ×0.5",
    ]
    assert not stop.is_set()
    keys.press("q")
    assert stop.is_set()


def test_one_step_lets_one_message_through():
    keys, _ = controls()
    for key in " ss":
        keys.press(key)
    assert [keys.wait_ms(WALL_MS + 1000) for _ in range(3)] == [0, 0, math.inf]
