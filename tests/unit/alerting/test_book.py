"""Who is told what, and when: once, again with back-off, then the next contact; and never twice after a restart."""

from dataclasses import replace

import pytest

from collector.alerting.book import (
    ACKNOWLEDGEMENT_LASTS_S,
    NEXT_CONTACT_AFTER_S,
    REPEAT_AFTER_S,
    Told,
    notices,
)
from shared.alerts import Alert, AlertState, Priority
from shared.farm_file import parse_farm
from shared.gsm7 import LIMIT, length

T0 = 1_774_330_860_000  # 2026-03-24 01:41 in New York

FARM = parse_farm(
    """
[farm]
id = "small"
name = "Small"
timezone = "America/New_York"
elevation_ft = 1000
[[contact]]
id = "owner"
name = "Wren"
channel = [{id = "push", url = "terminal:"}, {id = "mail", url = "terminal:"}]
[[contact]]
id = "neighbour"
name = "Abel"
channel = [{id = "push", url = "terminal:"}]
"""
)


def alert(state=AlertState.ACTIVE, priority=Priority.WAKE, episode=1, **changes):
    return Alert(
        "tank_nearly_full",
        "lower",
        state,
        priority,
        episode,
        "Lower tank is full about 04:50.",
        "1,290 of 1,600 gal, +142 gal/h.",
        raised_ms=T0,
        **changes,
    )


def told_over(steps):
    """Fold (seconds, alert) steps; what was said at each."""
    told, said = Told(), []
    for at_s, one in steps:
        said += [(at_s, n.contacts, n.body) for n in notices(one, told, FARM, T0 + round(at_s * 1000))]
    return said


def test_a_raised_alert_is_told_once_to_the_first_contact():
    said = told_over([(0, alert()), (1, alert()), (200, alert())])
    assert said == [(0, ("owner",), "Lower tank is full about 04:50. 1,290 of 1,600 gal, +142 gal/h. #1.1")]


def test_what_nobody_acknowledges_is_repeated_with_back_off_then_each_hour():
    said = told_over([(at_s, alert()) for at_s in range(0, 4 * 3600, 10)])
    assert [at_s for at_s, _, _ in said] == [0, *(int(s) for s in REPEAT_AFTER_S), 7200, 10800]
    assert said[1][2].startswith("Still: Lower tank is full about 04:50. Since 01:41.")


def test_the_next_contact_is_told_when_the_first_does_not_answer():
    said = told_over([(at_s, alert()) for at_s in range(0, 2 * 3600, 10)])
    first_for_both = next(at_s for at_s, contacts, _ in said if contacts == ("owner", "neighbour"))
    assert first_for_both == NEXT_CONTACT_AFTER_S
    assert all(
        contacts == ("owner", "neighbour") for at_s, contacts, _ in said if at_s >= NEXT_CONTACT_AFTER_S
    )


def test_what_was_only_told_and_does_not_wake_is_not_repeated():
    said = told_over([(at_s, alert(priority=Priority.TELL)) for at_s in range(0, 4 * 3600, 60)])
    assert len(said) == 1


def test_a_note_is_for_the_pages_only():
    assert told_over([(0, alert(priority=Priority.NOTE))]) == []


def test_an_acknowledgement_stops_the_repeats_and_its_end_brings_them_back():
    acknowledged = alert(AlertState.ACKNOWLEDGED, acknowledged_ms=T0 + 60_000)
    steps = [(0, alert()), *((s, acknowledged) for s in range(60, 60 + int(ACKNOWLEDGEMENT_LASTS_S), 60))]
    steps += [(s, alert()) for s in range(3660, 3660 + 301, 60)]
    said = told_over(steps)
    assert [at_s for at_s, _, _ in said] == [0, 3660, 3960]
    assert said[1][2].startswith("Still: ")


def test_the_end_is_told_once_to_those_who_were_told_of_the_beginning():
    over = alert(AlertState.CLEARED, cleared_ms=T0 + 1_200_000)
    over = replace(over, sentence="Lower tank holds 900 of 1,600 gal.")
    said = told_over([(0, alert()), (900, alert()), (1200, over), (1300, over)])
    assert said[-1] == (
        1200,
        ("owner", "neighbour"),
        "Over: Lower tank holds 900 of 1,600 gal. 01:41-02:01. #1.3",
    )


def test_trouble_that_came_and_went_unseen_is_one_line():
    was = alert(AlertState.CLEARED, cleared_ms=T0 + 1_800_000)
    said = told_over([(7200, was), (7300, was)])
    assert [(at_s, body[:5]) for at_s, _, body in said] == [(7200, "Was: ")]
    assert "01:41-02:11" in said[0][2]


def test_a_graver_trouble_is_told_at_once():
    said = told_over([(0, alert(priority=Priority.TELL)), (60, alert(priority=Priority.WAKE))])
    assert [at_s for at_s, _, _ in said] == [0, 60]
    assert not said[1][2].startswith("Still")


def test_a_shelved_alert_says_nothing_until_its_end():
    shelved = alert(shelved_until_ms=T0 + 600_000)
    said = told_over([(s, shelved) for s in range(0, 700, 10)])
    assert [at_s for at_s, _, _ in said] == [600]


def test_repeats_missed_while_the_machine_was_off_are_not_made_up_for():
    said = told_over([(0, alert()), (5 * 3600, alert()), (5 * 3600 + 1, alert())])
    assert [at_s for at_s, _, _ in said] == [0, 5 * 3600]


def test_a_second_episode_is_told_anew():
    over = alert(AlertState.CLEARED, cleared_ms=T0 + 600_000)
    said = told_over([(0, alert()), (600, over), (1200, alert(episode=2))])
    assert [body[-4:] for _, _, body in said] == ["#1.1", "#1.2", "#2.3"]


@pytest.mark.parametrize("state", [AlertState.ACTIVE, AlertState.CLEARED])
def test_a_text_is_one_message_however_long_its_words(state):
    long = replace(alert(state, cleared_ms=T0), sentence="Lower tank — 39 °F — is full. " * 20)
    told = Told()
    for at_s in (0, 300, 900):
        for notice in notices(long, told, FARM, T0 + at_s * 1000):
            assert length(notice.body) <= LIMIT
            assert notice.body.endswith(f"#{notice.event}")
            assert len(notice.long_body) > LIMIT
