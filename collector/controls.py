"""Single keys from a terminal, without Enter; the terminal is always left as it was found."""

import os
import select
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

if sys.platform != "win32":
    import termios
    import tty


@contextmanager
def keyboard(press: Callable[[str], object], terminal: int | None = None) -> Iterator[bool]:
    """While inside, hand every key to `press`, in a thread of its own; says whether there are keys at all.

    There are none where standard input is no terminal, or is one whose foreground belongs to another program.
    Ctrl-C stays what it is.

    Args:
        press: Called with one character.
        terminal: Its file descriptor; None: standard input.
    """
    if sys.platform == "win32":
        yield False
        return
    terminal = _standard_input() if terminal is None else terminal
    if terminal is None or not os.isatty(terminal) or not _is_ours(terminal):
        yield False
        return
    before = termios.tcgetattr(terminal)
    woken, wake = os.pipe()
    thread = threading.Thread(target=_listen, args=(terminal, woken, press), daemon=True)
    try:
        tty.setcbreak(terminal, termios.TCSANOW)
        thread.start()
        yield True
    finally:
        os.close(wake)
        if thread.is_alive():
            thread.join()
        os.close(woken)
        with suppress(termios.error):  # the terminal is gone, and nothing is left to restore
            termios.tcsetattr(terminal, termios.TCSANOW, before)


def _standard_input() -> int | None:
    try:
        return sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):  # none, replaced, or closed
        return None


def _is_ours(terminal: int) -> bool:
    """A program in the background that touches its terminal is stopped by the kernel."""
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:  # not the terminal that controls us: nobody stops us
        return True


def _listen(terminal: int, woken: int, press: Callable[[str], object]) -> None:
    while True:
        ready, _, _ = select.select([terminal, woken], [], [])
        if woken in ready:
            return
        try:
            keys = os.read(terminal, 64)
        except OSError:  # the terminal is gone
            return
        if not keys:
            return
        for key in keys.decode("utf-8", "replace"):
            press(key)
