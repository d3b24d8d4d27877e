"""Texts reach real servers, are retried while they do not, and one channel's failure is not another's."""

from itertools import pairwise
from threading import enumerate as enumerate_threads

import pytest

from collector.alerting.channels import open_channels
from collector.alerting.delivery import EXPIRES_S, RECALLED_S, RETRY_S, Sender
from shared.alerts import Alert, AlertState, Priority
from shared.errors import ChannelError, SettingsError
from shared.farm_file import parse_farm
from shared.gsm7 import LIMIT, length
from shared.readings import Quantity
from shared.store import Memory, Record, Text
from shared.store.sqlite import SqliteStore
from tests.fakes.phones import HttpPhone, MailPhone
from tests.fakes.servers import free_port
from tests.fakes.sides import wait_until

T0 = 1_774_310_400_000
"""2026-03-23 20:00 in New York."""
HOUR_MS = 3_600_000
LOWER = "tank_nearly_full/lower"


class Time:
    def __init__(self):
        self.now_ms = T0

    def __call__(self):
        return self.now_ms

    def passes(self, seconds):
        self.now_ms += round(seconds * 1000)


@pytest.fixture
def time():
    return Time()


def farm_with(*, at_once=False, **channels):
    wait = "after_min = 0\n" if at_once else ""
    listed = "\n".join(
        f'[[contact.channel]]\nid = "{i}"\nurl = "{url}"\n{wait}' for i, url in channels.items()
    )
    return parse_farm(
        '[farm]\nid = "small"\nname = "Small"\ntimezone = "America/New_York"\nelevation_ft = 1000\n'
        f'[[contact]]\nid = "owner"\nname = "Wren"\n{listed}\n'
    )


def sender_to(store, clock, *, at_once=False, **urls):
    farm = farm_with(at_once=at_once, **urls)
    return Sender(store, farm, open_channels(farm, {}), clock)


@pytest.fixture
def store(tmp_path):
    opened = SqliteStore(tmp_path / "farm.sqlite", {"level": Quantity.LEVEL})
    yield opened
    opened.close()


def put(store, *channels, event="1.1", key=LOWER, at_ms=T0, waits_s=(), alert=None, **more):
    """Write a text by these channels as a step of the evaluator does; the later ones are due later."""
    texts = [
        Text(
            key,
            event,
            "owner",
            channel,
            f"short {event}",
            f"long {event}",
            at_ms + 1000 * (waits_s[place] if waits_s else 0),
            fallback=bool(waits_s and waits_s[place]),
            **more,
        )
        for place, channel in enumerate(channels)
    ]
    store.record(Record(Memory(0, 0, at_ms, b"", b""), [alert] if alert else [], texts=texts))


def states(store):
    return {(row.channel, row.event): row.state for row in store.outbox(200)}


def reasons(store):
    return {(row.channel, row.event): row.error for row in store.outbox(200)}


def test_a_text_arrives_by_http_in_its_short_and_by_mail_in_its_long_form(store, time):
    with HttpPhone() as push, MailPhone() as mail:
        sender = sender_to(store, time, push=push.url, mail=mail.url)
        put(store, "push", "mail")
        assert sender.send_due() == 2
        assert push.inbox.bodies == ["short 1.1"]
        assert mail.inbox.bodies == ["long 1.1"]
    assert set(states(store).values()) == {"sent"}


def test_a_channel_that_refuses_is_tried_again_and_holds_up_no_other(store, time):
    with HttpPhone() as broken, HttpPhone() as sound:
        broken.status = 503
        sender = sender_to(store, time, a=broken.url, b=sound.url)
        put(store, "a", "b")
        assert sender.send_due() == 1
        assert states(store) == {("a", "1.1"): "waiting", ("b", "1.1"): "sent"}
        assert "503" in reasons(store)["a", "1.1"]
        assert sender.send_due() == 0
        time.passes(RETRY_S[0])
        broken.status = 200
        assert sender.send_due() == 1
        assert broken.inbox.bodies == ["short 1.1"]


def test_the_waits_between_tries_grow_to_ten_minutes_and_stay_there(store, time):
    with HttpPhone() as broken:
        broken.status = 500
        sender = sender_to(store, time, a=broken.url)
        put(store, "a")
        tries_s = []
        for at_s in range(0, 3000, 10):
            time.now_ms = T0 + at_s * 1000
            before = len(broken.asked.bodies)
            sender.send_due()
            tries_s += [at_s] * (len(broken.asked.bodies) - before)
    assert [b - a for a, b in pairwise(tries_s)][:7] == [*RETRY_S, RETRY_S[-1]]


