"""The night brief as a text, a mail and rows of the outbox."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alerting.brief_forms import KEY, brief_texts, long_form, text_form
from shared.alerts import Alert, AlertState, Priority
from shared.estimates.brief import Gap, Job, Need
from shared.estimates.deadlines import Starts, TooLate
from shared.estimates.frost import Frost, Turn
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime
from shared.farm_contacts import Brief, Channel
from shared.gsm7 import ALPHABET, EXTENSION, LIMIT, length
from shared.readings import Band, Unknown
from tests.fakes.briefs import COLD, HOUR_MS, MORNING, NOW, brief, filling, flow, plan, start, tank
from tests.fakes.seasons import farm

SILENT = Gap("brook-far", "silent", NOW - HOUR_MS)
BUSY = brief(
    tanks=(tank("upper"), tank("lower", **filling(8, 10, 12)), tank("concentrate"), tank("permeate")),
    plan=plan(Starts(start(5.5, name="upper"), start(7))),
    needs=(Need(Job.RO, "upper", NOW + 5 * HOUR_MS), Need(Job.BOIL, "upper", NOW + 6 * HOUR_MS)),
    frost=COLD,
    gaps=(SILENT,),
    proven_ms=None,
)


def test_one_text_says_what_bears_on_sleep():
    assert text_form(BUSY) == (
        "Tonight: Start the RO by 22:00. Boil by 23:00. Freeze 22:33-01:20. Lower full 01:00-05:00."
        " Upper sap 9 h. Not watched: brook-far. Texts are not proven today."
    )


def test_a_calm_night_is_said_in_one_text_too():
    assert text_form(brief()) == (
        "Tonight: Nothing needs you before 08:00. No freeze. Upper sap 9 h. Permeate sap 9 h. Lower sap 9 h."
        " Concentrate sap 9 h."
    )


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Unknown("no air temperature heard yet"), "Frost unknown."),
        (COLD, "Freeze 22:33-01:20."),
        (replace(COLD, chance=0.3), "Maybe freeze 22:33-01:20."),
        (
            Frost(-1.0, 1.0, None, Turn(50_400.0, 57_600.0, None), Band(-6.0, -4.0, -2.0)),
            "Freezing to 07:00-later.",
        ),
        (Frost(-9.0, 1.0, None, None, Band(-16.0, -14.0, -12.0)), "Freezing all day."),
    ],
)
def test_frost_stands_in_the_text(found, said):
    assert said in text_form(brief(frost=found))


def test_a_tank_that_may_run_over_is_not_said_to_fill():
    """Juniper Knob's permeate runs into the drain, as it is meant to: its rule is off."""
    tanks = tuple(tank(each.id, **filling(2, 3, 4)) for each in farm().tanks)
    said = text_form(brief(tanks=tanks))
    assert "Lower full" in said
    assert "Permeate full" not in said


def test_the_long_form_says_all_of_it_in_the_farms_time():
    said = long_form(BUSY)
    assert said.startswith(
        "Juniper Knob, Monday 23 March, 17:00\nStart the RO by 22:00.\nNot watched: brook-far.\n"
    )
    for part in (
        "Lower: 1,290 of 1,600 gal, +142 gal/h, full 01:00 to 05:00, likeliest 03:00, oldest sap 9 h.",
        "RO by 22:30; else upper spills at 23:30.",
        "Boil by 00:00; else lower spills at 01:00.",
        "Frost about 23:40; 22:33 to 01:20; thaws about 09:00",
        "Texts not proven today; the command lantern drill proves them.",
        "Not watched\nBrook-far silent since 16:00.",
        "never the only protection",
    ):
        assert part in said
    assert "Waiting" not in said  # what is empty is left out


@pytest.mark.parametrize(
    ("view", "said"),
    [
        (
            tank(**filling(30, 47, None)),
            "+142 gal/h, full Tue 23:00 to later, likeliest Wed 16:00, oldest sap 9 h.",
        ),
        (
            tank(time_to_full=FillTime(0.0, 0.0, 0.0)),
            "Lower: 1,290 of 1,600 gal, +0 gal/h, full now, oldest sap 9 h.",
        ),
        (tank(flow=flow(-480)), "Lower: 1,290 of 1,600 gal, -480 gal/h, emptying, oldest sap 9 h."),
        (tank(), "Lower: 1,290 of 1,600 gal, +0 gal/h, not filling, oldest sap 9 h."),
        (tank(volume_m3=None), "Lower: contents not known."),
        (
            tank(flow=Unknown("stuck"), time_to_full=Unknown("stuck"), age=Unknown("the tank is empty")),
            "Lower: 1,290 of 1,600 gal, time to full not known (stuck).",
        ),
        (tank(age=SapAge(1.0, 3600.0, 0.0, None, None, at_least=True)), "oldest sap at least 1 h."),
    ],
)
def test_a_tank_is_said_in_one_line(view, said):
    assert f"{said}\n" in long_form(brief(tanks=(view,)))


