"""Real servers on loopback that receive texts: an SMTP server and an HTTP server."""

import asyncio
import json
import socket
import threading
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from aiosmtpd.controller import Controller

from tests.fakes.sides import PATIENCE_S, wait_until


@dataclass
class Inbox:
    """What has arrived; `wait_for` returns once there are so many."""

    bodies: list[str] = field(default_factory=list)
    _news: threading.Condition = field(default_factory=threading.Condition)

    def put(self, body):
        with self._news:
            self.bodies.append(body)
            self._news.notify_all()

    def wait_for(self, count, seconds=PATIENCE_S):
        with self._news:
            self._news.wait_for(lambda: len(self.bodies) >= count, seconds)
        return list(self.bodies)


class HttpPhone:
    """Takes JSON posts as a push service or SMS gateway would; `status` is what it answers.

    While `answers` is cleared it hangs, as a link by satellite does; `falls_silent`: it takes the text, and the link
    is lost before its answer. `asked` counts what came to it, `on_text` is called with each that it took.
    """

    def __init__(self):
        self.inbox = Inbox()
        self.asked = Inbox()
        self.status = 200
        self.falls_silent = False
        self.answers = threading.Event()
        self.answers.set()
        self.on_text = lambda _body: None
        phone = self

        class Answer(BaseHTTPRequestHandler):
            def do_POST(self):
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))["message"]
                phone.asked.put(body)
                phone.answers.wait(30)
                if phone.status == 200:
                    phone.inbox.put(body)
                    phone.on_text(body)
                if phone.falls_silent:
                    self.connection.close()
                    return
                self.send_response(phone.status)
                self.end_headers()

            def log_message(self, *_):
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        self._thread = threading.Thread(target=self._server.serve_forever)
        self.url = f"json://127.0.0.1:{self._server.server_port}/text"

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self.answers.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class MailPhone:
    """An SMTP server that keeps the text of each mail; `on_text` is called with it before it is confirmed."""

    def __init__(self):
        self.inbox = Inbox()
        self.on_text = lambda _body: None
        # aiosmtpd tries its own port, so it must be told a number.
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self._port = free.getsockname()[1]
        self._controller = Controller(self, hostname="127.0.0.1", port=self._port, ready_timeout=PATIENCE_S)

    async def handle_DATA(self, _server, _session, envelope):  # noqa: N802 - aiosmtpd's name
        mail = message_from_bytes(envelope.content, policy=policy.default)
        body = mail.get_body(("plain", "html")).get_content().strip()
        self.inbox.put(body)
        self.on_text(body)
        return "250 taken"

    def __enter__(self):
        self._controller.start()
        self.url = (
            f"mailto://127.0.0.1:{self._port}/?from=lantern@example.org&to=owner@example.org&format=text"
        )
        return self

    def __exit__(self, *_):
        # aiosmtpd loses the socket of a client that it has not done with, and Python complains in a later test.
        wait_until(lambda: not asyncio.all_tasks(self._controller.loop))
        self._controller.stop()