def test_a_text_that_was_taken_before_the_link_was_lost_comes_twice_and_is_known_by_its_last_word(
    store, time
):
    with HttpPhone() as push:
        push.falls_silent = True
        sender = sender_to(store, time, push=push.url)
        put(store, "push")
        assert sender.send_due() == 0
        push.falls_silent = False
        time.passes(RETRY_S[0])
        assert sender.send_due() == 1
        assert push.inbox.bodies == ["short 1.1", "short 1.1"]
    assert states(store) == {("push", "1.1"): "sent"}


def test_nobody_at_the_address_is_a_failure_like_any_other(store, time):
    sender = sender_to(store, time, push=f"json://127.0.0.1:{free_port()}/text")
    put(store, "push")
    assert sender.send_due() == 0
    assert "onnection error" in reasons(store)["push", "1.1"]
    assert states(store) == {("push", "1.1"): "waiting"}


def test_a_text_that_nobody_takes_for_a_day_is_kept_as_expired(store, time):
    with HttpPhone() as broken:
        broken.status = 503
        sender = sender_to(store, time, a=broken.url)
        put(store, "a")
        sender.send_due()
        time.passes(EXPIRES_S)
        sender.send_due()
    assert states(store) == {("a", "1.1"): "expired"}
    assert store.outbox(1)[0].attempts == 2


