# ruff: noqa: INP001 - a folder of streams with its script, not a package
"""Makes every sample stream again from its story: `python sample_streams/make.py [NAME ...]`.

Each stories/NAME.toml becomes NAME.jsonl.gz and NAME.truth.json. The same story gives the same bytes.
"""

import gzip
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
sys.path.insert(0, str(FOLDER.parent))

from collector.simulate.farm_night import simulate  # noqa: E402 - run as a script, before it is installed
from collector.simulate.story import parse_story  # noqa: E402
from collector.simulate.truth_file import truth_text  # noqa: E402
from collector.simulate.wire import stream_line  # noqa: E402
from shared.farm_file import parse_farm  # noqa: E402
from shared.units import DAY_S  # noqa: E402

FARM_FILE = FOLDER / "juniper-knob.toml"


def make(name: str) -> str:
    """Write the stream and the truth of one story; what was made, in a line."""
    farm = parse_farm(FARM_FILE.read_text("utf-8"))
    story = parse_story((FOLDER / "stories" / f"{name}.toml").read_text("utf-8"))
    if story.start is None:
        raise SystemExit(f"{name}: a sample stream's story needs its start")
    simulation = simulate(
        farm, story, round(story.start.timestamp() * 1000), story.duration_s / DAY_S, story.seed
    )
    target = FOLDER / f"{name}.jsonl.gz"
    # No name and no time in the header: the same stream is the same file.
    with target.open("wb") as file, gzip.GzipFile("", "wb", 9, file, mtime=0) as stream:
        for message in simulation.messages:
            stream.write(stream_line(message).encode() + b"\n")
    truth = simulation.truth
    (FOLDER / f"{name}.truth.json").write_text(truth_text(truth), "utf-8")
    return f"{name}: {truth.message_count} messages, {target.stat().st_size / 1e6:.2f} MB"


if __name__ == "__main__":
    for story_name in sys.argv[1:] or sorted(path.stem for path in (FOLDER / "stories").glob("*.toml")):
        print(make(story_name))  # noqa: T201
