"""Nights in which texts are not taken: the others say so, and the owner is reached by what still works."""

from collector.people import on_delivery
from shared.alerts import AlertState, Cause
from shared.store import Delivery
from tests.fakes.night import KNOLL, Night, calm

FARM = KNOLL.replace(
    'channel = [{ id = "phone", url = "terminal:" }]\n[[contact]]\nid = "neighbour"',
    'channel = [{ id = "phone", url = "terminal:" }, { id = "mail", url = "terminal:" }]\n'
    '[[contact]]\nid = "neighbour"',
)
RULE = "channel_failing"
WAYS = ("owner.phone", "owner.mail", "neighbour.phone")
PHONE, MAIL, ABEL = ("owner", "phone"), ("owner", "mail"), ("neighbour", "phone")


def hear(night, way, *hours, error=None):
    """At each of these hours something is handed to that channel."""
    for hour in hours:
        night.run_until(hour)
        on_delivery(night.watch, night.plan, Delivery(*way, night.now_ms, error=error))


def state(night, subject):
    alert = night.watch.alerting.alerts.get(f"{RULE}/{subject}")
    return None if alert is None else alert.state


def told(night):
    return [(contact, body) for _, key, contact, body in night.phone if key.startswith(f"{RULE}/")]


def test_a_channel_that_takes_nothing_is_told_by_another_and_its_end_too():
    night = calm(Night(FARM))
    hear(night, PHONE, 0.5, 0.6, error="503")
    hear(night, MAIL, 0.61)
    hear(night, PHONE, 0.7, error="503")
    night.run_until(0.74)
    assert told(night) == []
    night.run_until(0.9)
    since = night.local(0.5)
    assert told(night) == [
        (
            "owner",
            f"Texts to Wren by phone have failed since {since}. Look at its account, number and link. 503 #1.1",
        )
    ]
    hear(night, PHONE, 1.0)
    night.run_until(1.3)
    assert [(contact, body[:35]) for contact, body in told(night)[1:]] == [
        ("owner", "Over: Texts to Wren by phone are ta")
    ] * 2
    assert [t.cause for t in night.transitions if t.key == f"{RULE}/owner.phone"] == [
        Cause.RAISED,
        Cause.CLEARED,
    ]


def test_who_is_reached_by_nothing_is_told_of_by_the_next_contact():
    night = calm(Night())
    hear(night, PHONE, 0.5, 0.6, 0.7, error="no such number")
    night.run_until(0.9)
    assert [contact for contact, _ in told(night)] == ["neighbour"]


def test_a_short_outage_and_a_channel_never_tried_are_nothing():
    night = calm(Night(FARM))
    hear(night, PHONE, 0.5, 0.6, 0.7, error="503")
    hear(night, PHONE, 0.72)
    night.run_until(2)
    assert told(night) == []
    assert {state(night, way) for way in WAYS} <= {None, AlertState.NORMAL}


def test_when_no_channel_takes_any_text_one_alert_says_so_and_none_for_each():
    night = calm(Night(FARM))
    for way in (PHONE, MAIL, ABEL):
        hear(night, way, 0.5 + night.at_s / 360_000, error="no link")
    night.run_until(0.9)
    assert state(night, "all-channels") is AlertState.ACTIVE
    assert {state(night, way) for way in WAYS} <= {None, AlertState.NORMAL}
    (sentence,) = {body for _, body in told(night)}
    assert sentence.startswith(f"No channel has taken a text since {night.local(0.5)}")


def test_a_link_that_comes_back_leaves_no_alert_about_channels_that_have_yet_to_be_tried():
    night = calm(Night(FARM))
    hear(night, PHONE, 0.5, error="no link")
    hear(night, MAIL, 0.55, error="no link")
    hear(night, ABEL, 0.6, error="no link")
    hear(night, PHONE, 3.0)
    night.run_until(3.15)
    hear(night, ABEL, 3.16)
    hear(night, MAIL, 3.16)
    night.run_until(4)
    keys = [(t.key, t.cause) for t in night.transitions if t.key.startswith(f"{RULE}/")]
    assert keys == [
        (f"{RULE}/all-channels", Cause.RAISED),
        (f"{RULE}/all-channels", Cause.CLEARED),
    ]


def test_a_rule_that_is_turned_off_says_nothing():
    night = calm(Night(FARM + "\n[rules.channel_failing]\nenabled = false\n"))
    hear(night, PHONE, 0.5, 0.6, 0.7, error="503")
    night.run_until(2)
    assert [key for key in night.watch.alerting.alerts if RULE in key] == []
