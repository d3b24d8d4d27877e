"""Keys from a real terminal, a pseudo-terminal of our own."""

import os
import pty
import queue
import termios

import pytest

from collector.controls import keyboard


@pytest.fixture
def terminal():
    ours, theirs = pty.openpty()
    yield ours, theirs
    for end in (ours, theirs):
        os.close(end)


def test_a_key_is_handed_over_without_enter(terminal):
    ours, theirs = terminal
    keys = queue.SimpleQueue()
    with keyboard(keys.put, theirs) as has_keys:
        assert has_keys
        os.write(ours, "+ é".encode())
        assert [keys.get(timeout=10) for _ in range(3)] == ["+", " ", "é"]


def test_the_terminal_is_left_as_it_was_found(terminal):
    _, theirs = terminal
    before = termios.tcgetattr(theirs)
    with keyboard(print, theirs):
        assert not termios.tcgetattr(theirs)[3] & (termios.ICANON | termios.ECHO)
        assert termios.tcgetattr(theirs)[3] & termios.ISIG  # Ctrl-C stays what it is
    assert termios.tcgetattr(theirs) == before


def test_the_terminal_is_left_as_it_was_found_after_an_error_too(terminal):
    _, theirs = terminal
    before = termios.tcgetattr(theirs)
    with pytest.raises(KeyboardInterrupt), keyboard(print, theirs):
        raise KeyboardInterrupt
    assert termios.tcgetattr(theirs) == before


def test_a_terminal_that_goes_away_is_no_error():
    ours, theirs = pty.openpty()
    with keyboard(print, theirs):
        os.close(ours)
    os.close(theirs)


def test_where_there_is_no_terminal_there_are_no_keys(tmp_path):
    with (tmp_path / "file").open("w+") as file, keyboard(print, file.fileno()) as has_keys:
        assert not has_keys
