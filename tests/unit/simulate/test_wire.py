import json
from collections import Counter

import pytest

from collector.intake import Memory, take_in
from collector.simulate.wire import stream_line
from collector.topics import router_of
from shared.streams import read_stream, write_message
from tests.fakes.seasons import MILD, START_MS, farm, told

FORMS = """
[payloads]
barometer = "senml"
air = "bare"
shed = "text"
pump-temperature = "text"
pump-running = "text"
"""


def of(messages, topic):
    return [m for m in messages if m.topic.endswith(topic)]


def readings_of(messages):
    router, memory = router_of(farm()), Memory()
    return [take_in(router, memory, m.topic, m.payload.encode(), m.t_ms) for m in messages]


def test_sensors_speak_every_form_the_collector_reads():
    messages, _ = told(MILD + FORMS, hours=1)
    assert json.loads(of(messages, "/brook-near")[0].payload).keys() == {"value", "unit", "time"}
    assert json.loads(of(messages, "/barometer")[0].payload)[0].keys() == {"bn", "n", "u", "v", "t"}
    assert float(of(messages, "/air")[0].payload) == pytest.approx(39.9, abs=2)
    assert of(messages, "/pump-running")[0].payload == "on"
    node = json.loads(of(messages, "ledge-far/up")[0].payload)
    assert node["ports"][0]["vac_kpa"] == pytest.approx(82, abs=2)
    assert node["batt"]["mv"] == pytest.approx(3620, abs=40)
    relay = json.loads(of(messages, "SENSOR")[0].payload)
    assert isinstance(relay["DS18B20-1"]["Temperature"], str)
    assert relay["Time"].startswith("2026-03-22T12:00:")


def test_every_message_is_taken_in_without_a_reject():
    messages, _ = told(MILD + FORMS, hours=1)
    taken = readings_of(messages)
    assert [reject for intake in taken for reject in intake.rejects] == []
    heard = {reading.sensor for intake in taken for reading in intake.readings}
    assert heard == set(farm().sensor_by_id)


def test_a_stream_line_is_what_the_stream_writer_writes():
    messages, _ = told(MILD + FORMS, hours=1)
    lines = [stream_line(message) for message in messages]
    read = list(read_stream(lines))
    assert [write_message(message) for message in read] == lines
    assert [(m.at_ms, m.topic, m.payload.decode()) for m in read] == [m[:3] for m in messages]


def test_messages_come_in_order_and_once_on_an_ordinary_day():
    messages, truth = told(MILD, hours=1)
    assert list(messages) == sorted(messages, key=lambda m: m.t_ms)
    assert max(Counter(m[1:3] for m in of(messages, "/brook-near")).values()) == 1
    assert truth.message_count == len(messages)


def test_duplicates_and_late_messages_come_as_often_as_told():
    text = MILD + "[link]\nduplicate_percent = 5\nlate_percent = 5\nlate_s = 120\n"
    messages, truth = told(text, hours=3)
    timed = of(messages, "/brook-near") + of(messages, "/saddle-near")
    repeats = len(timed) - len({m[1:3] for m in timed})
    assert repeats / len(timed) == pytest.approx(0.05, abs=0.02)
    assert truth.duplicate_count / len(messages) == pytest.approx(0.05, abs=0.01)
    times = [json.loads(m.payload)["time"] for m in of(messages, "/brook-near")]
    assert times != sorted(times)


def test_an_outage_keeps_messages_and_sends_them_in_a_rush():
    outage = (
        '[[event]]\nkind = "link_outage"\nsensors = ["brook-near"]\nat_h = 1\nfor_h = 1\nbacklog_per_s = 10\n'
    )
    messages, _ = told(MILD + outage, hours=3)
    arrivals_s = [(m.t_ms - START_MS) / 1000 for m in of(messages, "/brook-near")]
    assert len(arrivals_s) == 3 * 120
    assert not [at_s for at_s in arrivals_s if 3601 < at_s < 7200]
    assert 115 <= sum(7200 <= at_s < 7213 for at_s in arrivals_s) <= 125
    whole = {m.payload for m in of(told(MILD, hours=3)[0], "/brook-near")}
    assert len({m.payload for m in of(messages, "/brook-near")}) == len(whole)
    others = [
        m for m in messages if m.topic.endswith("/saddle-near") and 3700 < (m.t_ms - START_MS) / 1000 < 7100
    ]
    assert len(others) > 100


def test_an_outage_that_loses_messages_counts_them():
    outage = '[[event]]\nkind = "link_outage"\nlost = true\nat_h = 1\nfor_h = 1\n'
    messages, truth = told(MILD + outage, hours=3)
    whole = len(told(MILD, hours=3)[0])
    assert truth.lost_count == whole - len(messages)
    assert truth.lost_count == pytest.approx(whole / 3, rel=0.02)


def test_a_clock_that_is_ahead_stamps_the_future():
    fault = (
        '[[event]]\nkind = "sensor_fault"\nsensor = "brook-near"\nat_h = 1\n'
        'fault = "clock_off"\nclock_off_h = 2\n'
    )
    messages, _ = told(MILD + fault, hours=2)
    first, last = (json.loads(of(messages, "/brook-near")[i].payload)["time"] for i in (0, -1))
    assert first.startswith("2026-03-22T12:00")
    assert last.startswith("2026-03-22T15:59")


def test_a_node_that_is_silent_in_part_says_null():
    fault = '[[event]]\nkind = "sensor_fault"\nsensor = "ledge-battery"\nfault = "dropout"\nat_h = 0.5\n'
    messages, _ = told(MILD + fault, hours=1)
    assert json.loads(of(messages, "ledge-far/up")[-1].payload)["batt"]["mv"] is None
