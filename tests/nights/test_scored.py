"""A few simulated nights whose every wake-up is held against the truth, as `lantern score` does with hundreds."""

from functools import cache

import pytest

from collector.score import marks_of
from collector.scoring.dice import Drawn, slowed
from collector.simulate.story import parse_story
from tests.fakes.seasons import START_MS, farm

MILD = "[weather]\nair_f = [[-30, 40], [-14, 26], [-8, 26], [-5, 40], [24, 42]]\n"
"""Frost before the start, then thawed and flowing throughout."""
SHORT_H, LONG_H = 3.5, 5.0


@cache
def night(events, weather=MILD, hours=SHORT_H):
    story = parse_story(f'title = "test"\n{weather}{events}')
    kinds = tuple(event.kind for event in story.events)
    return marks_of(slowed(farm()), Drawn(story, START_MS, hours / 24, kinds))


def event(kind, **told):
    return f'[[event]]\nkind = "{kind}"\n' + "".join(
        f"{key} = {value!r}\n".replace("'", '"') for key, value in told.items()
    )


def test_a_calm_night_wakes_nobody():
    marks = night("")
    assert (marks.due, marks.woken, marks.false) == (0, 0, [])
    assert marks.message_count > 4_000


@pytest.mark.parametrize(
    ("line", "place_ft"),
    [("ledge", 900), ("north-face", 1300), ("saddle-bowl", 200)],
)
def test_a_limb_on_a_line_is_one_wake_up_and_its_place_is_believed_first(line, place_ft):
    marks = night(event("limb_down", line=line, place_ft=place_ft, hole_in=0.2, at_h=2.0))
    assert (marks.due, marks.given, marks.missed, marks.false) == (1, 1, [], [])
    assert marks.ranks[0] == 1


def test_a_pump_that_stops_is_one_wake_up():
    marks = night(event("pump_stop", at_h=2.0))
    assert (marks.due, marks.given, marks.woken, marks.false) == (1, 1, 1, [])


def test_a_tank_that_nobody_minds_wakes_with_an_hour_of_lead():
    full = "[tanks.lower]\nvolume_gal = 950\n[plant]\nroutine = false\n"
    marks = night(full + event("tank_unattended", tank="lower", at_h=0), hours=LONG_H)
    assert (marks.due, marks.given, marks.false) == (1, 1, [])
    assert [lead.s >= lead.allowed_s for lead in marks.leads] == [True]


def test_a_frost_wakes_nobody():
    frost = "[weather]\nair_f = [[-30, 40], [-14, 26], [-8, 26], [-5, 40], [0, 38], [1.5, 30], [5, 22]]\n"
    marks = night("", frost, LONG_H)
    assert (marks.due, marks.woken) == (0, 0)


def test_sensors_at_fault_wake_nobody():
    faults = event("sensor_fault", sensor="north-face-far", fault="wrong_unit", unit="psi", at_h=2.5)
    faults += event("sensor_fault", sensor="air", fault="dropout", share_percent=70, at_h=2)
    marks = night(f'[payloads]\nnorth-face-far = "bare"\n{faults}')
    assert (marks.due, marks.woken) == (0, 0)
    # The unit is told once; a thermometer that is heard now and then is not told by the minute.
    assert 1 <= marks.told <= 6
