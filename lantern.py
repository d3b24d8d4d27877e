"""The command line: reads farm and settings, starts a side; the only file that sees both sides."""

import argparse
import gzip
import logging
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from pydantic import ValidationError

from shared.clock import Clock, Pace, monotonic_s, paced_clock, system_clock
from shared.command_line import Run, parser
from shared.errors import LanternError, SettingsError, StoreError, StreamError
from shared.farm import Farm
from shared.farm_file import parse_farm
from shared.settings import Settings
from shared.store import Reader
from shared.streams import StreamMessage


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the process's exit code."""
    options = parser(RUNS).parse_args(arguments)
    shown = logging.StreamHandler()
    shown.addFilter(_is_shown)
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s", handlers=[shown])
    try:
        return RUNS[options.command](options)
    except LanternError as error:
        print(f"lantern {options.command}: {error}", file=sys.stderr)
        return 1


def _is_shown(record: logging.LogRecord) -> bool:
    """Not shown, yet not silenced either: what Apprise says in its log is the reason of a text that was not taken.

    These two say at every reconnect and every request what is our own business to say.
    """
    return record.levelno >= logging.ERROR or not record.name.startswith(("apprise", "waitress.queue"))


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


def _reader(settings: Settings, farm: Farm) -> Reader:
    from shared.store.sqlite_reader import open_reader

    return open_reader(settings.store_file, {sensor.id: sensor.quantity for sensor in farm.sensors})


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
    from collector.far_answers import FarAnswers
    from collector.opening import open_daemon

    settings = _settings(options)
    farm, clock = _farm(settings), _clock(settings)
    daemon = open_daemon(settings, farm, clock, monotonic_s)
    daemon.stopping = _stop_on_signal()
    with FarAnswers(settings, farm.id, clock, monotonic_s):
        daemon.run()
    return 0


def _serve(options: argparse.Namespace) -> int:
    from dashboard.app import serve
    from dashboard.requests_out import publisher
    from dashboard.sources import Sources

    settings = _settings(options)
    farm = _farm(settings)
    stopping = _stop_on_signal()
    waited = False
    while not stopping.is_set():
        try:
            reader = _reader(settings, farm)
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


def _storm(options: argparse.Namespace) -> int:
    from rich.console import Console

    from collector.storm import print_storm

    settings = _settings(options)
    farm = _farm(settings)
    reader, now_ms = _reader(settings, farm), _clock(settings)()
    print_storm(reader, farm, now_ms, options.storm_from, options.storm_to, Console(), as_json=options.json)
    return 0


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


def _demo(_options: argparse.Namespace) -> int:
    from collector.demo import demo

    return demo(Path(__file__).parent, os.environ)


def _drill(options: argparse.Namespace) -> int:
    from collector.drill import hold_drill

    settings = _settings(options)
    farm = _farm(settings)
    return hold_drill(
        settings, farm, _reader(settings, farm), options.by, options.patience, _clock(settings), print
    )


def _answer(options: argparse.Namespace) -> int:
    from rich.console import Console

    from collector.answer import answer, print_asking

    settings = _settings(options)
    farm = _farm(settings)
    if options.what is None:
        return print_asking(_reader(settings, farm), farm, Console(), _clock(settings))
    return answer(settings, farm, options.what, options.quiet, options.reason, _clock(settings))


RUNS: dict[str, Run] = {
    "demo": _demo,
    "collect": _collect,
    "serve": _serve,
    "check": _check,
    "drill": _drill,
    "answer": _answer,
    "storm": _storm,
    "replay": _replay,
    "record": _record,
    "simulate": _simulate,
    "score": _score,
}


if __name__ == "__main__":
    sys.exit(main())
