"""The sample streams through the whole pipeline: what is told is exactly what their truth expects.

The week is left out for its length; `docs` and charts use it, and `lantern score` has nights like its own.
"""

import gzip
import json
from functools import cache

import pytest

from collector.alerting.book import AHEAD_FRACTION, REPEAT_AFTER_S
from collector.rules import RULES
from collector.scoring.listening import listen
from shared.gsm7 import LIMIT, length
from shared.streams import read_stream
from tests.fakes.seasons import SAMPLES, farm

NAMES = sorted(path.stem for path in (SAMPLES / "stories").glob("*.toml") if path.stem != "week")
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS

COMES_AND_GOES = {("faulty-sensors", "permeate-temperature")}
"""Heard now and then: told as such, again once it had settled."""
MOST_FLAPS = 5


@cache
def heard(name):
    with gzip.open(SAMPLES / f"{name}.jsonl.gz", "rt") as lines:
        return listen(farm(), ((m.at_ms, m.topic, m.payload) for m in read_stream(lines)))


def truth(name):
    return json.loads((SAMPLES / f"{name}.truth.json").read_text())


def told(name):
    """(hour, rule, subject, priority) of what the owner was told first."""
    start_ms = truth(name)["start_ms"]
    return [((t.at_ms - start_ms) / HOUR_MS, t.rule, t.subject, t.priority) for t in heard(name).told]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_told_is_exactly_what_is_expected_each_in_its_time(name):
    """The list stands in the stream's story and truth: rule, subject, priority, time window and why."""
    rules = {rule.id for rule in RULES}
    due = {(each["rule"], each["subject"], each["priority"]): each for each in truth(name)["expected"]}
    news = {}
    for hour, *what in told(name):
        news.setdefault(tuple(what), []).append(hour)
    assert set(news) == set(due)
    for what, hours in news.items():
        assert what[0] in rules
        assert due[what]["from_s"] / 3600 <= hours[0] <= due[what]["by_s"] / 3600, what
        assert len(hours) <= (MOST_FLAPS if (name, what[1]) in COMES_AND_GOES else 1), (what, hours)


@pytest.mark.parametrize("name", NAMES)
def test_every_text_is_news_of_it_a_due_reminder_or_its_one_end(name):
    """Nobody answers in these nights, so a wake-up is repeated by its schedule until it is over."""
    start_ms = truth(name)["start_ms"]
    due = {f"{each['rule']}/{each['subject']}" for each in truth(name)["expected"]}
    owners = [t for t in heard(name).texts if t.contact == farm().contacts[0].id and not t.fallback]
    assert all(length(text.body) <= LIMIT for text in heard(name).texts)
    briefs = [text for text in owners if text.key == "night_brief/tonight"]
    assert len({text.event for text in briefs}) == len(briefs) <= 1 + (owners[-1].due_ms - start_ms) // DAY_MS
    others = [text for text in owners if text not in briefs]
    assert {key for text in others for key in (text.key, *text.also)} == due
    last_ms, ended = {}, set()
    for text in others:
        opening = text.body.split(": ")[0]
        if opening == "Over":
            assert text.key in last_ms, text.body
            assert (text.key, text.event) not in ended
            ended.add((text.key, text.event))
        elif opening == "Still":
            waited_s = (text.due_ms - last_ms[text.key]) / 1000
            assert waited_s >= REPEAT_AFTER_S[0] * (1 - AHEAD_FRACTION) - 1, text.body
        for key in (text.key, *text.also):
            last_ms[key] = text.due_ms


def test_a_sensor_that_speaks_another_unit_looks_like_the_sensor():
    (body,) = [t.body for t in heard("faulty-sensors").told if t.rule == "vacuum_lost"]
    assert "It looks like the sensor on north-face" in body


FOUND = {
    # What the story of the stream does to a sensor: from when, who says so, and within how many hours.
    "brook-far stands still": (6, ("sensor_stuck", "brook-far"), 1.25),
    "saddle-far drifts by 0.15 inHg an hour": (5, ("sensor_drifting", "saddle-far"), 10.5),
    "upper-level spikes, one reading in fifty": (4, ("sensor_jumping", "upper-level"), 4.0),
    "north-face-far speaks psi": (12, ("vacuum_lost", "north-face"), 0.25),
    "lower-temperature is an hour ahead": (7, ("sensor_clock_wrong", "lower-temperature"), 0.25),
    "ledge-battery dies from 8 to 16": (8, ("battery_low", "ledge-battery"), 6.5),
    "permeate-temperature loses seven messages in ten": (6, ("sensor_silent", "permeate-temperature"), 1.0),
}
ACCUSE = {
    "sensor_stuck",
    "sensor_drifting",
    "sensor_out_of_range",
    "sensor_jumping",
    "sensor_clock_wrong",
    "battery_low",
}


@pytest.mark.parametrize("fault", FOUND)
def test_each_faulty_sensor_is_found_in_its_time(fault):
    from_h, alert, within_h = FOUND[fault]
    hours = [hour for hour, rule, subject, _ in told("faulty-sensors") if (rule, subject) == alert]
    assert from_h <= hours[0] <= from_h + within_h


@pytest.mark.parametrize("name", NAMES)
def test_no_healthy_sensor_is_accused(name):
    at_fault = {alert for _, alert, _ in FOUND.values()} if name == "faulty-sensors" else set()
    raised = {tuple(t.key.split("/")) for t in heard(name).transitions if t.key.split("/")[0] in ACCUSE}
    assert raised <= at_fault