def test_what_waits_and_who_has_it_stand_in_the_long_form():
    waiting = Alert(
        "over_fire", "stack", AlertState.ACTIVE, Priority.WAKE, 1, "Over-fire: 1104F.", "Close the damper."
    )
    taken = replace(waiting, state=AlertState.ACKNOWLEDGED, sentence="Ledge is low.", acknowledged_by="Wren")
    said = long_form(brief(asking=(waiting,), taken=(taken,)))
    assert "Waiting for an answer\nOver-fire: 1104F. Close the damper." in said
    assert "Somebody has it\nWren: Ledge is low." in said


def test_there_is_one_row_a_channel_under_the_day_it_is_set_for():
    phone, mail = Channel(id="phone", url="terminal:"), Channel(id="mail", url="terminal:", after_s=0)
    owner, neighbour = farm().contacts
    here = farm().model_copy(
        update={
            "contacts": (owner.model_copy(update={"channels": (phone, mail)}), neighbour),
            "brief": Brief(),
        }
    )
    rows = list(brief_texts(here, brief(farm=here), NOW - 2 * HOUR_MS))
    assert [(row.key, row.event, row.contact, row.channel, row.fallback) for row in rows] == [
        (KEY, "2026-03-23", "owner", "phone", False),
        (KEY, "2026-03-23", "owner", "mail", False),
    ]
    assert {row.priority for row in rows} == {Priority.TELL}
    assert rows[0].body == text_form(brief(farm=here))
    assert rows[0].long_body == long_form(brief(farm=here))
    both = here.model_copy(update={"brief": Brief(contacts=("owner", "neighbour"))})
    assert {row.contact for row in brief_texts(both, brief(farm=both), NOW)} == {"owner", "neighbour"}


NAMES = st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=40)
WORDS = st.text(min_size=0, max_size=200)
AHEAD = st.floats(0, 4e5)
GAPS = st.builds(Gap, NAMES, WORDS, st.none() | st.integers(0, 4 * NOW))
NEEDS = st.builds(Need, st.sampled_from(Job), NAMES, st.integers(NOW, NOW + 24 * HOUR_MS))
ALERTS = st.builds(
    Alert,
    st.sampled_from(["tank_nearly_full", "sensor_silent"]),
    NAMES,
    st.just(AlertState.ACTIVE),
    st.sampled_from(Priority),
    st.integers(1, 9),
    WORDS,
)
TURNS = st.builds(Turn, AHEAD, AHEAD, st.none() | AHEAD)
BANDS = st.builds(Band, st.floats(-60, 50), st.floats(-60, 50), st.floats(-60, 50))
FROSTS = st.builds(Unknown, WORDS) | st.builds(
    Frost, st.floats(-50, 50), st.floats(0, 1), st.none() | TURNS, st.none() | TURNS, BANDS
)
AGES = st.builds(
    SapAge, st.floats(0, 1e3), st.floats(0, 3e7), st.just(0.0), st.none(), st.none(), st.booleans()
)
TANKS = st.builds(
    lambda fill, age: (fill, age),
    st.builds(Unknown, WORDS) | st.builds(FillTime, AHEAD, AHEAD, st.none() | AHEAD),
    st.builds(Unknown, WORDS) | AGES,
)
PLANS = (
    st.none()
    | st.builds(Unknown, WORDS)
    | st.builds(
        lambda spill_m3, old_s: plan(TooLate(spill_m3, old_s)),
        st.floats(0, 1e4),
        st.none() | st.floats(0, 3e7),
    )
)


@given(
    st.lists(NEEDS, max_size=6),
    st.lists(GAPS, max_size=40),
    st.lists(ALERTS, max_size=5),
    FROSTS,
    st.lists(TANKS, min_size=4, max_size=4),
    PLANS,
    st.lists(st.sampled_from([Job.RO, Job.BOIL]), unique=True),
    st.none() | st.integers(NOW - 24 * HOUR_MS, NOW),
    st.none() | st.integers(NOW - 48 * HOUR_MS, NOW),
)
def test_whatever_the_night_it_is_one_text_and_never_hides_a_gap(
    needs, gaps, asking, found, tanks, planned, running, proven_ms, heard_ms
):
    views = tuple(
        tank(each.id, time_to_full=fill, age=age)
        for each, (fill, age) in zip(farm().tanks, tanks, strict=True)
    )
    whole = brief(
        needs=tuple(sorted(needs, key=lambda each: each.at_ms)),
        gaps=tuple(gaps),
        asking=tuple(asking),
        frost=found,
        tanks=views,
        plan=planned,
        running=tuple(running),
        proven_ms=proven_ms,
        heard_ms=heard_ms,
        morning_ms=MORNING,
    )
    said = text_form(whole)
    assert length(said) <= LIMIT
    assert set(said) <= ALPHABET | EXTENSION
    assert said.startswith("Tonight: ")
    if gaps:
        assert "Not watched" in said
    if proven_ms is None:
        assert "not proven" in said
    assert not (said.startswith("Tonight: Nothing needs you") and (gaps or proven_ms is None))
    assert long_form(whole)
    assert length(text_form(whole, LIMIT - 20)) <= LIMIT - 20
