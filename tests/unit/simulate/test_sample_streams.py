"""The sample streams that come with the project are what their stories make, and small enough to carry."""

import gzip
import json
from typing import get_args

import pytest

from collector.simulate.farm_night import simulate
from collector.simulate.story import parse_story
from collector.simulate.story_events import Event, Fault
from collector.simulate.wire import stream_line
from shared.streams import extent_of, read_stream
from shared.units import DAY_S
from tests.fakes.seasons import SAMPLES, farm

NAMES = sorted(path.stem for path in (SAMPLES / "stories").glob("*.toml"))


def lines_of(name):
    with gzip.open(SAMPLES / f"{name}.jsonl.gz", "rt") as lines:
        return lines.read().splitlines()


def story_of(name):
    return parse_story((SAMPLES / "stories" / f"{name}.toml").read_text())


def truth_of(name):
    return json.loads((SAMPLES / f"{name}.truth.json").read_text())


def test_the_folder_holds_one_stream_and_one_truth_for_each_story():
    assert len(NAMES) == 9
    assert sorted(p.name for p in SAMPLES.glob("*.jsonl.gz")) == [f"{name}.jsonl.gz" for name in NAMES]
    assert sorted(p.name for p in SAMPLES.glob("*.truth.json")) == [f"{name}.truth.json" for name in NAMES]


def test_a_stream_is_under_two_megabytes_and_all_of_them_under_ten():
    sizes = [path.stat().st_size for path in SAMPLES.iterdir() if path.is_file()]
    assert max(sizes) < 2e6
    assert sum(sizes) < 10e6


@pytest.mark.parametrize("name", NAMES)
def test_a_stream_is_read_to_its_end(name):
    truth, story = truth_of(name), story_of(name)
    extent = extent_of(read_stream(lines_of(name)))
    assert extent.count == truth["message_count"]
    assert extent.is_absolute
    assert extent.length_ms == pytest.approx(story.duration_s * 1000, abs=60_000)


@pytest.mark.parametrize("name", ["demo-night", "fire-dying-over-fire"])
def test_a_stream_is_what_its_story_makes(name):
    """All but a line in a thousand, where another machine's mathematics may round another way."""
    story = story_of(name)
    start_ms = round(story.start.timestamp() * 1000)
    simulation = simulate(farm(), story, start_ms, story.duration_s / DAY_S, story.seed)
    made, kept = [stream_line(m) for m in simulation.messages], lines_of(name)
    assert len(made) == len(kept)
    assert sum(a != b for a, b in zip(made, kept, strict=True)) <= len(kept) / 1000


@pytest.mark.parametrize("name", NAMES)
def test_the_readme_tells_of_each_stream_and_each_alert_that_must_come(name):
    readme = (SAMPLES / "README.md").read_text()
    section = readme.split(f"### {name}\n")[1].split("\n### ")[0]
    for due in truth_of(name)["expected"]:
        assert f"`{due['rule']}`" in section
        assert f"`{due['subject']}`" in section


def test_the_readme_tells_of_every_kind_of_event_and_fault():
    readme = (SAMPLES / "README.md").read_text()
    kinds = {get_args(kind.model_fields["kind"].annotation)[0] for kind in get_args(get_args(Event)[0])}
    assert len(kinds) == 17
    assert [word for word in (*kinds, *Fault) if f"`{word}`" not in readme] == []


@pytest.mark.parametrize("name", NAMES)
def test_the_truths_books_are_closed(name):
    truth = truth_of(name)
    for books in (truth["water"], truth["sugar"]):
        assert abs(books["error_kg"]) < 0.001 * max(books["sap_in_kg"], 1.0)
