"""A collector on virtual time whose findings, phones, clock, link and power a test holds in its hand."""

import json
from dataclasses import dataclass, field
from itertools import count

from collector.alerting.delivery import Sender
from collector.arrivals import Received
from collector.daemon import Daemon
from collector.evaluator import plan_for
from collector.rules import channel_failing
from collector.rules.rule import Rule, Subject
from collector.topics import router_of
from shared.alerts import Finding, Hold, Priority, Verdict
from shared.broker import Link, LinkState
from shared.errors import ChannelError
from shared.farm_file import parse_farm
from shared.requests import encode
from shared.settings import Settings
from shared.store.sqlite import SqliteStore

T0 = 1_774_310_400_000
SUBJECTS = tuple(
    f"{name}-mainline-far-end" for name in ("ledge", "brook", "saddle", "birch", "spring", "hollow")
)
"""So long that what is said of all of them does not fit in one text."""
RAISE_S, CLEAR_S = 60.0, 120.0
TEXT = """
[farm]
id = "small"
name = "Small"
timezone = "America/New_York"
elevation_ft = 1000
[horn]
after_min = 5
[[contact]]
id = "owner"
name = "Wren"
quiet = { from = "22:00", to = "06:00" }
channel = [{ id = "push", url = "terminal:" }, { id = "mail", url = "terminal:" }]
[[contact]]
id = "neighbour"
name = "Abel"
quiet = { from = "23:00", to = "05:00", holds = "wake" }
channel = [{ id = "push", url = "terminal:" }]
"""
SETTINGS = Settings()
WAYS = (("owner", "push"), ("owner", "mail"), ("neighbour", "push"))


class PowerCut(BaseException):
    """The process dies here."""


class Session:
    """The broker's side: requests wait in it, and what is published stands in it."""

    state = LinkState(Link.CONNECTED)
    protocol = "MQTT 5"
    refused_filters: dict = {}  # noqa: RUF012 - never written

    def __init__(self):
        self.items = []
        self.published = []

    def take(self, max_count, _wait_s):
        taken, self.items = self.items[:max_count], self.items[max_count:]
        return taken

    def acknowledge(self, items):
        pass

    def publish(self, topic, payload, *, retain=False):
        self.published.append((topic, payload, retain))
        return True


@dataclass
class Phone:
    """One channel: it takes texts, fails, or takes them and its answer is lost; `cut` is when the power goes."""

    mode: str = "takes"
    cut: str = ""
    bodies: list = field(default_factory=list)
    lost_answers: int = 0

    def deliver(self, body, _long_body):
        cut, self.cut = self.cut, ""
        if cut == "before":
            raise PowerCut
        if self.mode == "fails":
            raise ChannelError("no link", permanent=False)
        self.bodies.append(body)
        if cut == "after":
            self.lost_answers += 1
            raise PowerCut
        if self.mode == "takes, no answer":
            self.lost_answers += 1
            raise ChannelError("the answer did not come", permanent=False)


class Watchman:
    """The real daemon and sender, one turn a call; both clocks stand still between."""

    def __init__(self, path):
        self.farm = parse_farm(TEXT)
        self.found = dict.fromkeys(SUBJECTS, (Verdict.NORMAL, Priority.WAKE, ""))
        self.phones = {way: Phone() for way in WAYS}
        self.now_ms = T0
        self.now_s = 0.0
        self.session = Session()
        self.mids = count(1)
        self.written = {}
        self._path = path
        trouble = Rule(
            "trouble", lambda _farm: tuple(Subject(s, ()) for s in SUBJECTS), self._judge, by_arrival=True
        )
        self.plan = plan_for(self.farm, [trouble, channel_failing.RULE])
        self.store = SqliteStore(path, {})
        # A test of what is written, not of what a disk keeps.
        self.store._connection.execute("PRAGMA synchronous = OFF")
        self.start()

    def _judge(self, _farm, _picture, subject, now_ms):
        verdict, priority, explained_by = self.found[subject]
        return Finding(
            "trouble", subject, verdict, priority, now_ms, Hold(RAISE_S, CLEAR_S),
            f"{subject.capitalize()} is {verdict}.", "Look.", explained_by,
        )  # fmt: skip

    def start(self):
        """A process begins, with what the store holds."""
        self.started_s = self.now_s
        channels = {way: phone.deliver for way, phone in self.phones.items()}
        self.daemon = Daemon(
            SETTINGS,
            self.plan,
            router_of(self.farm),
            self.store,
            self.session,
            Sender(self.store, self.farm, channels, lambda: self.now_ms),
            lambda: self.now_ms,
            lambda: self.now_s,
        )
        self.daemon._resume()

    def turn(self):
        """One turn of the loop, then the sender's; the process is started anew when the power went in between."""
        self.look()
        try:
            self.daemon.sender.send_due()
        except PowerCut:
            self.start()

    def look(self):
        """One turn of the loop, a second after the last."""
        self.now_s += 1
        self.now_ms += 1000
        self.daemon._turn()
        # By id: when a text was first seen, on the clock that only goes forward, and what alerts it tells of.
        newest = max(self.written, default=0)
        for text_id, key, also in self.store._connection.execute(
            "SELECT id, key, also FROM outbox WHERE id > ?", (newest,)
        ):
            self.written[text_id] = (self.now_s, (key, *json.loads(also)))

    def texts(self):
        """(row, when it was first seen, what alerts it tells of) of every text there ever was, oldest first."""
        rows = reversed(self.store.outbox(10_000))
        return [(row, *self.written[text_id]) for text_id, row in enumerate(rows, 1)]

    def pass_time(self, seconds, step_s=30):
        """Turns while time goes by."""
        left_s = seconds
        while left_s > 0:
            step_s = min(step_s, left_s)
            self.now_s += step_s - 1
            self.now_ms += round(step_s * 1000) - 1000
            left_s -= step_s
            self.turn()

    def ask(self, request):
        """A person's request comes by the broker."""
        mid = next(self.mids)
        self.session.items.append(
            Received(
                1,
                mid,
                1,
                "lantern/small/request",
                encode(request),
                False,
                False,
                self.now_ms,
                self.now_s,
                None,
            )
        )

    @property
    def alerting(self):
        return self.daemon._watch.alerting
