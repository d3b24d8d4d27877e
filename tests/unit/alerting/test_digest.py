"""Many late texts are one: what is true now, the gravest first; what has no room is counted, never lost."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alerting.digest import FEW_COUNT, LATE_MS, parcels_of, still_needed
from shared.alerts import Alert, AlertState, Priority
from shared.farm_contacts import Channel, Contact
from shared.farm_file import parse_farm
from shared.gsm7 import LIMIT, length
from shared.store import Outgoing, Text

T0 = 1_774_330_860_000  # 2026-03-24 01:41 in New York
HOUR_MS = 3_600_000
FARM = parse_farm(
    '[farm]\nid = "small"\nname = "Small"\ntimezone = "America/New_York"\nelevation_ft = 1000\n'
)
OWNER = Contact(
    id="owner",
    name="Wren",
    channel=(Channel(id="push", url="x:"), Channel(id="mail", url="x:"), Channel(id="bell", url="x:")),
)


def alert(subject, sentence="", rule="vacuum_lost", state=AlertState.ACTIVE, **changes):
    facts = {"priority": Priority.WAKE, "raised_ms": T0, "advice": "Walk it.", "episode": 1} | changes
    return Alert(rule, subject, state, sentence=sentence or f"{subject.capitalize()} is low.", **facts)


def row(number, *keys, channel="push", event=None, state="waiting", attempts=1, **changes):
    facts = {
        "due_ms": T0,
        "code": f"CODE{number}",
        "body": f"{keys[0]} and {' '.join(keys[1:])} #CODE{number}",
    }
    facts |= {"long_body": "long", "priority": Priority.WAKE, "also": keys[1:]} | changes
    text = Text(key=keys[0], event=event or f"1.{number}", contact="owner", channel=channel, **facts)
    return Outgoing(number, text, attempts, T0 + number * 1000, state)


def digest(rows, alerts, late_ms=HOUR_MS):
    return parcels_of(rows, {one.key: one for one in alerts}, FARM, T0 + late_ms)


NAMES = ("ledge", "brook", "saddle", "lower", "upper")


def test_few_texts_and_texts_that_are_news_are_sent_as_they_are():
    alerts = [alert(name) for name in NAMES]
    rows = [row(n, one.key) for n, one in enumerate(alerts, 1)]
    assert [p.lead for p in digest(rows[:FEW_COUNT], alerts)] == rows[:FEW_COUNT]
    assert [p.lead for p in digest(rows, alerts, late_ms=LATE_MS)] == rows
    (parcel,) = digest(rows, alerts)
    assert sorted(one.id for one in parcel.rows) == [1, 2, 3, 4, 5]


def test_what_asks_stands_before_what_is_known_and_what_is_over():
    over = {"state": AlertState.CLEARED, "cleared_ms": T0 + 900_000}
    alerts = [
        alert("air", rule="sensor_silent", priority=Priority.TELL),
        alert("lower", "Lower tank holds 900 of 1,600 gal.", rule="tank_nearly_full", **over),
        alert("ledge", raised_ms=T0 + 60_000),
        alert("brook", state=AlertState.ACKNOWLEDGED, acknowledged_by="Abel"),
        alert("saddle", raised_ms=T0 + 120_000, shelved_until_ms=T0 + 2 * HOUR_MS, shelved_reason="known"),
        alert("upper", "Upper tank is full about 04:50.", rule="tank_nearly_full"),
    ]
    (parcel,) = digest([row(n, one.key) for n, one in enumerate(alerts, 1)], alerts)
    text = parcel.lead.text
    assert text.body == (
        "Ledge is low. Since 01:42. Also tank nearly full: upper; sensor silent: air."
        " Known vacuum lost: saddle. 6 texts late since 01:41. +2 more on the page. #CODE3"
    )
    assert text.long_body.splitlines() == [
        "Small: Ledge is low. Since 01:42. Walk it.",
        "Upper tank is full about 04:50. Since 01:41. Walk it.",
        "Air is low. Since 01:41. Walk it.",
        "Saddle is low. Since 01:43. Paused: known.",
        "Brook is low. Since 01:41. Abel has it.",
        "Was: Lower tank holds 900 of 1,600 gal. 01:41-01:56.",
        "6 texts late since 01:41. #CODE3",
    ]
    assert (text.code, text.key) == ("CODE3", "vacuum_lost/ledge")
    assert text.also == ("tank_nearly_full/upper", "sensor_silent/air", "vacuum_lost/saddle")


def test_when_all_is_over_the_digest_says_what_was():
    over = {"state": AlertState.NORMAL, "cleared_ms": T0 + 900_000}
    alerts = [alert(name, **over) for name in NAMES]
    (parcel,) = digest([row(n, one.key) for n, one in enumerate(alerts, 1)], alerts)
    assert parcel.lead.text.body == (
        "Was: Ledge is low. 01:41-01:56. Was vacuum lost: brook, saddle, lower, upper."
        " 5 texts late since 01:41. #CODE1"
    )


def test_a_text_answers_for_nothing_that_it_does_not_name():
    """The trouble that is newest stands in another's text: the one with a text of its own goes first."""
    alerts = [alert("ledge", raised_ms=T0 + 60_000), *(alert(name) for name in NAMES[1:])]
    rows = [row(n, one.key) for n, one in enumerate(alerts[1:], 1)]
    rows.append(row(9, alerts[1].key, alerts[0].key, event="9.9"))
    (parcel,) = digest(rows, alerts)
    assert parcel.lead.text.key == "vacuum_lost/brook"
    assert parcel.lead.text.body.startswith("Brook is low. Since 01:41. Also vacuum lost: ledge, ")


