"""Real brokers for tests, each on a loopback port of its own; they stop only what they started."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
from pathlib import Path
from typing import Self

import pytest

from tests.fakes.sides import PATIENCE_S, wait_until

CONF = Path(__file__).parents[2] / "deploy/mosquitto/lantern.conf"
# Debian puts it where only root's PATH looks.
MOSQUITTO = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")

# CI skips nothing: there a missing mosquitto is a failure of the first test that needs it.
needs_mosquitto = [
    pytest.mark.mosquitto,
    pytest.mark.skipif(
        MOSQUITTO is None and "CI" not in os.environ, reason="no mosquitto here (Debian package mosquitto)"
    ),
]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Mosquitto:
    """The configuration we ship, only port and folder replaced, and `extra` lines at its end."""

    def __init__(self, extra: str = "", port: int | None = None) -> None:
        assert MOSQUITTO is not None, "mosquitto is not installed"
        self.port = port or free_port()
        # Not below pytest's own folder: that is closed to the user mosquitto runs as if root starts it.
        self.folder = Path(tempfile.mkdtemp(prefix="lantern-mosquitto-"))
        self._user = "mosquitto" if os.geteuid() == 0 else None
        text = CONF.read_text()
        for old, new in (
            ("listener 1883 127.0.0.1", f"listener {self.port} 127.0.0.1"),
            ("persistence_location /var/lib/mosquitto/", f"persistence_location {self.folder}/"),
        ):
            assert text.count(f"\n{old}\n") == 1, old
            text = text.replace(f"\n{old}\n", f"\n{new}\n")
        self.write("lantern.conf", text + extra.replace("FOLDER", str(self.folder)))
        self._process: subprocess.Popen[bytes] | None = None

    def write(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text)
        path.chmod(0o600)
        self.folder.chmod(0o700)
        if self._user is not None:
            owner = pwd.getpwnam(self._user)
            for owned in (self.folder, path):
                os.chown(owned, owner.pw_uid, owner.pw_gid)
        return path

    def start(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [MOSQUITTO, "-c", str(self.folder / "lantern.conf")], stdout=log, stderr=log, user=self._user
            )
        try:
            wait_until(self._listens, self.log)
        except BaseException:
            self.kill()
            raise

    def _listens(self) -> bool:
        assert self._process.poll() is None, self.log()
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def freeze(self) -> None:
        """As a machine that hangs: connections stay open and nothing answers."""
        os.kill(self._process.pid, signal.SIGSTOP)

    def thaw(self) -> None:
        os.kill(self._process.pid, signal.SIGCONT)

    def stop(self) -> None:
        """As systemd stops it: it saves its queue."""
        self._end(subprocess.Popen.terminate)

    def kill(self) -> None:
        """As a power cut would, but for what the disk says it has written."""
        self._end(subprocess.Popen.kill)

    def log(self) -> str:
        return (self.folder / "log").read_text()

    def _end(self, how) -> None:
        if self._process is not None:
            how(self._process)
            self._process.wait(PATIENCE_S)
            self._process = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        shutil.rmtree(self.folder)


def guarded_mosquitto(user: str, password: str, rules: str | None = None) -> tuple[Mosquitto, int]:
    """A broker, not yet started, with a second listener that wants a password, and that listener's port."""
    port = free_port()
    extra = f"listener {port} 127.0.0.1\nallow_anonymous false\npassword_file FOLDER/passwd\n"
    broker = Mosquitto(extra + ("acl_file FOLDER/acl\n" if rules else ""))
    passwords = broker.write("passwd", f"{user}:{password}\n")
    subprocess.run(["mosquitto_passwd", "-U", passwords], check=True)
    broker.write("passwd", passwords.read_text())
    if rules:
        broker.write("acl", rules)
    return broker, port
