"""Simulated nights of the whole invented farm: one leak is one text, and two leaks are two."""

from functools import cache

import pytest

from collector.scoring.dice import slowed
from collector.scoring.listening import listen
from collector.simulate.farm_night import simulate
from collector.simulate.story import parse_story
from shared.alerts import Cause, Priority
from tests.fakes.seasons import MILD, START_MS, farm

HOUR_MS = 3_600_000
VACUUM = ("vacuum_lost", "pump_not_running", "vacuum_short_of_attainable", "vacuum_slowly_falling")


@cache
def heard(*events, hours=3.4):
    told = "".join(
        "[[event]]\n" + "".join(f"{key} = {value!r}\n".replace("'", '"') for key, value in event)
        for event in events
    )
    story = parse_story(f'title = "test"\n{MILD}{told}')
    simulation = simulate(slowed(farm()), story, START_MS, hours / 24, 1)
    return listen(slowed(farm()), ((m.t_ms, m.topic, m.payload.encode()) for m in simulation.messages))


def event(kind, **told):
    return (("kind", kind), *told.items())


def limb(line, place_ft, hole_in, at_h=2.0):
    return event("limb_down", line=line, place_ft=place_ft, hole_in=hole_in, at_h=at_h)


def texts(night):
    """(subject, hour, body) of all that was told first about vacuum."""
    return [(t.subject, (t.at_ms - START_MS) / HOUR_MS, t.body) for t in night.told if t.rule in VACUUM]


def suppressed(night):
    return {t.key.split("/")[1] for t in night.transitions if t.cause is Cause.SUPPRESSED}


@pytest.mark.parametrize(
    ("line", "place_ft", "hole_in", "told", "explained_count"),
    [
        ("ledge", 900, 0.5, "ledge", 4),
        ("north-spur", 300, 0.3, "north-face", 0),
        ("conductor", 1000, 0.5, "north-face", 4),
        ("conductor", 100, 0.5, "pump", 4),
    ],
)
def test_a_leak_is_one_text_however_many_lines_it_takes_from(line, place_ft, hole_in, told, explained_count):
    night = heard(limb(line, place_ft, hole_in))
    ((subject, hour, _),) = texts(night)
    assert subject == told
    assert 2.0 < hour < 2.25
    assert len(suppressed(night) - {told}) >= explained_count


def test_two_leaks_at_once_are_two_texts():
    night = heard(limb("ledge", 900, 0.2), limb("saddle", 900, 0.2))
    assert sorted(subject for subject, _, _ in texts(night)) == ["ledge", "saddle"]


def test_a_second_leak_later_is_told_in_its_own_time_with_its_own_place():
    night = heard(limb("ledge", 900, 0.3), limb("saddle", 900, 0.2, at_h=2.6))
    (first, second) = texts(night)
    assert (first[0], second[0]) == ("ledge", "saddle")
    assert 2.6 < second[1] < 2.85
    assert "saddle" in second[2].split("Likely")[1] or "Still vacuum lost: ledge" in second[2]


def test_two_leaks_a_few_minutes_apart_are_no_stop_of_the_pump():
    night = heard(limb("ledge", 900, 0.22), limb("saddle", 900, 0.22, at_h=2.08))
    assert {t.rule for t in night.told if t.rule in VACUUM} == {"vacuum_lost"}


def test_a_pump_that_stops_is_one_text_and_everything_else_is_explained_by_it():
    night = heard(event("pump_stop", at_h=2.0))
    ((subject, hour, body),) = texts(night)
    assert (subject, body[:22]) == ("pump", "The pump has not run s")
    assert 2.0 < hour < 2.3
    assert suppressed(night) >= {"ledge", "brook", "north-face", "saddle", "pump"}
    assert [t.priority for t in night.told if t.rule == "pump_not_running"] == [Priority.WAKE]
