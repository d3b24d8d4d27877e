"""What the night brief says: never that all is well where something is not watched or known."""

import pytest

from shared.alerts import Alert, AlertState, Priority
from shared.estimates.brief import Gap, Job, Need
from shared.estimates.brief_words import (
    frost_line,
    gap_line,
    proof_line,
    some_of,
    start_lines,
    verdict,
)
from shared.estimates.deadlines import Starts, TooLate, Trouble
from shared.estimates.frost import Frost, Turn
from shared.readings import Band, Unknown
from shared.units import GALLON_M3
from tests.fakes.briefs import COLD, HOUR_MS, NOW, brief, plan, start
from tests.fakes.seasons import farm

LOWER_FULL = Alert(
    "tank_nearly_full", "lower", AlertState.ACTIVE, Priority.WAKE, 1, "Lower tank is full about 18:10."
)
SLOW_LEAK = Alert("vacuum_slow", "ledge", AlertState.ACTIVE, Priority.TELL, 1, "Ledge loses vacuum slowly.")
AIR_SILENT = Alert(
    "sensor_silent", "air", AlertState.ACTIVE, Priority.TELL, 1, "Air has been silent for 2 h."
)
SILENT = Gap("lower-level", "silent", NOW - 2 * HOUR_MS)
SPILL = TooLate(210 * GALLON_M3, None)


def need(job, hours, name="lower"):
    return Need(job, name, NOW + round(hours * HOUR_MS))


RO_22_10 = need(Job.RO, 5 + 1 / 6)


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({}, "Nothing needs you before 08:00."),
        ({"needs": (need(Job.TRANSFER, 12.5),)}, "Nothing needs you before 05:30; then transfer lower."),
        ({"needs": (need(Job.BOIL, 20),)}, "Nothing needs you before 08:00."),
        ({"needs": (RO_22_10, need(Job.BOIL, 9))}, "Start the RO by 22:10."),
        ({"needs": (need(Job.RO, 0),)}, "Start the RO now."),
        ({"needs": (need(Job.ROOM, 2, "upper"),)}, "Make room in upper by 19:00."),
        ({"needs": (need(Job.OLD, 2, "upper"),)}, "Use the old sap in upper by 19:00."),
        ({"needs": (RO_22_10,), "running": (Job.RO,)}, "Keep the RO going, or restart it by 22:10."),
        ({"needs": (need(Job.RO, 0),), "running": (Job.RO,)}, "Keep the RO going."),
        ({"running": (Job.BOIL,)}, "The fire is lit: stay with it."),
        ({"gaps": (SILENT,)}, "Not watched: lower-level."),
        ({"asking": (AIR_SILENT,), "gaps": (SILENT,)}, "Not watched: lower-level."),
        ({"asking": (SLOW_LEAK,), "gaps": (SILENT,)}, "Ledge loses vacuum slowly."),
        ({"asking": (SLOW_LEAK,), "needs": (RO_22_10,)}, "Start the RO by 22:10."),
        ({"asking": (LOWER_FULL,), "plan": plan(SPILL)}, "Lower tank is full about 18:10."),
        (
            {"plan": plan(SPILL), "needs": (need(Job.RO, 0),)},
            "Run the RO and the boil from now on; about 210 gal spill all the same.",
        ),
        (
            {"plan": plan(TooLate(0.0, 26 * 3600.0))},
            "Run the RO and the boil from now on; sap gets 26 h old all the same.",
        ),
        ({"heard_ms": None, "gaps": (SILENT,)}, "Not watched: no sensor heard yet."),
        (
            {"heard_ms": NOW - 20 * 60_000, "asking": (LOWER_FULL,)},
            "Not watched: no sensor heard since 16:40.",
        ),
        ({"proven_ms": None}, "If texts reach you (not proven today), nothing needs you before 08:00."),
        (
            {"farm": farm().model_copy(update={"contacts": ()}), "proven_ms": None},
            "Nothing can wake you: the farm file names no contact.",
        ),
    ],
)
def test_the_gravest_is_said_first(facts, said):
    assert verdict(brief(**facts)).sentence == said


DOUBTS = [
    {"gaps": (SILENT,)},
    {"gaps": (Gap("latest starts", "lower is being emptied"),)},
    {"running": (Job.BOIL,)},
    {"proven_ms": None},
    {"heard_ms": None},
    {"asking": (SLOW_LEAK,)},
    {"needs": (need(Job.RO, 1),)},
    {"plan": plan(SPILL)},
]


@pytest.mark.parametrize("facts", DOUBTS)
def test_nothing_needs_you_never_stands_first_where_something_does_or_is_not_known(facts):
    assert not verdict(brief(**facts)).sentence.startswith("Nothing needs you")


