"""The storm's page: what its address may hold, what it shows of a night, and where it puts colour."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.app import build
from dashboard.pages import alerts
from dashboard.pages.storm import Asked, asked, asked_by_key, content, layout, load
from dashboard.parts import STORM, path_of
from dashboard.storm_lines import tones_of
from dashboard.windows import DEFAULT
from dashboard.words import Tone
from shared.estimates.storm import Heard, storm_review
from shared.units import INHG_PA
from tests.fakes.pages import a_night, alert
from tests.fakes.woods import knob as lines_of_knob
from tests.fakes.woods_nights import HOUR_MS, START_MS

END_MS = START_MS + 3 * HOUR_MS
LIMB_MS = START_MS + 2 * HOUR_MS


@given(
    st.dictionaries(
        st.sampled_from(["from", "to", "window", "x"]), st.text() | st.none() | st.lists(st.text())
    )
)
def test_an_address_may_hold_anything(query):
    wanted = asked(query)
    assert len(wanted.from_text) <= 40
    assert len(wanted.to_text) <= 40


@pytest.mark.parametrize("wanted", [Asked(), Asked("12h"), Asked("2026-04-03T01:00", "2026-04-03T04:30")])
def test_an_open_page_remembers_its_time(wanted):
    assert asked_by_key(wanted.key) == wanted
    assert asked_by_key(None) == Asked()


def test_it_has_an_address_of_its_own_within_woods(knob):
    a_night(knob)
    client = build(knob.sources).test_client()
    assert path_of(STORM) == "/dash/woods/storm"
    assert client.get("/dash/woods/storm?from=12h&to=1h").status_code == 200


def test_what_fell_is_told_first_and_in_its_row(knob):
    a_night(knob)
    view = load(knob.sources, Asked())
    assert view.top.page == "woods"
    # Six inches at one gauge and nothing at its neighbours is no pattern that air can make.
    assert view.top.headline.sentence.startswith("Look at the sensor on ledge, 1,750 ft from the pump")
    said = str(layout(view).to_plotly_json())
    assert said.count("H1(") == 1
    assert "Ledge, far end" in said
    assert "▼ 6.0" in said


def test_a_time_that_is_none_is_said_and_nothing_else_shown(knob):
    a_night(knob)
    view = load(knob.sources, Asked("teatime"))
    assert view.top.headline.sentence == "That time cannot be shown."
    assert view.top.headline.lead.startswith("From is 'teatime'; it must be")
    assert {name: bool(parts) for name, parts in content(view).words.items()} == {
        "storm-head": True,
        "storm-walk": False,
        "storm-lines": False,
        "storm-sap": False,
    }


def test_a_farm_that_said_nothing_is_told_as_unknown(knob):
    assert load(knob.sources, Asked()).top.headline.sentence == "Nothing is known of that time."


def test_the_review_is_worked_out_once_a_minute(knob):
    made = []

    def make():
        made.append(knob.now_ms)
        return len(made)

    assert [knob.sources.once_a_minute("a", make) for _ in range(3)] == [1, 1, 1]
    assert knob.sources.once_a_minute("b", make) == 2
    knob.now_ms += 60_000
    assert knob.sources.once_a_minute("a", make) == 3


@pytest.mark.parametrize(("rule", "has_link"), [("vacuum_lost", True), ("tank_nearly_full", False)])
def test_an_alert_about_vacuum_leads_to_it(knob, rule, has_link):
    knob.keep(alert(rule, "ledge", "Ledge is 6.1 inHg below its usual."))
    said = str(alerts.layout(alerts.load(knob.sources, DEFAULT)).to_plotly_json())
    assert ("/dash/woods/storm" in said) is has_link


def tones(lost_inhg):
    """Of the short farm's gauges, when these lose so much at once."""
    farm = lines_of_knob()
    series = {
        s.id: [
            (t, (25.0 - (lost_inhg.get(s.id, 0.0) if t >= LIMB_MS else 0.0) - t % 7 / 100) * INHG_PA)
            for t in range(START_MS, END_MS, 30_000)
        ]
        for s in farm.sensors
    }
    heard = Heard(series, air_temperature=((START_MS, 5.0),))
    return tones_of(farm, storm_review(farm, heard, START_MS + HOUR_MS, END_MS))


def test_colour_asks_only_for_the_line_that_must_be_walked():
    lost = dict.fromkeys(("pump-vacuum", "brook-near", "brook-far", "saddle-near", "saddle-far"), 1.6)
    lost |= {"north-face-near": 1.6, "north-face-far": 1.6, "ledge-near": 2.1, "ledge-far": 6.5}
    found = tones(lost)
    assert {name for name, tone in found.items() if tone is Tone.ACT} == {"ledge-near", "ledge-far"}
    assert found["brook-far"] is Tone.INK


def test_a_gauge_that_fell_alone_is_for_a_look_by_day():
    found = tones({"ledge-far": 22.0})
    assert found["ledge-far"] is Tone.MIND
    assert Tone.ACT not in found.values()


def test_a_weak_pump_colours_the_pump_alone():
    found = tones({s.id: 5.0 for s in lines_of_knob().sensors})
    assert {name for name, tone in found.items() if tone is Tone.ACT} == {"pump-vacuum"}
