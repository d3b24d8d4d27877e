"""The commands and their options, declared; what each does is in lantern.py."""

import argparse
from collections.abc import Callable, Mapping
from pathlib import Path

from shared.streams import offset_ms

Run = Callable[[argparse.Namespace], int]


def parser(runs: Mapping[str, Run]) -> argparse.ArgumentParser:
    """The command line; `runs` says what each command does."""
    line = argparse.ArgumentParser(prog="lantern", description="The night watch for a sugarbush.")
    commands = line.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, text: str) -> argparse.ArgumentParser:
        added = commands.add_parser(name, help=text, description=text)
        added.set_defaults(run=runs[name])
        return added

    command("demo", "Show an invented farm's night, told in a minute, in this terminal and a browser.")
    collect = command("collect", "Listen to the sensors, store readings, raise alerts, send texts.")
    serve = command("serve", "Serve the pages to a browser on this machine.")
    check = command("check", "Print what the farm file says, as Lantern understands it.")
    check.add_argument("--listen", type=float, metavar="SECONDS", help="also listen, and say who is heard")
    drill = command("drill", "Send a marked test to everybody by every channel, and wait for the answer.")
    drill.add_argument("--by", default="the command line", help="who asks, as the text says it")
    drill.add_argument(
        "--patience", type=float, default=600.0, metavar="SECONDS", help="how long to wait (default 600)"
    )
    answer = command("answer", "Say who asks; or answer: I have it, or no texts of it for some hours.")
    answer.add_argument("what", nargs="?", metavar="WHAT", help="the code of a text, or an alert's key")
    answer.add_argument("--quiet", type=float, metavar="HOURS", help="also no texts of it for so long")
    answer.add_argument("--reason", help="why, with --quiet")
    storm = command("storm", "Say what a storm did: which line, since when, where to walk, and what it cost.")
    storm.add_argument(
        "--from",
        dest="storm_from",
        metavar="TIME",
        help="the farm's clock (2026-03-24 22:00, or 22:00), RFC 3339 or an age (12h); default: an hour before"
        " the first trouble of the last day",
    )
    storm.add_argument("--to", dest="storm_to", metavar="TIME", help="likewise (default now)")
    storm.add_argument("--json", action="store_true", help="print JSON, not tables")
    replay = command("replay", "Publish a recorded stream, as its sensors would.")
    replay.add_argument("files", nargs="+", type=Path, metavar="FILE", help="JSON Lines, may be gzipped")
    replay.add_argument(
        "--speed", type=_speed, default=1.0, help="how many times as fast as recorded, or max (default 1)"
    )
    replay.add_argument("--now", action="store_true", help="shift the times so that the replay ends now")
    simulate = command("simulate", "Make a stream of a farm's sensors, with the truth beside it.")
    simulate.add_argument("--days", type=float, help="how long (default: as long as the story says)")
    simulate.add_argument("--seed", type=int, help="of the dice (default: the story's)")
    simulate.add_argument("--story", type=Path, metavar="STORY", help="weather, and what goes wrong")
    simulate.add_argument("--out", type=Path, required=True, metavar="FILE", help="JSON Lines; .gz: gzipped")
    score = command("score", "Watch simulated nights and hold every wake-up against their truth.")
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
    record = command("record", "Write live traffic into a stream that can be replayed.")
    record.add_argument("out", type=Path, metavar="FILE", help="a new file: night.jsonl or night.jsonl.gz")
    record.add_argument("--seconds", type=float, help="how long (default: until Ctrl-C)")
    record.add_argument("--all", action="store_true", help="all topics, not only those of the farm file")
    record.add_argument(
        "--scrub",
        action="store_true",
        help="for sharing: without names, places and dates, with its farm file",
    )
    for with_farm in (collect, serve, check, drill, answer, storm, replay, record):
        with_farm.add_argument("--farm", type=Path, dest="farm_file", help="farm file (default farm.toml)")
    for with_broker in (collect, serve, check, drill, answer, replay, record):
        with_broker.add_argument("--broker", metavar="HOST:PORT", help="MQTT broker (default 127.0.0.1:1883)")
    for with_store in (collect, serve, drill, answer, storm):
        with_store.add_argument(
            "--store", type=Path, dest="store_file", help="store file (default lantern.sqlite)"
        )
    serve.add_argument("--port", type=int, dest="listen_port", help="port of the pages (default 8151)")
    return line


def _speed(text: str) -> float | None:
    """A replay's speed; None for as fast as the broker takes it."""
    if text == "max":
        return None
    speed = float(text)
    if not 0 < speed < 1e6:  # noqa: PLR2004 - beyond it, say max
        raise argparse.ArgumentTypeError("a number above 0, or max")
    return speed
