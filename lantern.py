"""The command line: reads farm and settings, starts a side; the only file that sees both sides."""

import argparse
import gzip
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from pydantic import ValidationError

from shared.clock import Clock, Pace, monotonic_s, paced_clock, system_clock
from shared.errors import LanternError, SettingsError, StoreError, StreamError
from shared.farm import Farm
from shared.farm_file import parse_farm
from shared.settings import Settings
from shared.streams import StreamMessage, offset_ms


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the process's exit code."""
    options = _parser().parse_args(arguments)
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    # These two say at every reconnect and every request what is our own business to say.
    for chatty in ("apprise", "waitress.queue"):
        logging.getLogger(chatty).setLevel(logging.ERROR)
    try:
        run: Callable[[argparse.Namespace], int] = options.run
        return run(options)
    except LanternError as error:
        print(f"lantern {options.command}: {error}", file=sys.stderr)
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="lantern", description="The night watch for a sugarbush.")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], text: str) -> argparse.ArgumentParser:
        added = commands.add_parser(name, help=text, description=text)
        added.set_defaults(run=run)
        return added

    command("demo", _demo, "Show an invented farm's night, told in a minute, in this terminal and a browser.")
    collect = command("collect", _collect, "Listen to the sensors, store readings, raise alerts, send texts.")
    serve = command("serve", _serve, "Serve the pages to a browser on this machine.")
    check = command("check", _check, "Print what the farm file says, as Lantern understands it.")
    check.add_argument("--listen", type=float, metavar="SECONDS", help="also listen, and say who is heard")
    replay = command("replay", _replay, "Publish a recorded stream, as its sensors would.")
    replay.add_argument("files", nargs="+", type=Path, metavar="FILE", help="JSON Lines, may be gzipped")
    replay.add_argument(
        "--speed", type=_speed, default=1.0, help="how many times as fast as recorded, or max (default 1)"
    )
    replay.add_argument("--now", action="store_true", help="shift the times so that the replay ends now")
    simulate = command("simulate", _simulate, "Make a stream of a farm's sensors, with the truth beside it.")
    simulate.add_argument("--days", type=float, help="how long (default: as long as the story says)")
    simulate.add_argument("--seed", type=int, help="of the dice (default: the story's)")
    simulate.add_argument("--story", type=Path, metavar="STORY", help="weather, and what goes wrong")
    simulate.add_argument("--out", type=Path, required=True, metavar="FILE", help="JSON Lines; .gz: gzipped")
    score = command("score", _score, "Watch simulated nights and hold every wake-up against their truth.")
    score.add_argument("--nights", type=int, default=200, help="how many (default 200)")
    score.add_argument("--seed", type=int, default=1, help="of the dice (default 1)")
    score.add_argument("--processes", type=int, default=1, help="how many at a time (default 1)")
    score.add_argument("--json", action="store_true", help="print JSON, not a table")
    for on_a_farm in (simulate, score):
        on_a_farm.add_argument("farm_file", type=Path, metavar="FARM", help="farm file")
    replay.add_argument(
        "--from",
        type=offset_ms,
        default=0,
        dest="from_ms",
        metavar="OFFSET",
        help="begin there: 11h30m or 41400",
    )
    replay.add_argument("--loop", action="store_true", help="again and again, times moving on")
    record = command("record", _record, "Write live traffic into a stream that can be replayed.")
    record.add_argument("out", type=Path, metavar="FILE", help="a new file: night.jsonl or night.jsonl.gz")
    record.add_argument("--seconds", type=float, help="how long (default: until Ctrl-C)")
    record.add_argument("--all", action="store_true", help="all topics, not only those of the farm file")
    record.add_argument(
        "--scrub",
        action="store_true",
        help="for sharing: without names, places and dates, with its farm file",
    )
    for with_farm in (collect, serve, check, replay, record):
        with_farm.add_argument("--farm", type=Path, dest="farm_file", help="farm file (default farm.toml)")
        with_farm.add_argument("--broker", metavar="HOST:PORT", help="MQTT broker (default 127.0.0.1:1883)")
    for with_store in (collect, serve):
        with_store.add_argument(
            "--store", type=Path, dest="store_file", help="store file (default lantern.sqlite)"
        )
    serve.add_argument("--port", type=int, dest="listen_port", help="port of the pages (default 8151)")
    return parser


def _settings(options: argparse.Namespace) -> Settings:
    """The environment's settings, with those of the command line on top."""
    said = {
        name: value
        for name in ("farm_file", "store_file", "listen_port")
        if (value := getattr(options, name, None)) is not None
    }
    broker = getattr(options, "broker", None)
    if broker is not None:
        said["broker_host"], _, port = broker.rpartition(":")
        said["broker_port"] = port
    try:
        return Settings(**said)
    except ValidationError as error:
        wrong = "; ".join(
            f"LANTERN_{str(e['loc'][0]).upper()} = {e['input']!r}: {e['msg']}" for e in error.errors()
        )
        raise SettingsError(wrong) from error


