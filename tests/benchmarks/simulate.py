"""How fast the simulator is: a 14-day season of 40 sensors at 10 s, with and without writing the stream.

    python tests/benchmarks/simulate.py [DAYS]

The baseline writes as many ready-made lines through the same file, so that what the disk takes is seen.
"""

import re
import resource
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from collector.simulate.farm_night import simulate  # noqa: E402 - run as a script
from collector.simulate.story import parse_story  # noqa: E402
from collector.simulate.wire import stream_line  # noqa: E402
from shared.farm import Farm  # noqa: E402
from shared.farm_file import parse_farm  # noqa: E402

START_MS = 1_774_180_800_000
SENSORS = 40
LINES = ("ledge", "brook", "north-face", "saddle")


def forty_sensors() -> Farm:
    """The invented farm with its 25 sensors and 15 more along the lines, all at 10 s."""
    text = (ROOT / "sample_streams" / "juniper-knob.toml").read_text()
    text = re.sub(r"interval_s = \d+", "interval_s = 10", text)
    for i in range(SENSORS - text.count("[[sensor]]")):
        text += (
            f'\n[[sensor]]\nid = "extra-{i}"\nquantity = "vacuum"\nunit = "inHg"\n'
            f'line = "{LINES[i % 4]}"\nat_ft = {100 + 60 * i}\ninterval_s = 10\n'
        )
    return parse_farm(text)


def main(days: float) -> None:
    farm = forty_sensors()
    story = parse_story('title = "season"\n[weather]\nfirst_day_of_season = 12\n')
    print(f"{len(farm.sensors)} sensors at 10 s, {days:g} days")
    with tempfile.TemporaryDirectory() as folder:
        started_s, cpu_s = time.monotonic(), time.process_time()
        count = sum(1 for _ in simulate(farm, story, START_MS, days, 7).messages)
        show("simulate", count, time.monotonic() - started_s, time.process_time() - cpu_s)
        started_s, cpu_s = time.monotonic(), time.process_time()
        with (Path(folder) / "season.jsonl").open("w") as file:
            for message in simulate(farm, story, START_MS, days, 7).messages:
                file.write(stream_line(message) + "\n")
            size = file.tell()
        show("simulate and write", count, time.monotonic() - started_s, time.process_time() - cpu_s)
        line = "x" * (size // count - 1) + "\n"
        started_s, cpu_s = time.monotonic(), time.process_time()
        with (Path(folder) / "ready.jsonl").open("w") as file:
            for _ in range(count):
                file.write(line)
        show("write ready-made lines", count, time.monotonic() - started_s, time.process_time() - cpu_s)
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{size / 1e6:.0f} MB, most memory {memory_mb:.0f} MB")


def show(what: str, count: int, wall_s: float, cpu_s: float) -> None:
    rate = count / wall_s
    print(f"{what:24s} {count} messages in {wall_s:6.1f} s ({cpu_s:.1f} s of CPU), {rate:,.0f} a second")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 14.0)
