"""The embedded broker leaves nothing behind, whatever its clients are doing when it ends."""

import asyncio
import gc
import socket
import struct
import sys
import threading
import time
import warnings
from contextlib import ExitStack, contextmanager, suppress

import psutil
import pytest

from collector.embedded_broker import EmbeddedBroker
from shared.errors import BrokerError
from shared.publisher import Publisher
from shared.settings import Settings
from tests.fakes.servers import free_port
from tests.fakes.sides import wait_until

# MQTT 3.1.1, chapter 3.
PING, GOODBYE = b"\xc0\x00", b"\xe0\x00"
SUBSCRIBE_ALL = b"\x82\x06\x00\x01\x00\x01#\x01"
ENOUGH_TO_FILL_EVERY_BUFFER = 8_000_000


def introduction(name):
    rest = b"\x00\x04MQTT\x04\x02\x00\x3c" + struct.pack("!H", len(name)) + name
    return b"\x10" + bytes([len(rest)]) + rest


def message(payload, packet_id=1):
    """Topic `t`, at least once."""
    rest = b"\x00\x01t" + struct.pack("!H", packet_id) + payload
    length, left = b"", len(rest)
    while left > 127:
        length, left = length + bytes([left % 128 | 128]), left // 128
    return b"\x32" + length + bytes([left]) + rest


def linked(port, end):
    return end.enter_context(socket.create_connection(("127.0.0.1", port)))


def introduced(port, end, name=b"one"):
    link = linked(port, end)
    link.sendall(introduction(name))
    assert link.recv(4) == b"\x20\x02\x00\x00"
    return link


def hang_up(link):
    with suppress(OSError):
        link.shutdown(socket.SHUT_RDWR)


def reset(link):
    link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    link.close()


def who_does_nothing(port, end):
    introduced(port, end)


def who_says_nothing(port, end):
    linked(port, end)


def who_left_without_a_word(port, end):
    linked(port, end).close()


def who_waits_for_the_first_answer(port, end):
    linked(port, end).sendall(introduction(b"one"))


def who_says_goodbye(port, end):
    introduced(port, end).sendall(GOODBYE)


def who_left_before_the_last_answer(port, end):
    """The answer meets a closed port, so the link is reset after its orderly end: what CI stumbled over."""
    link = introduced(port, end)
    link.sendall(message(b"x") + GOODBYE)
    link.close()


def who_resets_the_link(port, end):
    reset(introduced(port, end))


def who_resets_the_link_half_closed(port, end):
    link = introduced(port, end)
    link.sendall(PING + GOODBYE)
    link.shutdown(socket.SHUT_WR)
    reset(link)


def who_does_not_read(port, end):
    introduced(port, end, b"slow").sendall(SUBSCRIBE_ALL)
    fast = introduced(port, end, b"fast")
    part = b"x" * 1_000_000
    for packet_id in range(1, ENOUGH_TO_FILL_EVERY_BUFFER // len(part) + 1):
        fast.sendall(message(part, packet_id))
        assert fast.recv(4)


def who_are_busy(port, end):
    def sends(link):
        with suppress(OSError):
            while True:
                link.sendall(message(b"x" * 100))
                time.sleep(0.002)

    def reads(link):
        with suppress(OSError):
            while link.recv(4096):
                pass

    links = [introduced(port, end, name) for name in (b"one", b"two", b"three")]
    for link in links:
        link.sendall(SUBSCRIBE_ALL)
        for work in (sends, reads):
            thread = threading.Thread(target=work, args=(link,))
            thread.start()
            end.callback(thread.join)
        end.callback(hang_up, link)
    time.sleep(0.02)


def who_keep_coming(port, end):
    over = threading.Event()

    def come():
        while not over.is_set():
            with socket.socket() as link:
                link.setblocking(False)  # a full queue would have us wait a second
                link.connect_ex(("127.0.0.1", port))

    thread = threading.Thread(target=come)
    thread.start()
    end.callback(thread.join)
    end.callback(over.set)
    time.sleep(0.005)


def who_publish_as_we_do(port, _end):
    with Publisher(Settings(broker_port=port), "door") as door:
        door.publish("t", "x")
        door.wait_acknowledged()


@contextmanager
def nothing_left_behind():
    """What Python would complain of much later, in somebody else's test, is complained of here."""
    complaints = []
    threads = set(threading.enumerate())
    hook, sys.unraisablehook = sys.unraisablehook, lambda news: complaints.append(repr(news.exc_value))
    try:
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            gc.collect()
            for earlier in (warned, complaints):
                earlier.clear()
            yield
            gc.collect()
    finally:
        sys.unraisablehook = hook
    assert [str(warning.message) for warning in warned] + complaints == []
    assert set(threading.enumerate()) <= threads


@pytest.mark.parametrize(
    ("clients", "rounds"),
    [
        (who_does_nothing, 20),
        (who_says_nothing, 20),
        (who_left_without_a_word, 20),
        (who_waits_for_the_first_answer, 20),
        (who_says_goodbye, 20),
        (who_left_before_the_last_answer, 20),
        (who_resets_the_link, 20),
        (who_resets_the_link_half_closed, 20),
        (who_does_not_read, 3),
        (who_are_busy, 5),
        (who_keep_coming, 10),
        (who_publish_as_we_do, 3),
    ],
)
def test_it_ends_clean_with_clients(clients, rounds, caplog):
    with nothing_left_behind():
        for _ in range(rounds):
            with ExitStack() as end:
                with EmbeddedBroker(free_port()) as broker:
                    clients(broker.port, end)
                assert asyncio.all_tasks(broker._loop) == set()
            del broker
    assert [record.getMessage() for record in caplog.records] == []


def test_a_link_that_its_client_has_left_does_not_stay_open():
    with nothing_left_behind(), ExitStack() as end, EmbeddedBroker(free_port()) as broker:
        process = psutil.Process()
        open_before = process.num_fds()
        for leaves in (who_left_without_a_word, who_left_before_the_last_answer, who_resets_the_link):
            for _ in range(20):
                leaves(broker.port, end)
        wait_until(lambda: process.num_fds() == open_before)
        del broker


def test_it_ends_clean_where_the_port_is_taken():
    with nothing_left_behind(), socket.create_server(("127.0.0.1", 0)) as other:
        for _ in range(10):
            with pytest.raises(BrokerError, match="cannot listen on"), EmbeddedBroker(other.getsockname()[1]):
                pass
