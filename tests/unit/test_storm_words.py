"""What is said of a storm: to do first, happened, and what it cost."""

from dataclasses import replace

import pytest

from shared.estimates.falls import Instant
from shared.estimates.lines import Place
from shared.estimates.storm import StormReview
from shared.estimates.storm_rows import SensorReview, Stand
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.troubles import Outcome, Trouble
from shared.instants import instant_ms
from shared.physics.contested import Contested
from shared.readings import Band, Unknown
from shared.storm_words import (
    basis,
    cost,
    gallons_band,
    happened,
    in_hundred,
    place_words,
    span_words,
    told,
    torn,
    when,
)
from shared.units import GALLON_M3, INHG_PA
from tests.fakes.woods import knob

END_MS = instant_ms("2026-04-03T10:00:00Z")
"""Six in the morning."""
MINUTE_MS = 60_000
AT_MS = END_MS - 230 * MINUTE_MS
FARM = knob()
NOTHING = Contested(0.0, 0.0, 0.0)


def gallons(low, usual, high):
    return Contested(low * GALLON_M3, usual * GALLON_M3, high * GALLON_M3)


def suspect(cause=Cause.MAINLINE, line="ledge", where="ledge 390 to 1,750 ft from the pump", **more):
    is_leak = cause.is_leak
    facts = {
        "cause": cause,
        "line": line,
        "from_m": 5.0,
        "to_m": 900.0,
        "joining": (),
        "probability": 0.83,
        "onset_ms": AT_MS,
        "leak_m3_s": Band(0.001, 0.002, 0.003) if is_leak else None,
        "sap_lost_m3_day": gallons(25, 40, 60) if is_leak else None,
        "sensors": ("ledge-far",),
        "unexplained": (),
        "where": where,
        "why": "ledge-far fell 3.1 inHg; 8 held",
    }
    return Suspect(**(facts | more))


def trouble(*suspects, outcome=Outcome.DOWN, **more):
    over = Instant(END_MS - 9 * MINUTE_MS, END_MS - 10 * MINUTE_MS) if outcome is Outcome.BACK else None
    facts = {
        "onset": Instant(AT_MS, AT_MS - MINUTE_MS),
        "over": over,
        "outcome": outcome,
        "sensors": ("ledge-far",),
        "drop_pa": 3.1 * INHG_PA,
        "suspects": suspects or (suspect(),),
    }
    return Trouble(**(facts | more))


def row(sensor, stand=Stand.HELD):
    return SensorReview(
        sensor=sensor,
        place=Place("ledge", 900.0),
        distance_m=1050.0,
        stand=stand,
        before_pa=None,
        during_pa=None,
        worst_pa=None,
        after_pa=None,
        change_pa=None,
        onset=None,
        in_frost=False,
        recovered=None,
        sap_lost_m3_day=None,
        sap_lost_m3=None,
        silent_since_ms=None,
        unknown="",
    )


def review(*troubles, rows=None, **more):
    facts = {
        "from_ms": END_MS - 480 * MINUTE_MS,
        "to_ms": END_MS,
        "sensors": rows or tuple(row(sensor.id) for sensor in FARM.sensors),
        "troubles": troubles,
        "suspects": Unknown(""),
        "pump_off": (),
        "recovered": None,
        "sap_lost_m3_day": None,
        "sap_lost_m3": None,
        "tap_m3_day": gallons(0.5, 0.7, 0.9),
        "is_sap_measured": True,
    }
    return StormReview(**(facts | more))


@pytest.mark.parametrize(
    ("what", "sentence"),
    [
        (trouble(), "Walk first: ledge 390 to 1,750 ft from the pump."),
        (trouble(suspect(Cause.PUMP, "pump")), "Look at the pump, its releaser and moisture trap first."),
        (trouble(suspect(Cause.PUMP, "pump"), is_pump_off=True), "The pump is off."),
        (trouble(suspect(Cause.FROZEN)), "Ledge has frozen: it comes back with the thaw."),
        (
            trouble(suspect(Cause.SENSOR, where="the sensor on ledge, 1,750 ft from the pump")),
            "Look at the sensor on ledge, 1,750 ft from the pump, by day: the line itself seems to hold.",
        ),
        (trouble(suspect(Cause.NOTHING, "")), "Have a look at ledge-far: most likely it is nothing."),
        (
            trouble(suspects=Unknown("no vacuum sensor is known")),
            "Have a look at ledge-far: most likely it is nothing.",
        ),
        (trouble(outcome=Outcome.UNKNOWN), "Whether ledge is back cannot be seen now."),
        (trouble(outcome=Outcome.BACK), "All that fell has come back."),
    ],
)
def test_the_first_sentence_says_what_to_do(what, sentence):
    assert told(FARM, review(what)).sentence == sentence