def test_a_text_for_a_channel_that_is_gone_is_refused_not_forgotten(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        put(store, "pager")
        sender.send_due()
        assert states(store) == {("pager", "1.1"): "refused"}
        assert reasons(store)["pager", "1.1"] == "the farm file no longer has this channel"
        assert list(sender.outcomes()) == []


def test_only_the_newest_word_on_a_trouble_is_sent_when_the_link_comes_back(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        for event in ("1.1", "1.2", "1.3"):
            put(store, "push", event=event)
        put(store, "push", event="1.1", key="vacuum_lost/ledge")
        sender.send_due()
        assert push.inbox.bodies == ["short 1.1", "short 1.3"]
    assert [row.state for row in store.outbox(9)] == ["sent", "sent", "spared", "spared"]
    assert reasons(store)["push", "1.2"] == "newer text 3 says it"


def test_a_newer_text_whose_end_was_cut_off_replaces_nothing(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        put(store, "push", event="1.1", key="vacuum_lost/ledge")
        put(store, "push", event="2.1", also=("vacuum_lost/ledge",))
        sender.send_due()
        assert push.inbox.bodies == ["short 2.1", "short 1.1"]


def test_what_wakes_goes_before_what_is_newer_and_only_tells(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        put(store, "push", event="1.1")
        put(store, "push", event="7.1", key="sensor_silent/air", priority=Priority.TELL)
        sender.send_due()
        assert push.inbox.bodies == ["short 1.1", "short 7.1"]


def test_the_sending_threads_wake_for_a_text_and_stop(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        sender.start()
        put(store, "push")
        sender.wake()
        assert push.inbox.wait_for(1) == ["short 1.1"]
        sender.stop()
    assert states(store) == {("push", "1.1"): "sent"}


def test_a_channel_that_hangs_holds_up_no_other_and_is_seen(store, time):
    moved = []
    with HttpPhone() as hanging, HttpPhone() as sound:
        hanging.answers.clear()
        sender = sender_to(store, time, at_once=True, a=hanging.url, b=sound.url)
        sender.on_moved = lambda: moved.append(len(hanging.inbox.bodies))
        sender.start()
        for number in range(1, 4):
            put(store, "a", "b", event=f"{number}.1", key=f"tank_nearly_full/t{number}")
            sender.wake()
            assert len(sound.inbox.wait_for(number)) == number
        assert hanging.asked.wait_for(1) == ["short 1.1"]
        assert hanging.inbox.bodies == []
        sender.wake()
        wait_until(lambda: states(store)["b", "3.1"] == "sent")
        looks = len(moved)
        for number in range(4, 7):
            put(store, "b", event=f"{number}.1", key=f"tank_nearly_full/t{number}")
            sender.wake()
            assert len(sound.inbox.wait_for(number)) == number
        assert len(moved) == looks
        hanging.answers.set()
        assert hanging.inbox.wait_for(3) == ["short 1.1", "short 3.1", "short 2.1"]
        wait_until(lambda: len(moved) > looks)
        sender.stop()
    assert set(states(store).values()) == {"sent"}


def test_a_channel_that_hangs_does_not_keep_us_from_ending_and_its_text_comes_at_the_next_start(
    tmp_path, time
):
    store = SqliteStore(tmp_path / "other.sqlite", {"level": Quantity.LEVEL})
    with HttpPhone() as push:
        push.answers.clear()
        sender = sender_to(store, time, push=push.url)
        sender.start()
        put(store, "push")
        sender.wake()
        push.asked.wait_for(1)
        sender.stop(leave_s=0.1)
        store.close()
        push.answers.set()
        push.inbox.wait_for(1)
        wait_until(lambda: "owner.push" not in {thread.name for thread in enumerate_threads()})
        store = SqliteStore(tmp_path / "other.sqlite", {"level": Quantity.LEVEL})
        assert sender_to(store, time, push=push.url).send_due() == 1
        assert push.inbox.bodies == ["short 1.1", "short 1.1"]
        store.close()


def test_a_later_channel_is_spared_what_an_earlier_one_took(store, time):
    with HttpPhone() as push, MailPhone() as mail:
        sender = sender_to(store, time, push=push.url, mail=mail.url)
        put(store, "push", "mail", waits_s=(0, 180))
        assert sender.send_due() == 1
        assert states(store) == {("push", "1.1"): "sent", ("mail", "1.1"): "waiting"}
        time.passes(180)
        assert sender.send_due() == 0
        assert mail.inbox.bodies == []
    assert states(store) == {("push", "1.1"): "sent", ("mail", "1.1"): "spared"}
    assert reasons(store)["mail", "1.1"] == "push has taken it"


def test_a_later_channel_has_its_turn_when_the_earlier_one_has_failed_till_then(store, time):
    with HttpPhone() as push, MailPhone() as mail:
        push.status = 500
        sender = sender_to(store, time, push=push.url, mail=mail.url)
        put(store, "push", "mail", waits_s=(0, 180))
        sender.send_due()
        time.passes(180)
        assert sender.send_due() == 1
        assert mail.inbox.bodies == ["long 1.1"]
    assert states(store) == {("push", "1.1"): "waiting", ("mail", "1.1"): "sent"}


def test_after_a_restart_in_which_both_are_due_the_earlier_channel_is_tried_first(store, time):
    with HttpPhone() as push, MailPhone() as mail:
        put(store, "push", "mail", waits_s=(0, 180))
        time.passes(600)
        sender = sender_to(store, time, push=push.url, mail=mail.url)
        assert sender.send_due() == 1
        assert (push.inbox.bodies, mail.inbox.bodies) == (["short 1.1"], [])
        assert states(store)["mail", "1.1"] == "spared"


def test_a_later_channel_waits_for_the_first_try_of_the_earlier_one_but_no_longer_than_its_turn(store, time):
    with HttpPhone() as push, MailPhone() as mail:
        push.answers.clear()
        put(store, "push", "mail", waits_s=(0, 180))
        time.passes(600)
        sender = sender_to(store, time, push=push.url, mail=mail.url)
        sender.start()
        push.asked.wait_for(1)
        looks = []
        sender.on_moved = lambda: looks.append(None)
        put(store, "pager")
        sender.wake()
        wait_until(lambda: states(store)["pager", "1.1"] == "refused")
        assert mail.inbox.bodies == []
        time.passes(180)
        sender.wake()
        assert mail.inbox.wait_for(1) == ["long 1.1"]
        push.answers.set()
        push.inbox.wait_for(1)
        sender.stop()


def test_channels_that_are_to_be_used_at_once_wait_for_nobody(store, time):
    with HttpPhone() as push, MailPhone() as mail:
        sender = sender_to(store, time, at_once=True, push=push.url, mail=mail.url)
        put(store, "push", "mail")
        assert sender.send_due() == 2


def standing(rule, subject, sentence, hour, over=None):
    """An alert raised at that hour; `over` is when it was."""
    return Alert(
        rule,
        subject,
        AlertState.ACTIVE if over is None else AlertState.CLEARED,
        Priority.WAKE,
        1,
        sentence,
        "First thing.",
        raised_ms=T0 + round(hour * HOUR_MS),
        cleared_ms=None if over is None else T0 + round(over * HOUR_MS),
    )


def a_night_without_a_link(store, sender, time):
    """Six hours in which four troubles come, are told again and again, and two of them go."""
    for minute in range(0, 360, 5):
        time.now_ms = T0 + minute * 60_000
        for number, (rule, subject, begins, ends) in enumerate(
            [
                ("pump_stopped", "pump", 10, 70),
                ("vacuum_lost", "ledge", 30, None),
                ("tank_nearly_full", "lower", 90, None),
                ("sensor_silent", "air", 100, 190),
            ]
        ):
            if minute >= begins and (minute - begins) % 30 == 0 and (ends is None or minute <= ends):
                over = None if minute != ends else minute / 60
                put(
                    store,
                    "push",
                    event=f"{number}.{minute}",
                    key=f"{rule}/{subject}",
                    at_ms=time.now_ms,
                    code=f"CODE{number}{minute:03}",
                    alert=standing(rule, subject, f"{subject.capitalize()} has trouble.", begins / 60, over),
                )
        sender.send_due()


def test_a_link_that_was_away_for_hours_brings_one_text_with_what_is_true_now(store, time):
    with HttpPhone() as push:
        push.status = 500
        sender = sender_to(store, time, push=push.url)
        a_night_without_a_link(store, sender, time)
        rows = len(store.outbox(200))
        assert rows > 25
        push.status = 200
        time.passes(600)
        assert sender.send_due() == 1
        (body,) = push.inbox.bodies
        assert body == (
            "Lower has trouble. Since 21:30. Also vacuum lost: ledge. Was sensor silent: air;"
            " pump stopped: pump. 4 texts late since 21:10. 2.330"
        )
        assert length(body) <= LIMIT
        assert sender.send_due() == 0
    assert sorted(set(states(store).values())) == ["sent", "spared"]
    row = next(row for row in store.outbox(200) if row.body == body)
    assert (row.state, row.event, row.error) == ("sent", "2.330", None)


def test_tries_of_a_link_that_is_away_do_not_grow_with_what_waits(store, time):
    with HttpPhone() as push:
        push.status = 500
        sender = sender_to(store, time, push=push.url)
        a_night_without_a_link(store, sender, time)
        before = len(push.asked.bodies)
        for _ in range(360):
            time.passes(10)
            sender.send_due()
        assert len(push.asked.bodies) - before <= 1 + 3600 / RETRY_S[-1] + len(RETRY_S)


def test_what_channels_took_is_told_again_at_the_start(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        put(store, "push", event="1.1")
        sender.send_due()
        time.passes(60)
        again = sender_to(store, time, push=push.url)
        (first,), (second,) = sender.outcomes(), again.outcomes()
        assert first == second
        assert (first.keys, first.at_ms, first.created_ms, first.error) == ((LOWER,), T0, T0, None)
        time.passes(RECALLED_S)
        assert list(sender_to(store, time, push=push.url).outcomes()) == []


def test_what_was_taken_but_could_not_be_marked_is_marked_before_that_channel_is_used_again(store, time):
    with HttpPhone() as push:
        sender = sender_to(store, time, push=push.url)
        put(store, "push", event="1.1")
        push.on_text = lambda _body: store._connection.execute("PRAGMA query_only = ON")
        assert sender.send_due() == 1
        assert states(store) == {("push", "1.1"): "waiting"}
        store._connection.execute("PRAGMA query_only = OFF")
        push.on_text = lambda _body: None
        assert sender.send_due() == 0
        assert push.inbox.bodies == ["short 1.1"]
    assert states(store) == {("push", "1.1"): "sent"}


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("${NOT_SET}", "environment variable NOT_SET"),
        ("nosuch://x", "knows no such address"),
        ("json://a$", "dollar"),
        ("json://a, json://b", "2 addresses"),
    ],
)
def test_a_channel_that_cannot_work_is_refused_at_the_start(url, says):
    with pytest.raises(SettingsError, match=says):
        open_channels(farm_with(a=url), {})


def test_a_channel_says_whether_a_retry_can_help():
    with HttpPhone() as broken:
        broken.status = 503
        deliver = open_channels(farm_with(a=broken.url), {})["owner", "a"]
        with pytest.raises(ChannelError) as raised:
            deliver("short", "long")
    assert not raised.value.permanent


def test_a_secret_in_an_address_comes_from_the_environment():
    with HttpPhone() as push:
        channels = open_channels(farm_with(a="${PUSH}"), {"PUSH": push.url})
        channels["owner", "a"]("short", "long")
        assert push.inbox.bodies == ["short"]
