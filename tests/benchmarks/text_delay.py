"""Time from a sensor's message to the text on the phone: python tests/benchmarks/text_delay.py. Needs mosquitto.

Twenty tanks, one after the other, pass 95 % while the collector listens; raising is not held, so what is measured is
the path: broker, decode, commit, rule, outbox, channel, HTTP server. Baseline in the same run: the same post sent by
hand to the same server, and the round trip of a message through the broker alone.
"""

import json
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.request import Request, urlopen

sys.path.insert(0, str(Path(__file__).parents[2]))

from collector.daemon import PROVEN
from shared.publisher import Publisher
from shared.settings import Settings
from tests.fakes.phones import HttpPhone
from tests.fakes.servers import Mosquitto
from tests.fakes.sides import side

COUNT = 20


def farm(url):
    parts = [
        '[farm]\nid = "knoll"\nname = "Knoll"\ntimezone = "America/New_York"\nelevation_ft = 1450\n',
        "[rules.tank_nearly_full]\nraise_hold_s = 0\n",
        f'[[contact]]\nid = "owner"\nname = "Wren"\nchannel = [{{ id = "push", url = "{url}" }}]\n',
    ]
    parts += [
        (
            f'[[tank]]\nid = "tank-{number}"\nshape = "box"\nlength_ft = 10\nwidth_ft = 5\nheight_ft = 4\n'
            f'[[sensor]]\nid = "level-{number}"\nquantity = "level"\nunit = "in"\ntank = "tank-{number}"\n'
        )
        for number in range(COUNT)
    ]
    return "".join(parts)


def said(name, seconds):
    ordered = sorted(seconds)
    print(
        f"  {name:28} median {statistics.median(ordered):.3f} s, worst {ordered[-1]:.3f} s, n = {len(ordered)}"
    )


def main():
    delays, broker_trips, posts = [], [], []
    with tempfile.TemporaryDirectory() as name, HttpPhone() as phone, Mosquitto() as broker:
        folder = Path(name)
        (folder / "farm.toml").write_text(farm(phone.url))
        with (
            side(["collect"], folder, broker_port=broker.port) as collector,
            Publisher(Settings(broker_port=broker.port), "benchmark") as door,
        ):
            collector.wait_until_said(PROVEN)
            back = threading.Event()
            door.hear(["trip"], lambda *_: back.set())
            time.sleep(1.0)
            for number in range(COUNT):
                begin_s = time.monotonic()
                door.publish(f"lantern/knoll/level-{number}", json.dumps({"value": 46.5}).encode())
                phone.inbox.wait_for(number + 1)
                delays.append(time.monotonic() - begin_s)
                back.clear()
                begin_s = time.monotonic()
                door.publish("trip", b"")
                back.wait(10)
                broker_trips.append(time.monotonic() - begin_s)
                time.sleep(0.2)
        for _ in range(COUNT):
            begin_s = time.monotonic()
            body = json.dumps({"message": "by hand"}).encode()
            address = phone.url.replace("json://", "http://")
            urlopen(Request(address, body, {"Content-Type": "application/json"})).close()
            posts.append(time.monotonic() - begin_s)
    print(f"{COUNT} readings that cross a line, no hold")
    said("message to text", delays)
    said("broker round trip alone", broker_trips)
    said("HTTP post alone", posts)


if __name__ == "__main__":
    main()