@pytest.mark.parametrize(
    ("what", "sentence"),
    [
        (trouble(), "Ledge fell 3.1 inHg at 02:10 and is still down."),
        (trouble(outcome=Outcome.BACK), "Ledge fell 3.1 inHg at 02:10 and was back at 05:51."),
        (
            trouble(outcome=Outcome.UNKNOWN),
            "Ledge fell 3.1 inHg at 02:10; frost, a rest of the pump or silence hides it since.",
        ),
        (
            trouble(suspect(Cause.PUMP, "pump"), outcome=Outcome.BACK, is_pump_off=True),
            "The pump was off from 02:10 to 05:51.",
        ),
        (trouble(suspect(Cause.PUMP, "pump"), is_pump_off=True), "The pump has been off since 02:10."),
        (trouble(suspect(Cause.FROZEN)), "Ledge froze at 02:10 and is still down."),
        (trouble(suspect(Cause.SENSOR)), "The gauge ledge-far began to show less at 02:10, 3.1 inHg in all."),
        (
            trouble(suspect(Cause.SENSOR), outcome=Outcome.BACK),
            "The gauge ledge-far began to show less at 02:10, 3.1 inHg in all, and was right again at 05:51.",
        ),
        (
            trouble(suspect(Cause.PUMP, "pump")),
            "Vacuum at the pump fell 3.1 inHg at 02:10 and is still down.",
        ),
    ],
)
def test_what_happened_is_one_sentence(what, sentence):
    assert happened(FARM, what, END_MS) == sentence


def test_a_gap_is_told_as_between_two_times():
    assert when(Instant(AT_MS, AT_MS - 90 * MINUTE_MS), FARM.zone, END_MS) == "between 00:40 and 02:10"


def test_what_is_still_down_says_how_sure_the_place_is_and_what_it_costs():
    found = review(trouble(), sap_lost_m3=gallons(8, 12, 19), sap_lost_m3_day=gallons(73, 112, 177))
    assert told(FARM, found).lead == (
        "Ledge fell 3.1 inHg at 02:10 and is still down. 83 in 100 that the leak is there."
        " Sap lost so far by less vacuum: 12 gal (8 to 19); as it stands 112 gal (73 to 177) a day."
    )


def test_several_troubles_are_counted():
    lead = told(FARM, review(trouble(), trouble())).lead
    assert "2 troubles are still there: all are told below." in lead


def test_what_is_back_is_still_worth_a_look():
    lead = told(FARM, review(trouble(outcome=Outcome.BACK), trouble(outcome=Outcome.BACK))).lead
    assert "Unless somebody mended it, look by day at ledge 390 to 1,750 ft from the pump." in lead
    assert "2 troubles are told below." in lead


def test_sensors_that_tell_nothing_are_counted():
    rows = tuple(row(s.id, Stand.UNKNOWN if s.id == "saddle-far" else Stand.HELD) for s in FARM.sensors)
    said = told(FARM, review(rows=rows))
    assert said.sentence == "No line that is watched fell."
    assert said.lead == "1 of 9 vacuum sensors tell nothing there."


def test_when_nobody_tells_anything_that_is_said():
    rows = tuple(row(s.id, Stand.UNKNOWN) for s in FARM.sensors)
    assert told(FARM, review(rows=rows)).sentence == "Nothing is known of that time."


@pytest.mark.parametrize(
    ("stand", "lead"),
    [
        (Stand.HELD, ""),
        (Stand.FROZEN, "The frost hides 9 of 9 gauges."),
        (Stand.PUMP_OFF, "The pump rests, so a line that is open now would not be seen."),
    ],
)
def test_a_quiet_storm_says_what_its_end_hides(stand, lead):
    said = told(FARM, review(rows=tuple(row(s.id, stand) for s in FARM.sensors)))
    assert (said.sentence, said.lead) == ("No line fell.", lead)


def test_only_an_open_leak_may_be_torn_through():
    # All 800 taps of the ledge, less those on the 5 m below the stretch.
    assert (
        torn(FARM, trouble())
        == "If it is torn through, what comes from up to 796 taps uphill runs out there too."
    )
    assert torn(FARM, trouble(outcome=Outcome.BACK)) == ""
    assert torn(FARM, trouble(suspect(Cause.PUMP, "pump"))) == ""


def test_no_reckoning_is_said_to_be_certain():
    assert in_hundred(suspect(probability=1.0)) == "99 in 100"
    assert in_hundred(suspect(probability=0.828)) == "83 in 100"


def test_ice_and_a_leak_in_one_place_are_told_apart():
    assert place_words(suspect(Cause.FROZEN)) == "ice in ledge 390 to 1,750 ft from the pump"
    assert place_words(suspect()) == "ledge 390 to 1,750 ft from the pump"


def test_gallons_are_told_with_their_band_and_little_as_little():
    assert gallons_band(gallons(1200, 1800, 2600)) == "1,800 gal (1,200 to 2,600)"
    assert gallons_band(gallons(0.0, 0.1, 0.4)) == "hardly any"
    assert cost(review()) == ""


def test_what_the_gallons_rest_on_is_said():
    assert basis(review()) == "Reckoned by what ran into the tanks; at last 0.7 gal a tap and day."
    assert (
        basis(review(tap_m3_day=NOTHING)) == "Reckoned by what ran into the tanks; at last next to nothing."
    )
    assert "a gallon a tap and day, so roughly" in basis(review(is_sap_measured=False))


def test_a_day_is_named_once_if_it_is_one():
    found = review()
    assert span_words(found, FARM.zone) == "Thu 2 Apr 22:00 to Fri 3 Apr 06:00"
    later = replace(found, from_ms=END_MS - 120 * MINUTE_MS)
    assert span_words(later, FARM.zone) == "Fri 3 Apr 04:00 to 06:00"
