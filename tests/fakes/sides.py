"""Lantern's own processes, started as an owner starts them."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0
"""For what takes a second or two: a machine may be slow, and waiting costs nothing where it is not."""


class Side:
    """`lantern collect` or `lantern serve` in a process of its own; its output is kept in a file."""

    def __init__(self, command, folder, environment):
        self._command = [sys.executable, "-m", "lantern", *command]
        self._environment = os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "160"} | environment
        self._folder = folder
        self._log = folder / f"{command[0]}.log"
        self._process = None

    @property
    def pid(self):
        return self._process.pid

    def start(self):
        with self._log.open("a") as log:
            self._process = subprocess.Popen(
                self._command, cwd=self._folder, env=self._environment, stdout=log, stderr=subprocess.STDOUT
            )

    def said(self):
        return self._log.read_text()

    def wait_until_said(self, words, count=1):
        wait_until(lambda: self.said().count(words) >= count, self.said)

    def wait(self, seconds):
        """Its exit code, None while it runs."""
        try:
            return self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return None

    def stored_count(self):
        """Readings in the store beside it."""
        with sqlite3.connect(f"file:{self._folder}/lantern.sqlite?mode=ro", uri=True) as connection:
            (count,) = connection.execute(
                "SELECT (SELECT count(*) FROM inbox) + (SELECT count(*) FROM reading)"
            ).fetchone()
        connection.close()
        return count

    def kill(self):
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(PATIENCE_S)

    def stop(self):
        self._process.terminate()
        return self._process.wait(PATIENCE_S)


def wait_until(holds, otherwise=lambda: "it did not happen"):
    end_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end_s, otherwise()
        time.sleep(0.02)


@contextmanager
def side(command, folder, **settings):
    """A running side; settings are those of shared.settings, by name."""
    environment = {f"LANTERN_{name.upper()}": str(value) for name, value in settings.items()}
    running = Side(command, folder, environment)
    running.start()
    try:
        yield running
    finally:
        if running._process.poll() is None:
            running.stop()
