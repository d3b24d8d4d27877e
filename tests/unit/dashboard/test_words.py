from zoneinfo import ZoneInfo

import pytest

from dashboard.words import (
    Headline,
    alert_headline,
    asking,
    belongs,
    nothing_heard,
    number,
    ordered,
    place_name,
    signed,
    tab_title,
)
from shared.alerts import AlertState, Priority
from shared.readings import Quantity
from tests.fakes.pages import T0, alert, juniper_knob

ZONE = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("value", "decimals", "said"),
    [(1290.4, 0, "1,290"), (-0.62, 1, "\u22120.6"), (-0.04, 1, "0.0"), (0.0, 0, "0")],
)
def test_a_number_is_said_with_a_real_minus_and_thousands(value, decimals, said):
    assert number(value, decimals) == said


@pytest.mark.parametrize(("value", "said"), [(142.0, "+142"), (-480.0, "\u2212480"), (0.2, "0")])
def test_a_rate_shows_its_direction(value, said):
    assert signed(value) == said


@pytest.mark.parametrize(
    ("sensor", "name"),
    [
        ("pump-vacuum", "At the pump"),
        ("ledge-far", "Ledge, far end"),
        ("ledge-near", "Ledge, near end"),
        ("lower-level", "Lower, level"),
        ("lower-temperature", "Lower, temperature"),
        ("stack", "Stack"),
    ],
)
def test_a_sensor_is_named_by_where_it_is(sensor, name):
    farm = juniper_knob()
    assert place_name(farm, farm.sensor_by_id[sensor]) == name


def test_what_nobody_has_answered_comes_first_then_the_gravest():
    taken = alert(subject="upper", state=AlertState.ACKNOWLEDGED)
    slight = alert(subject="permeate", priority=Priority.TELL)
    grave = alert()
    assert ordered([taken, slight, grave], T0) == [grave, slight, taken]


def test_what_is_paused_does_not_ask():
    assert asking([alert(shelved_until_ms=T0 + 1)], T0) == []
    assert asking([alert(shelved_until_ms=T0)], T0) != []


def test_the_headline_is_the_alerts_own_sentence():
    said = alert_headline([alert(advice="Start the transfer.")], T0)
    assert said == Headline("Lower is full about 22:10.", "Start the transfer.")


def test_an_alert_whose_sensor_is_silent_says_so():
    said = alert_headline([alert(stale=True)], T0)
    assert said is not None
    assert said.lead.startswith("Its sensor is silent")


def test_an_alert_that_is_over_is_no_headline():
    assert alert_headline([alert(state=AlertState.CLEARED)], T0) is None


@pytest.mark.parametrize(("age_s", "is_said"), [(599, False), (600, True)])
def test_a_farm_that_has_gone_silent_is_never_called_quiet(age_s, is_said):
    assert (nothing_heard(T0 - age_s * 1000, T0, ZONE) is not None) is is_said


def test_an_empty_store_says_what_to_do():
    said = nothing_heard(None, T0, ZONE)
    assert said is not None
    assert "collector" in said.lead


def test_the_tab_says_what_the_page_says():
    assert (
        tab_title(Headline("Lower is full about 22:10."), juniper_knob())
        == "Lower is full about 22:10 · Juniper Knob"
    )


@pytest.mark.parametrize(
    ("subject", "is_woods", "is_tanks"),
    [
        ("ledge", True, False),
        ("ledge-far", True, False),
        ("lower", False, True),
        ("lower-level", False, True),
    ],
)
def test_an_alert_stands_on_the_page_it_is_about(subject, is_woods, is_tanks):
    farm, about = juniper_knob(), alert(subject=subject)
    assert belongs(about, farm, frozenset({Quantity.VACUUM})) is is_woods
    assert belongs(about, farm, frozenset({Quantity.LEVEL}), tanks=True) is is_tanks
