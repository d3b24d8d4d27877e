"""Who is told what, and when: once, again with back-off, then the next contact; and never twice after a restart."""

from dataclasses import replace

import pytest

from collector.alerting.answers import Answering, code_for
from collector.alerting.book import (
    ACKNOWLEDGEMENT_LASTS_S,
    GATHER_S,
    NEXT_CONTACT_AFTER_S,
    REPEAT_AFTER_S,
    due_now,
)
from collector.alerting.wording import texts_of
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


ANSWERING = Answering(b"a secret of this farm", "https://example.org/a/")


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
    told, said = {}, []
    for at_s, one in steps:
        said += [(at_s, *text) for text in told_at(at_s, [one], told)]
    return said


def told_at(at_s, alerts, told, farm=FARM, answering=None):
    """(contacts, body) of each text by the first channel, those of one body together."""
    now_ms = T0 + round(at_s * 1000)
    due = due_now({one.key: one for one in alerts}, told, farm, now_ms)
    bodies = {}
    for text in texts_of(due, farm, now_ms, answering):
        if text.due_ms == now_ms:
            bodies.setdefault(text.body, []).append(text.contact)
    return [(tuple(contacts), body) for body, contacts in bodies.items()]


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
    steps = [(0, alert(priority=Priority.TELL)), (30, alert(priority=Priority.TELL)), (60, alert())]
    said = told_over(steps)
    assert [at_s for at_s, _, _ in said] == [30, 60]
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
    others = [replace(long, subject=f"line-{i}") for i in range(30)]
    told, count = {}, 0
    for at_s in (0, 300, 900):
        now_ms = T0 + at_s * 1000
        for alerts in ([long], [long, *others]):
            due = due_now({one.key: one for one in alerts}, told, FARM, now_ms)
            for text in texts_of(due, FARM, now_ms, ANSWERING):
                count += 1
                assert length(text.body) <= LIMIT
                assert text.body.endswith(text.code or f"#{text.event}")
                assert len(text.long_body) > LIMIT
    assert count


def line(name, **changes):
    return replace(
        alert(**changes),
        rule="vacuum_lost",
        subject=name,
        sentence=f"{name.capitalize()} is 6.2 inHg below its usual.",
    )


def test_what_comes_at_one_time_is_one_text_that_names_all_of_it():
    [(contacts, body)] = told_at(0, [line("ledge"), line("brook"), line("saddle"), alert()], {})
    assert contacts == ("owner",)
    assert body == (
        "Ledge is 6.2 inHg below its usual. Also vacuum lost: brook, saddle; tank nearly full: lower. #1.1"
    )


def test_a_wake_up_never_waits_for_company_and_a_reminder_may_go_with_another():
    told = {}
    assert len(told_at(0, [line("ledge")], told)) == 1
    assert len(told_at(2, [line("ledge"), line("brook")], told)) == 1
    both = [line("ledge"), line("brook")]
    assert [len(told_at(s, both, told)) for s in (299, 300, 302, 303)] == [0, 1, 0, 0]


def test_what_only_tells_waits_for_more_of_its_kind():
    told = {}
    tells = [line(name, priority=Priority.TELL) for name in ("ledge", "brook", "saddle")]
    assert told_at(0, tells[:1], told) == []
    assert told_at(20, tells[:2], told) == []
    [(_, body)] = told_at(GATHER_S, tells, told)
    assert "Also vacuum lost: brook, saddle." in body


def test_what_only_tells_goes_with_a_wake_up():
    told = {}
    tell = line("ledge", priority=Priority.TELL)
    assert told_at(0, [tell], told) == []
    [(_, body)] = told_at(5, [tell, alert()], told)
    assert body.startswith("Lower tank is full about 04:50. Also vacuum lost: ledge.")


SLEEPY = parse_farm(
    """
[farm]
id = "small"
name = "Small"
timezone = "America/New_York"
elevation_ft = 1000
[[contact]]
id = "owner"
name = "Wren"
quiet = { from = "22:00", to = "06:00" }
channel = [{id = "push", url = "terminal:"}]
[[contact]]
id = "neighbour"
name = "Abel"
quiet = { from = "21:00", to = "07:00", holds = "wake" }
channel = [{id = "push", url = "terminal:"}]
"""
)


