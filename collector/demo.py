"""A night at an invented farm, told in a minute: broker, collector, pages and replay, all on this machine.

The first hours go by in seconds, so that sap has time to grow old; then the pace slows down for the hour in
which things happen, and slows again for what follows. Collector and pages read the farm's time from the same
pace, so to them it is an ordinary night. Everything is written into one folder, which goes when the demo ends.
"""

import gzip
import re
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

from collector.alerting.channels import TERMINAL, TEXT_MARK
from collector.daemon import PROVEN
from collector.embedded_broker import EmbeddedBroker
from collector.replay import Plan, progress_bar, replay, time_fields_of
from shared.clock import Pace, Stretch, system_clock
from shared.errors import BrokerError
from shared.farm_file import parse_farm
from shared.publisher import Publisher
from shared.settings import Settings
from shared.streams import Extent, extent_of, read_stream

STREAM = "demo-night.jsonl.gz"
FARM = "juniper-knob.toml"

CALM_S = 40_200
"""Farm seconds from the start of the stream to where things begin to happen."""
BUSY_S = 6_000
CALM_LASTS_S = 22.0
BUSY_LASTS_S = 40.0
LATER_SPEED = 60.0
STARTING_S = 3.5
"""Until collector and pages listen; a slower machine only starts late and catches up."""
LISTENING_WITHIN_S = 30.0

ADDED = """
# Added for the demo: the texts are shown in the terminal, and at hundreds of times the speed of life no
# sensor's silence means anything; its evening is over before anybody could read a brief.
[rules.sensor_silent]
enabled = false
[brief]
enabled = false
"""


def demo(project: Path, environment: Mapping[str, str]) -> int:
    """Run the demo until Ctrl-C.

    Raises:
        BrokerError: something else listens where the demo's broker should.
    """
    try:
        with tempfile.TemporaryDirectory(prefix="lantern-demo-") as folder:
            _run(project / "sample_streams", Path(folder), dict(environment))
    except KeyboardInterrupt:
        _say("\nThe demo has ended and left nothing behind.")
    return 0


def _run(samples: Path, folder: Path, environment: dict[str, str]) -> None:
    farm_text = (samples / FARM).read_text() + ADDED
    (folder / "farm.toml").write_text(farm_text)
    farm = parse_farm(farm_text)
    with gzip.open(samples / STREAM, "rt") as lines:
        messages = list(read_stream(lines))
    extent = extent_of(messages)
    pace = _pace(extent, system_clock())
    settings = Settings(
        farm_file=folder / "farm.toml",
        store_file=folder / "lantern.sqlite",
        broker_port=_free_port(),
        listen_port=_free_port(),
        pace=pace.to_json(),
    )
    environment |= {
        f"LANTERN_{name.upper()}": str(value)
        for name, value in settings.model_dump(exclude_none=True).items()
    }
    environment |= dict.fromkeys(_variables(farm_text), TERMINAL)
    with ExitStack() as stack:
        broker = stack.enter_context(EmbeddedBroker(settings.broker_port))
        listening = threading.Event()
        stack.enter_context(_process("collect", folder, environment, listening))
        stack.enter_context(_process("serve", folder, environment))
        _say(
            f"{broker.notice}\n\n  Juniper Knob is at http://127.0.0.1:{settings.listen_port}/\n\n"
            "Its texts appear here as they would on the owner's phone. Ctrl-C ends the demo.\n"
        )
        if not listening.wait(LISTENING_WITHIN_S):
            log = (folder / "collect.log").read_text()[-2000:]
            raise BrokerError(f"the collector did not come up; it said:\n{log}")
        door = stack.enter_context(Publisher(settings, "demo-replay"))
        on_sent = stack.enter_context(progress_bar(extent.count))
        replay(messages, door, Plan(0, pace), time_fields=time_fields_of(farm), on_sent=on_sent)
        _say("The recorded night is over; the pages stay until Ctrl-C.")
        threading.Event().wait()


def _say(words: str) -> None:
    print(words, flush=True)  # noqa: T201 - a command speaks


@contextmanager
def _process(
    command: str, folder: Path, environment: dict[str, str], listening: threading.Event | None = None
) -> Iterator[None]:
    """A side of Lantern as its own process; its texts are shown, its log is kept beside the store."""
    process = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-m", "lantern", command],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # Ctrl-C is ours to pass on, in order: else the log of a broken link would be the last thing seen.
        start_new_session=True,
    )

    def follow() -> None:
        assert process.stdout is not None
        with (folder / f"{command}.log").open("w") as log:
            for line in process.stdout:
                if TEXT_MARK in line:
                    _say(line.rstrip())
                else:
                    log.write(line)
                    log.flush()
                if listening is not None and PROVEN in line:
                    listening.set()

    follower = threading.Thread(target=follow)
    follower.start()
    try:
        yield
    finally:
        process.terminate()
        process.wait()
        follower.join()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def _variables(farm_text: str) -> list[str]:
    """The environment variables that the farm's channels take their addresses from."""
    return re.findall(r"\$\{(\w+)\}", farm_text)


def _pace(extent: Extent, wall_ms: int) -> Pace:
    """Slowly until everyone listens, fast through the calm, slower where it happens, then as one can follow."""
    start, calm, busy = (
        extent.first_ms,
        extent.first_ms + CALM_S * 1000,
        extent.first_ms + (CALM_S + BUSY_S) * 1000,
    )
    begin = wall_ms + round(STARTING_S * 1000)
    after_calm = begin + round(CALM_LASTS_S * 1000)
    after_busy = after_calm + round(BUSY_LASTS_S * 1000)
    end = after_busy + round((extent.last_ms - busy) / LATER_SPEED)
    return Pace(
        (
            Stretch(wall_ms, start - (begin - wall_ms), 1.0),
            Stretch(begin, start, CALM_S / CALM_LASTS_S),
            Stretch(after_calm, calm, BUSY_S / BUSY_LASTS_S),
            Stretch(after_busy, busy, LATER_SPEED),
            Stretch(end, extent.last_ms, 1.0),
        )
    )
