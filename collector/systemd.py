"""Tells systemd how the service is, by hand: sd_notify(3) is one datagram, and no library is needed for it."""

import socket
from collections.abc import Mapping, Sequence
from contextlib import suppress

STATUS_EVERY_S = 60.0
TOLD_IN_TIME = 3
"""How often within what systemd waits: two may be lost."""


class Systemd:
    """The door to systemd that the environment names; without one nothing is told."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        if self._address.startswith(
            "@"
        ):  # Linux's abstract sockets: no file, and a zero byte in place of the @
            self._address = f"\0{self._address[1:]}"
        waits_s = int(environment.get("WATCHDOG_USEC", "0")) / 1e6
        self.every_s = min(STATUS_EVERY_S, waits_s / TOLD_IN_TIME) if waits_s else STATUS_EVERY_S
        """How often it wants to be told."""

    @property
    def is_there(self) -> bool:
        """Whether this was started by systemd, as a service that tells."""
        return bool(self._address)

    def tell(self, assignments: Sequence[str]) -> bool:
        """Send `READY=1`, `WATCHDOG=1` and the like; never waits, and says whether they were taken."""
        if not self._address:
            return False
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as door:
            door.setblocking(False)
            door.sendto("\n".join(assignments).encode(), self._address)
            return True
        return False
