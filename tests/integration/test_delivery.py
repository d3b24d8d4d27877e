"""Texts reach real servers, are retried while they do not, and one channel's failure is not another's."""

import pytest

from collector.alerting.delivery import EXPIRES_S, RETRY_S, Sender, open_channels
from shared.errors import ChannelError, SettingsError
from shared.farm_file import parse_farm
from shared.readings import Quantity
from shared.store import Memory, Record, Text
from shared.store.sqlite import SqliteStore
from tests.fakes.phones import HttpPhone, MailPhone

T0 = 1_772_000_000_000


class Time:
    def __init__(self):
        self.now_ms = T0

    def __call__(self):
        return self.now_ms


def farm_with(**channels):
    listed = "\n".join(f'[[contact.channel]]\nid = "{i}"\nurl = "{url}"' for i, url in channels.items())
    return parse_farm(
        '[farm]\nid = "small"\nname = "Small"\ntimezone = "America/New_York"\nelevation_ft = 1000\n'
        f'[[contact]]\nid = "owner"\nname = "Wren"\n{listed}\n'
    )


@pytest.fixture
def store(tmp_path):
    opened = SqliteStore(tmp_path / "farm.sqlite", {"level": Quantity.LEVEL})
    yield opened
    opened.close()


def put(store, *channels, event="1.1"):
    texts = [
        Text("tank_nearly_full/lower", event, "owner", c, f"short {event}", f"long {event}", T0)
        for c in channels
    ]
    store.record(Record(Memory(0, 0, T0, b"", b""), texts=texts))


def states(store):
    return {(row.channel, row.event): row.state for row in store.outbox(20)}


def test_a_text_arrives_by_http_in_its_short_and_by_mail_in_its_long_form(store):
    with HttpPhone() as push, MailPhone() as mail:
        sender = Sender(store, open_channels(farm_with(push=push.url, mail=mail.url), {}), Time())
        put(store, "push", "mail")
        assert sender.send_due() == 2
        assert push.inbox.bodies == ["short 1.1"]
        assert mail.inbox.bodies == ["long 1.1"]
    assert set(states(store).values()) == {"sent"}


def test_a_channel_that_refuses_is_tried_again_and_holds_up_no_other(store):
    time = Time()
    with HttpPhone() as broken, HttpPhone() as sound:
        broken.status = 503
        sender = Sender(store, open_channels(farm_with(a=broken.url, b=sound.url), {}), time)
        put(store, "a", "b")
        assert sender.send_due() == 1
        assert states(store) == {("a", "1.1"): "waiting", ("b", "1.1"): "sent"}
        assert sender.send_due() == 0
        time.now_ms += round(RETRY_S[0] * 1000)
        broken.status = 200
        assert sender.send_due() == 1
        assert broken.inbox.bodies == ["short 1.1"]


def test_a_text_that_nobody_takes_for_a_day_is_kept_as_expired(store):
    time = Time()
    with HttpPhone() as broken:
        broken.status = 503
        sender = Sender(store, open_channels(farm_with(a=broken.url), {}), time)
        put(store, "a")
        sender.send_due()
        time.now_ms += round(EXPIRES_S * 1000)
        sender.send_due()
    assert states(store) == {("a", "1.1"): "expired"}
    assert store.outbox(1)[0].attempts == 2


def test_a_text_for_a_channel_that_is_gone_is_refused_not_forgotten(store):
    sender = Sender(store, {}, Time())
    put(store, "pager")
    sender.send_due()
    (row,) = store.outbox(5)
    assert (row.state, row.error) == ("refused", "the farm file no longer has this channel")


def test_the_newest_text_goes_first_when_the_link_comes_back(store):
    with HttpPhone() as push:
        sender = Sender(store, open_channels(farm_with(push=push.url), {}), Time())
        for event in ("1.1", "1.2", "1.3"):
            put(store, "push", event=event)
        sender.send_due()
        assert push.inbox.bodies == ["short 1.3", "short 1.2", "short 1.1"]


def test_the_sending_thread_wakes_for_a_text_and_stops(store):
    with HttpPhone() as push:
        sender = Sender(store, open_channels(farm_with(push=push.url), {}), Time())
        sender.start()
        put(store, "push")
        sender.wake()
        assert push.inbox.wait_for(1) == ["short 1.1"]
        sender.stop()


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("${NOT_SET}", "environment variable NOT_SET"),
        ("nosuch://x", "knows no such address"),
        ("json://a$", "dollar"),
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