def test_a_text_without_an_answer_of_its_own_shows_none():
    """Only the gravest is told in company, by texts about what is over: their codes answer for something else."""
    over = {"state": AlertState.CLEARED, "cleared_ms": T0 + 900_000}
    alerts = [alert("ledge"), *(alert(name, **over) for name in NAMES[1:])]
    rows = [row(n, one.key, alerts[0].key) for n, one in enumerate(alerts[1:], 1)]
    (parcel,) = digest(rows, alerts)
    assert parcel.lead.text.body.startswith("Ledge is low. Since 01:41. Was vacuum lost: ")
    assert parcel.lead.text.body.endswith(" #1.4")


def test_what_tells_of_no_alert_goes_by_itself():
    alerts = [alert(name) for name in NAMES]
    brief = row(9, "night_brief/tonight")
    parcels = digest([*(row(n, one.key) for n, one in enumerate(alerts, 1)), brief], alerts)
    assert [len(parcel.rows) for parcel in parcels] == [5, 1]
    assert parcels[1].lead is brief


SENTENCE = st.text(alphabet="abc °–€{}", min_size=1, max_size=200)


@given(
    sentences=st.lists(SENTENCE, min_size=FEW_COUNT + 1, max_size=40),
    over=st.sets(st.integers(0, 39)),
    tell=st.sets(st.integers(0, 39)),
)
def test_a_digest_is_one_message_that_names_or_counts_everything(sentences, over, tell):
    alerts = [
        replace(
            alert(f"line-{n:02}", sentence),
            state=AlertState.CLEARED if n in over else AlertState.ACTIVE,
            cleared_ms=T0 if n in over else None,
            priority=Priority.TELL if n in tell else Priority.WAKE,
        )
        for n, sentence in enumerate(sentences)
    ]
    (parcel,) = digest([row(n, one.key) for n, one in enumerate(alerts, 1)], alerts)
    text = parcel.lead.text
    assert length(text.body) <= LIMIT
    assert text.body.endswith(f" #{text.code}")
    named = {text.key, *text.also}
    assert {key for key in text.also if key.partition("/")[2] not in text.body} == set()
    more = int(text.body.partition("+")[2].partition(" more")[0] or 0)
    assert len(named) + more == len(alerts)
    assert len(text.long_body.splitlines()) >= len(alerts) + 1
    # A wake-up that asks is left out only where every one that is named is one too.
    asking = {one.key for n, one in enumerate(alerts) if n not in over and n not in tell}
    assert asking <= named or named <= asking


