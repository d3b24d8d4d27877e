"""Those who watch the watch: a web server that is pinged, and systemd's end of the notify socket."""

import os
import socket
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from tests.fakes.sides import PATIENCE_S


class OutsideWatchdog:
    """Answers GETs with `status`, once it `may_answer`; keeps each path with its answer."""

    def __init__(self):
        self.status = 200
        self.may_answer = threading.Event()
        self.may_answer.set()
        self.pings = []
        watchdog = self

        class Answer(BaseHTTPRequestHandler):
            def do_GET(self):
                watchdog.pings.append((watchdog.status, self.path))
                watchdog.may_answer.wait(30)
                self.send_response(watchdog.status)
                self.send_header("Content-Length", "2")
                self.end_headers()
                self.wfile.write(b"OK")

            def log_message(self, *_):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        self._thread = threading.Thread(target=self._server.serve_forever)
        self.url = f"http://127.0.0.1:{self._server.server_port}/ping/secret?farm=knoll"

    @property
    def count(self):
        """Pings that were answered well."""
        return sum(status == 200 for status, _ in self.pings)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self.may_answer.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class NotifySocket:
    """What systemd gives a service of Type=notify: a datagram socket, a file or an abstract name."""

    def __init__(self, folder=None):
        """In that folder; without one, an abstract socket of Linux."""
        name = f"lantern-test-{os.getpid()}-{id(self)}"
        self.address = f"@{name}" if folder is None else f"{folder}/notify"
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(f"\0{name}" if folder is None else self.address)

    def told(self, seconds):
        """What is told from now on for so long, one assignment each."""
        self.heard()
        end_s = time.monotonic() + seconds
        heard = []
        while (left_s := end_s - time.monotonic()) > 0:
            heard += self._next(left_s)
        return heard

    def wait_for(self, assignment, seconds=PATIENCE_S):
        """All that was told up to that assignment; fails if it never comes."""
        end_s = time.monotonic() + seconds
        heard = []
        while assignment not in heard:
            left_s = end_s - time.monotonic()
            assert left_s > 0, heard
            heard += self._next(left_s)
        return heard

    def heard(self):
        """What has been told and not been read."""
        heard = []
        while more := self._next(0.0):
            heard += more
        return heard

    def _next(self, seconds):
        self._socket.settimeout(seconds)
        try:
            return self._socket.recv(4096).decode().splitlines()
        except (TimeoutError, BlockingIOError):
            return []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._socket.close()
