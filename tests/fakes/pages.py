"""Juniper Knob's pages over a real store, and a publish that does at once what the collector would do."""

import threading
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from waitress.server import create_server

from dashboard.sources import Sources
from shared.alerts import Alert, AlertState, Cause, Priority, Transition, acknowledge, shelve, unshelve
from shared.errors import BrokerError
from shared.estimates.picture import dump_picture, new_picture
from shared.farm import Farm
from shared.farm_file import parse_farm
from shared.readings import Reading
from shared.requests import Acknowledge, Answer, Request, Shelve, Unshelve
from shared.store import Batch, Memory, Record
from shared.store.sqlite import SqliteStore
from shared.store.sqlite_reader import open_reader
from shared.units import to_si
from tests.fakes.sides import PATIENCE_S

FARM_FILE = Path(__file__).parents[2] / "sample_streams" / "juniper-knob.toml"
T0 = 1_774_310_400_000
"""2026-03-23 20:00 in New York."""


@contextmanager
def served(app):
    """The address of these pages on a loopback port; afterwards nothing of their server is left.

    Its workers end first, for they wake its loop; and it closes its sockets in its own thread: closed by another, a
    number may already be somebody else's file when it is next read or written.
    """
    server = create_server(app, host="127.0.0.1", port=0, threads=4)
    loop = threading.Thread(target=server.run)

    def close():
        for channel in [*server.active_channels.values()]:
            channel.handle_close()
        server.close()

    loop.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        server.task_dispatcher.shutdown(timeout=PATIENCE_S)
        server.trigger.pull_trigger(close)
        loop.join(PATIENCE_S)
    assert not loop.is_alive()


def juniper_knob() -> Farm:
    return parse_farm(FARM_FILE.read_text())


def alert(rule="tank_nearly_full", subject="lower", sentence="Lower is full about 22:10.", **more) -> Alert:
    facts = {"state": AlertState.ACTIVE, "priority": Priority.WAKE, "episode": 1, "raised_ms": T0 - 600_000}
    return Alert(rule, subject, sentence=sentence, **(facts | more))


@dataclass
class Knob:
    """The farm, its store opened for writing, and what pages are handed."""

    path: Path
    now_ms: int = T0
    requests: list[Request] = field(default_factory=list)
    broker_is_down: bool = False

    def __post_init__(self) -> None:
        self.farm = juniper_knob()
        quantities = {sensor.id: sensor.quantity for sensor in self.farm.sensors}
        self.store = SqliteStore(self.path, quantities)
        reader = open_reader(self.path, quantities)
        self.sources = Sources(reader, self.farm, lambda: self.now_ms, self.publish)

    def close(self) -> None:
        self.sources.reader.close()
        self.store.close()

    def say(self, sensor: str, number: float, unit: str, at_ms: int | None = None) -> None:
        at_ms = self.now_ms if at_ms is None else at_ms
        reading = Reading(sensor, at_ms, to_si(number, unit), at_ms + 50)
        self.store.commit(Batch(readings=[reading], received_ms=at_ms + 50))

    def say_often(self, sensor: str, numbers: list[float], unit: str, every_s: float = 60.0) -> None:
        """One after the other, the last one now."""
        first_ms = self.now_ms - round((len(numbers) - 1) * every_s * 1000)
        readings = [
            Reading(sensor, at_ms, to_si(number, unit), at_ms + 50)
            for step, number in enumerate(numbers)
            for at_ms in [first_ms + round(step * every_s * 1000)]
        ]
        self.store.commit(Batch(readings=readings, received_ms=self.now_ms))

    def keep(self, *alerts: Alert, transitions: tuple[Transition, ...] = (), texts=()) -> None:
        """What the collector would have recorded, its memory still that of an evening without readings."""
        memory = Memory(0, 0, self.now_ms, dump_picture(new_picture(self.farm)), b"")
        self.store.record(Record(memory, alerts, transitions, texts))

    def publish(self, request: Request) -> None:
        if self.broker_is_down:
            raise BrokerError("the broker cannot be reached")
        self.requests.append(request)
        known = {alert.key: alert for alert in self.store.alerts()}
        match request:
            case Acknowledge():
                changed = acknowledge(known[request.alert], request.by, request.asked_ms)
            case Answer():
                text = self.store.text_by_code(request.code)
                changed = acknowledge(known[text.key], text.contact, request.asked_ms)
            case Shelve():
                who = (request.by, request.asked_ms)
                changed = shelve(known[request.alert], request.until_ms, request.reason, *who)
            case Unshelve():
                changed = unshelve(known[request.alert], request.asked_ms, request.by)
        self.keep(changed[0], transitions=changed[1])


def a_night(knob: Knob) -> None:
    """Six hours: the ledge loses vacuum in the last, the lower tank fills, the fire has gone out."""
    calm = [25.0 + 0.1 * (step % 3) for step in range(300)]
    for sensor in ("pump-vacuum", "ledge-near", "brook-far", "saddle-far"):
        knob.say_often(sensor, [*calm, *calm[:60]], "inHg")
    knob.say_often("ledge-far", [*calm, *(step - 6.0 for step in calm[:60])], "inHg")
    knob.say_often("lower-level", [20.0 + 0.1 * step for step in range(360)], "in")
    knob.say_often("upper-level", [30.0] * 360, "in")
    knob.say_often("stack", [*([650.0, 700.0, 480.0] * 60), *([70.0] * 180)], "degF")
    knob.say_often("air", [39.0] * 360, "degF")
    began = Transition(
        "tank_nearly_full/lower", 1, T0 - 600_000, Cause.RAISED, AlertState.ACTIVE, Priority.WAKE, "x"
    )
    knob.keep(alert(), transitions=(began,))