@pytest.mark.parametrize(
    "grave", [{}, {"asking": (LOWER_FULL,)}, {"needs": (RO_22_10,)}, {"plan": plan(SPILL)}]
)
def test_what_is_not_watched_or_proven_is_said_beside_whatever_comes_first(grave):
    said = verdict(brief(gaps=(SILENT,), running=(Job.BOIL,), proven_ms=None, **grave))
    whole = " ".join([said.sentence, *said.beside])
    for part in (
        "Not watched: lower-level.",
        "The fire is lit: stay with it.",
        "Texts are not proven today.",
    ):
        assert whole.count(part) == 1


def test_beside_a_gap_it_is_said_what_else_needs_nobody():
    said = verdict(brief(gaps=(SILENT,), needs=(need(Job.TRANSFER, 12.5),)))
    assert said.beside == ("Nothing else needs you before 05:30; then transfer lower.",)


@pytest.mark.parametrize(
    ("planned", "said"),
    [
        (None, []),
        (Unknown("upper: no level sensor"), ["Latest starts not known; upper: no level sensor."]),
        (plan(), ["RO can wait a day.", "Boil can wait a day."]),
        (
            plan(Starts(start(5), start(7, Trouble.HELD, "upper")), Starts(start(3), start(7))),
            [
                "RO by 22:00; by 20:00 in a strong run; else lower spills at 23:00.",
                "Boil by 00:00; else upper holds sap 24 h old at 01:00.",
            ],
        ),
        (
            plan(Starts(start(5), None), SPILL),
            [
                "RO by 22:00; now in a strong run; else lower spills at 23:00.",
                "Boil can wait a day; now in a strong run; in a strong run about 210 gal spill all the same.",
            ],
        ),
        (
            plan(SPILL, TooLate(400 * GALLON_M3, None)),
            ["RO and boil from now on; about 210 gal spill all the same; 400 gal in a strong run."],
        ),
    ],
)
def test_the_plan_is_said_with_what_comes_of_starting_later(planned, said):
    assert [str(line) for line in start_lines(brief(plan=planned))] == said


def test_of_a_machine_that_runs_it_is_said_when_it_must_run_again():
    ro, boil = start_lines(brief(plan=plan(Starts(start(5), None)), running=(Job.RO, Job.BOIL)))
    assert str(ro) == "RO runs now; were it to stop, again by 22:00; else lower spills at 23:00."
    assert str(boil) == "Boil runs now; it can rest a day."


@pytest.mark.parametrize(
    ("planned", "asks"),
    [(plan(Starts(start(5), None)), False), (plan(Starts(start(0), None)), True), (plan(SPILL), True)],
)
def test_only_what_must_be_done_now_asks(planned, asks):
    assert start_lines(brief(plan=planned))[0].asks is asks


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Unknown("no air temperature heard yet"), "Frost not known; no air temperature heard yet."),
        (Frost(4.0, 0.02, None, None, Band(0.6, 1.5, 2.4)), "Frost none expected; coldest 33F to 36F."),
        (COLD, "Frost about 23:40; 22:33 to 01:20; thaws about 09:00 (08:00 to 10:30); coldest 21F to 28F."),
        (
            Frost(4.0, 0.31, Turn(20_000.0, 24_000.0, 30_000.0), None, Band(-1.0, 0.5, 2.0)),
            "Frost perhaps, about 23:40; 22:33 to 01:20; 3 in 10; no thaw within a day; coldest 30F to 36F.",
        ),
        (
            Frost(-1.0, 1.0, None, Turn(50_400.0, 57_600.0, None), Band(-6.0, -4.0, -2.0)),
            "Frost now; thaws about 09:00 (07:00 to later); coldest 21F to 28F.",
        ),
    ],
)
def test_frost_is_said_as_what_is_known_of_it(found, said):
    assert str(frost_line(brief(frost=found))) == said


def test_a_page_writes_temperatures_in_its_own_way():
    line = frost_line(brief(frost=COLD), lambda low_c, high_c: f"{low_c:.0f} to {high_c:.0f} C")
    assert line.notes[-1] == "coldest -6 to -2 C"


@pytest.mark.parametrize(
    ("gap", "said"),
    [
        (SILENT, "Lower-level silent since 15:00."),
        (Gap("air", "never heard"), "Air never heard."),
        (
            Gap("ledge (vacuum lost)", "paused (wind)", NOW + 2 * HOUR_MS),
            "Ledge (vacuum lost) paused (wind) until 19:00.",
        ),
    ],
)
def test_what_is_not_watched_is_said_with_why_and_since_or_until_when(gap, said):
    assert str(gap_line(brief(), gap)) == said


def test_whether_texts_were_seen_to_go_out_is_said():
    assert str(proof_line(brief())) == "Texts proven 16:00."
    assert (
        str(proof_line(brief(proven_ms=None)))
        == "Texts not proven today; the command lantern drill proves them."
    )


def test_many_names_become_a_number():
    assert some_of(["air"], 30) == "air"
    assert some_of([f"sensor-{n}" for n in range(9)], 30) == "sensor-0, sensor-1, sensor-2 and 6 more"
    assert some_of(["x" * 40, "air"], 30) == f"{'x' * 40} and 1 more"