def needed(rows, channel="push", begun=None, now_ms=T0 + HOUR_MS):
    spared, left = still_needed(rows, OWNER, channel, begun or {}, now_ms)
    return dict(spared), [one.id for one in left]


A, B = "vacuum_lost/ledge", "vacuum_lost/brook"


@pytest.mark.parametrize(
    ("rows", "spared", "left"),
    [
        ([row(1, A), row(2, A)], {1: "newer text 2 says it"}, [2]),
        ([row(1, A), row(2, A, state="sent")], {1: "newer text 2 says it"}, []),
        ([row(1, A), row(2, B, A, body="Brook is low. Also vacuum lost: led... #C")], {}, [2, 1]),
        ([row(1, A), row(2, B, A, body="Brook is low. Also vacuum lost: ledge-far. #C")], {}, [2, 1]),
        ([row(1, A), row(2, B, A, body="brook and ledge")], {1: "newer text 2 says it"}, [2]),
        ([row(1, A, B), row(2, A)], {}, [2, 1]),
        ([row(1, A), row(2, A, attempts=0, due_ms=T0 + 2 * HOUR_MS)], {}, [1]),
        ([row(1, A), row(2, A, state="expired")], {}, [1]),
        ([row(1, A, priority=Priority.WAKE), row(2, B, priority=Priority.TELL)], {}, [1, 2]),
        ([row(1, A, due_ms=T0 + 2 * HOUR_MS, attempts=0)], {}, []),
        ([row(1, A, due_ms=T0 + 2 * HOUR_MS, attempts=3)], {}, [1]),
    ],
)
def test_a_text_is_spared_where_a_newer_one_by_the_same_channel_says_all_of_it(rows, spared, left):
    assert needed(rows) == (spared, left)


def both(first_state, *, attempts=1, fallback=True, mail_id=2):
    """A text by push, and the same by mail."""
    return [
        row(1, A, event="1.1", state=first_state, attempts=attempts),
        row(mail_id, A, event="1.1", channel="mail", attempts=0, fallback=fallback),
    ]


@pytest.mark.parametrize(
    ("rows", "begun", "spared", "left"),
    [
        (both("sent"), {}, {2: "push has taken it"}, []),
        (both("sent", fallback=False), {}, {}, [2]),
        (both("waiting"), {}, {}, [2]),
        (both("waiting"), {1: T0 + HOUR_MS - 179_000}, {}, [2]),
        (both("waiting", attempts=0), {1: T0 + HOUR_MS - 179_000}, {}, []),
        (both("waiting", attempts=0), {1: T0 + HOUR_MS - 180_000}, {}, [2]),
        (both("waiting", attempts=0), {}, {}, [2]),
        (both("waiting", attempts=0, fallback=False), {1: T0 + HOUR_MS}, {}, [2]),
        ([*both("waiting"), row(3, A)], {}, {}, [2]),
        (both("expired"), {}, {}, [2]),
        (both("spared"), {}, {}, [2]),
        ([*both("spared"), row(3, A, state="sent")], {}, {2: "newer text 3 by push says it"}, []),
        ([*both("spared"), row(3, B, state="sent")], {}, {}, [2]),
        ([*both("waiting"), row(3, A, event="1.1", channel="bell", state="sent")], {}, {}, [2]),
    ],
)
def test_a_later_channel_has_its_turn_unless_an_earlier_one_took_it(rows, begun, spared, left):
    assert needed(rows, "mail", begun) == (spared, left)


def test_a_text_from_the_future_is_due_for_the_clock_was_put_back():
    early = row(1, A, attempts=0, due_ms=T0 + 3 * HOUR_MS)
    assert needed([early], now_ms=T0 - HOUR_MS) == ({}, [1])
