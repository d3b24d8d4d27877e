"""Messages a second stored and acknowledged, beside a bare subscriber and a naive script; text delay; disk per reading.

Run: python tests/benchmarks/main_path.py [COUNT]. Needs mosquitto. All in one run, on the broker configuration
that we ship; the three are measured in turn, three times, and the medians are printed.

- bare: a paho subscriber that acknowledges and does nothing else; MQTT 5, kept session, as the collector's.
- naive: a paho subscriber that inserts and commits each message (WAL, synchronous=FULL) before it acknowledges.
- lantern: `lantern collect` as a process: decoded, checked, stored, acknowledged; what it folds into estimates and
  judges by rules meanwhile, and after the last message, is its own business, and said as the second figure.
"""

import json
import os
import sqlite3
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import psutil
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

sys.path.insert(0, str(Path(__file__).parents[2]))

from collector.daemon import PROVEN
from shared.clock import system_clock
from shared.farm_file import parse_farm
from shared.publisher import Publisher
from shared.readings import PLAUSIBLE
from shared.settings import Settings
from shared.units import from_si
from tests.fakes.phones import HttpPhone
from tests.fakes.servers import Mosquitto
from tests.fakes.sides import side

ROOT = Path(__file__).parents[2]
FARM_TEXT = (ROOT / "sample_streams/juniper-knob.toml").read_text()
ROUNDS = 3


def messages(count):
    """The demo farm's sensors in turn, as JSON with a time, ten seconds apart each, ending now."""
    farm = parse_farm(FARM_TEXT)
    plain = [s for s in farm.sensors if s.topic is None and s.span is None and s.mount_height_m is None]
    rounds = count // len(plain) + 1
    start_ms = system_clock() - rounds * 10_000
    made = []
    for number in range(count):
        sensor = plain[number % len(plain)]
        fact = PLAUSIBLE[sensor.quantity]
        usual = {"vacuum": 83_000, "air_pressure": 96_000, "level": 5_000 if sensor.unit == "kPa" else 0.4}
        value = usual.get(sensor.quantity, (fact.low + fact.high) / 4) + (number * 7919 % 100) / 1000
        at_s = (start_ms + number // len(plain) * 10_000) / 1000
        shown = from_si(value, sensor.unit)
        made.append((farm.topic_of(sensor), json.dumps({"value": round(shown, 3), "time": at_s}).encode()))
    return made


def publish(broker, made):
    with Publisher(Settings(broker_port=broker.port), "benchmark") as door:
        for topic, payload in made:
            door.publish(topic, payload)
        door.wait_acknowledged()


def script(broker, made, on_each):
    """Seconds a paho subscriber with a kept session takes for a backlog of all messages."""
    done = threading.Event()
    seen = [0]

    def on_message(client, _, message):
        on_each(message)
        client.ack(message.mid, message.qos)
        seen[0] += 1
        if seen[0] == len(made):
            done.set()

    def connected():
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id="script",
            protocol=MQTTProtocolVersion.MQTTv5,
            manual_ack=True,
        )
        subscribed = threading.Event()
        client.on_message = on_message
        client.on_connect = lambda c, *_: c.subscribe("#", qos=1)
        client.on_subscribe = lambda *_: subscribed.set()
        # As the collector connects: MQTT 5 and a session that is kept.
        kept = Properties(PacketTypes.CONNECT)
        kept.SessionExpiryInterval = 3600
        client.connect("127.0.0.1", broker.port, clean_start=False, properties=kept)
        client.loop_start()
        subscribed.wait(10)
        return client

    connected().loop_stop()
    # The first client is dropped without a goodbye, so that its session keeps what is published meanwhile.
    publish(broker, made)
    begin_s = time.monotonic()
    client = connected()
    done.wait(600)
    took_s = time.monotonic() - begin_s
    client.disconnect()
    client.loop_stop()
    return took_s


def bare(made, _folder):
    with Mosquitto() as broker:
        return script(broker, made, lambda _message: None)


def naive(made, folder):
    path = folder / "naive.sqlite"
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE reading (topic TEXT, t REAL, value REAL, PRIMARY KEY (topic, t))")

    def store(message):
        if message.topic.startswith("$"):
            return
        said = json.loads(message.payload)
        row = (message.topic, said["time"], said["value"])
        connection.execute("INSERT OR IGNORE INTO reading VALUES (?, ?, ?)", row)

    with Mosquitto() as broker:
        took_s = script(broker, made, store)
    connection.close()
    path.unlink()
    return took_s


def lantern(made, folder):
    """Seconds from the start of the backlog's delivery to its last reading being in the store."""
    with HttpPhone() as phone, Mosquitto() as broker:
        (folder / "farm.toml").write_text(FARM_TEXT)
        store = folder / "lantern.sqlite"
        settings = {"broker_port": broker.port, "store_file": store}
        urls = {"juniper_owner_url": phone.url, "juniper_neighbour_url": phone.url}
        environment = settings | {"farm_file": folder / "farm.toml"}
        os.environ.update({name.upper(): url for name, url in urls.items()})
        with side(["collect"], folder, **environment) as collector:
            collector.wait_until_said(PROVEN)
            collector.kill()
            publish(broker, made)
            before = collector.said().count(PROVEN)
            collector.start()
            collector.wait_until_said("broker: connected", count=2)
            begin_s = time.monotonic()
            wait_stored(store, len(made))
            took_s = time.monotonic() - begin_s
            assert before == 1
            rss_mb = psutil.Process(collector.pid).memory_info().rss / 1e6
        size = store.stat().st_size
        for left in folder.glob("lantern.sqlite*"):
            left.unlink()
        (folder / "collect.log").unlink()
        return took_s, rss_mb, size / len(made)


def wait_stored(store, count):
    with sqlite3.connect(f"file:{store}?mode=ro", uri=True) as connection:
        while True:
            # The last number given out: counting rows would itself keep the machine busy.
            stored = sum(
                n for (n,) in connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'inbox'")
            )
            if stored >= count:
                break
            time.sleep(0.02)
    connection.close()


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    made = messages(count)
    figures = {"bare": [], "naive": [], "lantern": []}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for _ in range(ROUNDS):
            figures["bare"].append(bare(made, folder))
            figures["naive"].append(naive(made, folder))
            took_s, rss_mb, size = lantern(made, folder)
            figures["lantern"].append(took_s)
    rates = {name: count / statistics.median(seconds) for name, seconds in figures.items()}
    print(f"{count} messages, median of {ROUNDS}")
    for name, rate in rates.items():
        print(f"  {name:8} {rate:8.0f} messages/s   {rate / rates['bare']:5.2f} of bare")
    print(f"  collector {rss_mb:.0f} MB resident; {size:.0f} bytes on disk a reading")


if __name__ == "__main__":
    main()
