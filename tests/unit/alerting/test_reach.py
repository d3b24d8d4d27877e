"""Whom a dead channel leaves unreached is passed over, and no wait grows by a clock that was put back."""

from collector.alerting.book import CALM_S, Told, due_now, put_back
from collector.alerting.wording import texts_of
from shared.alerts import Alert, AlertState, Priority
from shared.farm_file import parse_farm

T0 = 1_774_360_800_000  # 2026-03-24 10:00 in New York
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
channel = [{id = "push", url = "x:"}, {id = "mail", url = "x:"}, {id = "bell", url = "x:", after_min = 0}]
[[contact]]
id = "neighbour"
name = "Abel"
channel = [{id = "push", url = "x:"}]
"""
)


def alert(rule="tank_nearly_full", subject="lower", priority=Priority.WAKE, **changes):
    facts = {"episode": 1, "sentence": "Lower tank is full.", "raised_ms": T0} | changes
    return Alert(rule, subject, AlertState.ACTIVE, priority, **facts)


def texts(alerts, told, at_s, failing=()):
    """(contact, channel, seconds until it is due, whether it is spared when another took it) of what is said."""
    now_ms = T0 + at_s * 1000
    due = due_now({one.key: one for one in alerts}, told, FARM, now_ms, failing)
    written = texts_of(due, FARM, now_ms, None, failing=failing)
    return [(t.contact, t.channel, (t.due_ms - now_ms) / 1000, t.fallback) for t in written]


def test_channels_take_turns_in_the_order_of_the_file_but_for_those_used_at_once():
    assert texts([alert()], {}, 0) == [
        ("owner", "push", 0, False),
        ("owner", "mail", 180, True),
        ("owner", "bell", 0, False),
    ]


def test_a_channel_that_is_known_to_fail_is_still_tried_and_not_waited_for():
    assert texts([alert()], {}, 0, failing=["owner.push"]) == [
        ("owner", "push", 0, False),
        ("owner", "mail", 0, True),
        ("owner", "bell", 0, False),
    ]


def test_a_contact_whom_no_channel_reaches_is_passed_over():
    failing = ["owner.push", "owner.mail", "owner.bell"]
    assert texts([alert()], {}, 0, failing) == [("neighbour", "push", 0, False)]
    told = {}
    texts([alert()], told, 0)
    contacts = [contact for contact, *_ in texts([alert()], told, 300, failing)]
    assert contacts == ["owner", "owner", "owner", "neighbour"]


def test_where_nobody_is_reached_everybody_is_still_told_in_turn():
    failing = ["owner.push", "owner.mail", "owner.bell", "neighbour.push"]
    assert [contact for contact, *_ in texts([alert()], {}, 0, failing)] == ["owner"] * 3


def test_what_tells_of_a_dead_channel_does_not_go_by_it():
    dead = alert("channel_failing", "owner.push", Priority.TELL)
    told = {}
    assert texts([dead], told, 0, ["owner.push"]) == []  # it waits for company
    assert texts([dead], told, 30, ["owner.push"]) == [
        ("owner", "mail", 0, True),
        ("owner", "bell", 0, False),
    ]


def test_what_tells_of_more_than_a_dead_channel_goes_by_all():
    dead = alert("channel_failing", "owner.push", Priority.TELL)
    assert [channel for _, channel, *_ in texts([dead, alert()], {}, 0, ["owner.push"])] == [
        "push",
        "mail",
        "bell",
    ]


def test_a_trouble_that_may_be_over_is_not_kept_from_its_owner_for_ever():
    """A sensor that said once that all is well, and then nothing clear, would clear the alert never."""
    told = {}
    texts([alert()], told, 0)
    calm = alert(calm_since_ms=T0 + 10**9)  # by a sensor whose clock is days ahead
    said_s = [at_s for at_s in range(60, 4000, 10) if texts([calm], told, at_s)]
    assert said_s[0] == 60 + CALM_S


def test_a_clock_that_was_put_back_stretches_no_wait():
    hour_s = 3600
    straight, jumped = {}, {}
    texts([alert()], straight, 0)
    texts([alert()], jumped, 0)
    put_back(jumped, hour_s * 1000)
    for at_s in range(10, 4 * hour_s, 10):
        assert texts([alert()], straight, at_s) == texts([alert()], jumped, at_s - hour_s), at_s


def test_a_clock_put_back_begins_nothing_that_had_not_begun():
    told = {"a/b": Told()}
    put_back(told, 60_000)
    assert (told["a/b"].asked_ms, told["a/b"].seen_ms) == (0, None)