def _farm(settings: Settings) -> Farm:
    try:
        return parse_farm(settings.farm_file.read_text())
    except OSError as error:
        raise SettingsError(f"cannot read the farm file: {error}; name it with --farm") from error


def _clock(settings: Settings) -> Clock:
    if settings.pace is None:
        return system_clock
    try:
        return paced_clock(Pace.from_json(settings.pace))
    except (TypeError, ValueError) as error:
        raise SettingsError(f"LANTERN_PACE is no pace: {error}") from error


def _stop_on_signal() -> threading.Event:
    stopping = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stopping.set())
    return stopping


def _collect(options: argparse.Namespace) -> int:
    from collector.daemon import open_daemon

    settings = _settings(options)
    daemon = open_daemon(settings, _farm(settings), _clock(settings), monotonic_s)
    daemon.stopping = _stop_on_signal()
    daemon.run()
    return 0


def _serve(options: argparse.Namespace) -> int:
    from dashboard.app import serve
    from dashboard.requests_out import publisher
    from dashboard.sources import Sources
    from shared.store.sqlite_reader import open_reader

    settings = _settings(options)
    farm = _farm(settings)
    quantities = {sensor.id: sensor.quantity for sensor in farm.sensors}
    stopping = _stop_on_signal()
    waited = False
    while not stopping.is_set():
        try:
            reader = open_reader(settings.store_file, quantities)
            break
        except StoreError as error:
            if not waited:
                print(f"waiting: {error}", file=sys.stderr)
            waited = True
            stopping.wait(0.5)
    else:
        return 0
    # waitress ends by the exception that a signal raises; the default handlers do that.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with suppress(KeyboardInterrupt):
        serve(Sources(reader, farm, _clock(settings), publisher(settings, farm.id)), settings)
    return 0


def _check(options: argparse.Namespace) -> int:
    from rich.console import Console

    from collector.check import print_farm, print_heard

    settings = _settings(options)
    farm = _farm(settings)
    console = Console()
    print_farm(farm, console)
    return print_heard(settings, farm, options.listen, console, _clock(settings)) if options.listen else 0


def _replay(options: argparse.Namespace) -> int:
    from collector.controls import keyboard
    from collector.pacing import KEYS, Controls
    from collector.replay import looped, plan_of, progress_bar, replay, time_fields_of
    from shared.publisher import Publisher
    from shared.streams import extent_of, merged, read_stream, starting_at

    settings = _settings(options)

    # A stream is read twice, once to know how far it reaches; a season does not fit into memory.
    def messages() -> Iterator[StreamMessage]:
        return starting_at(merged(*(read_stream(_lines(path)) for path in options.files)), options.from_ms)

    extent = extent_of(messages())
    fields = time_fields_of(_farm(settings)) if settings.farm_file.exists() else {}
    stream, total = (looped(messages, extent, fields), None) if options.loop else (messages(), extent.count)
    stop = _stop_on_signal()
    controls = Controls(stop)
    with (
        Publisher(settings, f"lantern-replay-{os.getpid()}") as door,
        keyboard(controls.press) as has_keys,
        progress_bar(total, lambda: controls.words) as on_sent,
    ):
        if has_keys:
            print(KEYS, file=sys.stderr)
        plan = plan_of(extent, options.speed, system_clock(), rebase=options.now)
        count = replay(stream, door, plan, time_fields=fields, stop=stop, controls=controls, on_sent=on_sent)
    of_all = "" if total is None else f" of {total}"
    print(f"{count}{of_all} messages published, each acknowledged by the broker")
    return 0


def _record(options: argparse.Namespace) -> int:
    from collector.record import record_into

    settings = _settings(options)
    farm = None if options.all and not options.scrub else _farm(settings)
    record_into(
        options.out,
        settings,
        farm,
        hears_all=options.all,
        scrubs=options.scrub,
        lasts_s=options.seconds,
        wall=system_clock,
        stop=_stop_on_signal(),
        say=lambda words: print(words, flush=True),
    )
    return 0


def _simulate(options: argparse.Namespace) -> int:
    from collector.make_stream import make_stream

    return make_stream(_farm(_settings(options)), options.story, options.days, options.seed, options.out)


def _score(options: argparse.Namespace) -> int:
    from collector.score import print_score

    farm = _farm(_settings(options))
    return print_score(farm, options.nights, options.seed, options.processes, as_json=options.json)


def _lines(path: Path) -> Iterator[str]:
    try:
        with gzip.open(path, "rt") if path.suffix == ".gz" else path.open() as lines:
            yield from lines
    except (OSError, UnicodeDecodeError, EOFError) as error:
        raise StreamError(f"cannot read {path}: {error}") from error


def _speed(text: str) -> float | None:
    """A replay's speed; None for as fast as the broker takes it."""
    if text == "max":
        return None
    speed = float(text)
    if not 0 < speed < 1e6:  # noqa: PLR2004 - beyond it, say max
        raise argparse.ArgumentTypeError("a number above 0, or max")
    return speed


def _demo(_options: argparse.Namespace) -> int:
    from collector.demo import demo

    return demo(Path(__file__).parent, os.environ)


if __name__ == "__main__":
    sys.exit(main())