def test_quiet_hours_hold_back_what_does_not_wake_until_they_end():
    told, tell = {}, alert(priority=Priority.TELL)
    said = {s: told_at(s, [tell], told, SLEEPY) for s in range(0, 6 * 3600, 60)}
    [(at_s, [(contacts, body)])] = [(s, texts) for s, texts in said.items() if texts]
    assert at_s == pytest.approx((4 * 60 + 19) * 60, abs=60)  # 01:41 to 06:00
    assert contacts == ("owner",)
    assert "Since 01:41." in body


def test_quiet_hours_hold_back_no_wake_up():
    assert [contacts for contacts, _ in told_at(0, [alert()], {}, SLEEPY)] == [("owner",)]


def test_who_may_not_be_woken_is_passed_over_until_his_quiet_hours_end():
    told = {}
    reached = {s: c for s in range(0, 8 * 3600, 60) for c, _ in told_at(s, [alert()], told, SLEEPY)}
    assert {c for s, c in reached.items() if s < (5 * 60 + 19) * 60} == {("owner",)}
    assert {c for s, c in reached.items() if s > (6 * 60 + 30) * 60} == {("owner", "neighbour")}


def test_trouble_that_something_else_explains_is_not_repeated_and_asks_again_when_it_stays():
    told = {}
    explained = replace(alert(), explained_by="the pump does not run")
    assert len(told_at(0, [alert()], told)) == 1
    assert [told_at(s, [explained], told) for s in range(10, 7200, 60)] == [[]] * 120
    assert len(told_at(7300, [alert()], told)) == 1


def test_a_later_channel_of_a_contact_is_due_later_unless_the_farm_file_says_at_once():
    due = due_now({"k": alert()}, {}, FARM, T0)
    owners = [text for text in texts_of(due, FARM, T0, None) if text.contact == "owner"]
    assert [(text.channel, text.due_ms - T0) for text in owners] == [("push", 0), ("mail", 180_000)]


def test_a_text_that_asks_carries_its_code_and_one_that_only_tells_the_end_does_not():
    told = {}
    over = alert(AlertState.CLEARED, cleared_ms=T0 + 1_200_000)
    [(_, asked)] = told_at(0, [alert()], told, answering=ANSWERING)
    [(_, ended)] = told_at(1200, [over], told, answering=ANSWERING)
    code = code_for(ANSWERING.secret, alert().key, "1.1", "owner")
    assert asked.endswith(f" https://example.org/a/{code}")
    assert ended.endswith(" #1.2")


def test_what_comes_and_goes_is_told_twice_then_once_more_and_its_end_when_it_has_settled():
    steps = []
    for flap in range(8):  # ten minutes on, twenty off
        start_s = flap * 1800
        on = alert(priority=Priority.TELL, episode=flap + 1)
        off = alert(AlertState.CLEARED, Priority.TELL, flap + 1, cleared_ms=T0 + (start_s + 600) * 1000)
        steps += [(s, on) for s in range(start_s, start_s + 600, 10)]
        steps += [(s, off) for s in range(start_s + 600, start_s + 1800, 10)]
    end_s = 7 * 1800 + 600
    steps += [(s, steps[-1][1]) for s in range(8 * 1800, 8 * 1800 + 5400, 10)]
    said = told_over(steps)
    openings = [body.split(": ")[0] if ": " in body else "" for _, _, body in said]
    assert openings == ["", "Over", "", "Over", "Comes and goes", "Over"]
    assert said[-1][0] == pytest.approx(end_s + 3600, abs=60)


def test_what_wakes_is_told_each_time_however_often_it_comes_and_goes():
    steps = []
    for flap in range(6):
        over = alert(AlertState.CLEARED, episode=flap + 1, cleared_ms=T0 + (flap * 600 + 200) * 1000)
        steps += [(flap * 600, alert(episode=flap + 1)), (flap * 600 + 200, over)]
    assert len([body for _, _, body in told_over(steps) if not body.startswith("Over")]) == 6
