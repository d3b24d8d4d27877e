"""A wire that can be cut: TCP passed on to a server until it is cut, and again once it is healed."""

import contextlib
import socket
import threading


class Wire:
    """Listens on `port` and passes everything on to `to_port`, both on loopback."""

    def __init__(self, to_port):
        self._to_port = to_port
        self._open = threading.Event()
        self._open.set()
        self._ends = []
        self._lock = threading.Lock()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self.cut()
        # shutdown, for a close alone does not wake who waits in accept
        self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()
        self._thread.join()

    def cut(self):
        """Every connection ends, and new ones are refused."""
        with self._lock:
            self._open.clear()
            ends, self._ends = self._ends, []
        for end in ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def heal(self):
        self._open.set()

    def _serve(self):
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            with self._lock:  # or a connection might come up behind a cut
                if not self._open.is_set():
                    near.close()
                    continue
                far = socket.create_connection(("127.0.0.1", self._to_port))
                self._ends += [near, far]
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    @staticmethod
    def _pass_on(one, other):
        with contextlib.suppress(OSError):
            while data := one.recv(65_536):
                other.sendall(data)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
