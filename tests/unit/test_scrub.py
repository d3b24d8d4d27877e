"""A scrubbed recording: what was measured is all there, whose it was is not."""

import gzip
import json
from datetime import datetime
from itertools import islice
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from collector.intake import Memory, take_in
from collector.scrub import WEEK_MS, scrub, week_shift_ms
from collector.topics import router_of
from shared.errors import StreamError
from shared.farm_file import parse_farm
from shared.instants import instant_ms
from shared.requests import Acknowledge, LogKind, Shelve, WriteLog, decode, encode
from shared.streams import StreamMessage, read_stream, write_message
from shared.tuning.tanks import TankNearlyFull
from tests.fakes.hollow import FARM
from tests.fakes.knoll import knoll

SAMPLES = Path(__file__).parents[2] / "sample_streams"
START_MS = instant_ms("2026-03-31T04:05:06Z")
ROOT = "lantern/zebulon-hollow"
ASKED = (
    WriteLog(
        "id-quimby-1",
        "Zebulon",
        START_MS,
        LogKind.SAP_SUGAR,
        START_MS - 5000,
        tank="old-nellie",
        note="Ottoline dipped it",
        figures={"sugar_brix": 2.1},
    ),
    WriteLog("id-quimby-2", "Zebulon", START_MS, LogKind.LEAK_FOUND, START_MS, line="barnaby-ridge"),
    Shelve(
        "id-quimby-3",
        "Zebulon",
        START_MS,
        "vacuum_lost/barnaby-ridge",
        START_MS + 60_000,
        "Ottoline is there",
    ),
    Acknowledge("id-quimby-3", "Zebulon", START_MS, "tank_nearly_full/quimby-attic"),
)
SAID = [
    (f"{ROOT}/barnaby-far", b"22.50"),
    (f"{ROOT}/barnaby-far", (b'{"value":22.5,"unit":"inHg","time":"2026-03-31T04:05:06Z",'
     b'"ssid":"QuimbyNet","gps":[44.4321,-72.6543]}')),
    (f"{ROOT}/barnaby-far", b'{"value":"ask Ottoline","unit":"barnabies","time":"31.3.2026"}'),
    (f"{ROOT}/barnaby-far", b'{"value":null,"time":null}'),
    (f"{ROOT}/barnaby-far", b'{"time":"2026-03-31T04:05:06Z"}'),
    (f"{ROOT}/barnaby-far", (b'[{"bn":"zebulon-hollow/","bt":1774929906,"n":"barnaby-far",'
     b'"u":"inHg","v":22.25,"host":"quimby-pi"}]')),
    (f"{ROOT}/barnaby-far", b'[{"bn":"zebulon-hollow/"},{"n":"stranger","vs":"Ottoline","t":-5}]'),
    (f"{ROOT}/barnaby-far", b'{"value": Quimby'),
    (f"{ROOT}/barnaby-far", b"Quimby\xff"),
    (f"{ROOT}/barnaby-far", b"unavailable"),
    (f"{ROOT}/barnaby-far", b""),
    ("quimby/lora/eui-70b3d5", (b'{"nellies":{"stick":12.25,"warmth":{"value":3.5,"unit":"degC","time":1774929906},'
     b'"at":1774929906.5},"pass":"hunter2"}')),
    ("quimby/lora/eui-70b3d5", b'{"nellies":{"at":"yesterday in Quimby"}}'),
    (f"{ROOT}/quimby-node/status", b"online"),
    (f"{ROOT}/quimby-node/status", b"Quimby sleeps"),
    (f"{ROOT}/canary", b"drain lantern-zebulon-hollow 1 1774929906"),
    (f"{ROOT}/collector/status", b"online"),
    ("stranger/quimby", b"22"),
    (f"{ROOT}/request", b'{"kind":"log","by":"Zebulon"}'),
    *((f"{ROOT}/request", encode(request)) for request in ASKED),
]  # fmt: skip
MESSAGES = [
    StreamMessage(START_MS + i * 1000, topic, payload, i % 2, retain=i == 1, is_absolute=True)
    for i, (topic, payload) in enumerate(SAID)
]
TELLING = """zebulon hollow quimby ottoline barnaby nellie lora eui 70b3d5 stranger hunter2 ssid gps 44.4321
72.6543 8025550123 id- 2026 31.3 17749 sleeps attic host contact latitude yesterday canary""".lower().split()


@pytest.fixture(scope="module")
def scrubbed():
    messages, text = scrub(iter(MESSAGES), FARM)
    return list(messages), text


def test_nothing_of_whose_it_was_remains(scrubbed):
    messages, text = scrubbed
    written = "\n".join([*map(write_message, messages), text]).lower().encode()
    raw = b"\n".join(message.topic.encode() + message.payload for message in messages).lower()
    for word in TELLING:
        assert word.encode() not in written + raw, word


def test_those_words_were_there_before():
    tree = FARM.model_dump(mode="json", by_alias=True)
    before = "\n".join([*map(write_message, MESSAGES), str(tree)]).lower()
    assert [word for word in TELLING if word not in before] == []


def test_what_the_farm_file_does_not_know_is_left_out(scrubbed):
    assert len(scrubbed[0]) == len(MESSAGES) - 3


def test_times_move_by_whole_weeks_and_all_by_the_same(scrubbed):
    messages, _ = scrubbed
    kept = [m for m in MESSAGES if not m.topic.endswith(("canary", "collector/status", "stranger/quimby"))]
    (shift_ms,) = {now.at_ms - was.at_ms for was, now in zip(kept, messages, strict=True)}
    assert shift_ms % WEEK_MS == 0
    assert [(m.qos, m.retain) for m in messages] == [(m.qos, m.retain) for m in kept]


def readings(farm, messages):
    """What the collector makes of a recording: its readings, and how many messages were refused."""
    router, memory = router_of(farm), Memory()
    intakes = [take_in(router, memory, m.topic, m.payload, m.at_ms, retain=m.retain) for m in messages]
    place = {sensor.id: number for number, sensor in enumerate(farm.sensors)}
    taken = [(place[r.sensor], r.measured_ms, r.value, r.quality) for i in intakes for r in i.readings]
    return taken, [len(i.rejects) for i in intakes], [len(i.requests) for i in intakes]


def same_but_for_the_time(farm, messages):
    scrubbed, text = scrub(iter(messages), farm)
    scrubbed = list(scrubbed)
    kept = [m for m in messages if not m.topic.endswith(("canary", "collector/status", "stranger/quimby"))]
    before, rejects_before, requests_before = readings(farm, kept)
    after, rejects, requests = readings(parse_farm(text), scrubbed)
    shift_ms = scrubbed[0].at_ms - kept[0].at_ms
    assert after == [(s, at_ms + shift_ms, value, quality) for s, at_ms, value, quality in before]
    assert (rejects, requests) == (rejects_before, requests_before)
    return len(before), sum(rejects)


def test_the_collector_reads_the_same_from_it():
    assert same_but_for_the_time(FARM, MESSAGES) == (5, 11)


@pytest.mark.parametrize("name", ["faulty-sensors", "windstorm-ledge"])
def test_the_collector_reads_the_same_from_a_scrubbed_night(name):
    farm = parse_farm((SAMPLES / "juniper-knob.toml").read_text())
    with gzip.open(SAMPLES / f"{name}.jsonl.gz", "rt") as lines:
        messages = list(islice(read_stream(lines), 10_000))
    readings_count, _ = same_but_for_the_time(farm, messages)
    assert readings_count > 9000


def test_the_collector_reads_the_same_from_every_form_of_payload():
    farm, at_ms = knoll(), START_MS
    payloads = {
        "tele/arch/SENSOR": {"MAX6675": {"ProbeTemp": 812}, "DS18B20": {"Temperature": 4.5}, "Epoch": at_ms // 1000},
        "tele/pump/STATE": {"POWER": "ON", "Wifi": {"SSId": "Quimby"}},
        "senml/mast": [{"bn": "mast:", "bt": at_ms // 1000, "n": "barometer", "u": "hPa", "v": 960},
                       {"n": "mast-temperature", "u": "Cel", "v": 1.5, "t": -2}],
        "plc/lower": {"pressure": "4.25"},
        "lantern/knob/ledge-vacuum": {"value": 75, "unit": "kPa"},
        "lantern/knob/pump-vacuum": 12.5,
        "lantern/knob/air": {"value": "3.1", "unit": "°C", "time": str(at_ms)},
    }  # fmt: skip
    messages = [
        StreamMessage(at_ms + i, topic, json.dumps(payload).encode(), is_absolute=True)
        for i, (topic, payload) in enumerate(payloads.items())
    ]
    assert same_but_for_the_time(farm, messages) == (9, 0)


def test_requests_stay_what_they_ask_for(scrubbed):
    shift_ms = scrubbed[0][0].at_ms - START_MS
    asked = [decode(m.payload) for m in scrubbed[0][-4:]]
    at_ms = START_MS + shift_ms
    assert asked == [
        WriteLog(
            "request-1",
            "somebody",
            at_ms,
            LogKind.SAP_SUGAR,
            at_ms - 5000,
            tank="tank-2",
            figures={"sugar_brix": 2.1},
        ),
        WriteLog("request-2", "somebody", at_ms, LogKind.LEAK_FOUND, at_ms, line="line-2"),
        Shelve("request-3", "somebody", at_ms, "vacuum_lost/line-2", at_ms + 60_000, "left out"),
        Acknowledge("request-3", "somebody", at_ms, "tank_nearly_full/subject-0"),
    ]


def test_the_farm_is_the_same_but_for_names_places_and_people(scrubbed):
    farm = parse_farm(scrubbed[1])
    assert (farm.id, farm.name, farm.contacts, farm.latitude_deg) == ("farm-1", "A farm", (), None)
    assert [(line.id, line.parent, line.length_m, line.taps) for line in farm.lines] == [
        ("line-1", "pump", FARM.lines[0].length_m, 0),
        ("line-2", "line-1", FARM.lines[1].length_m, 410),
    ]
    assert [tank.geometry for tank in farm.tanks] == [tank.geometry for tank in FARM.tanks]
    assert farm.tanks[0].drains_to == "tank-2"
    assert farm.tuning(TankNearlyFull, farm.tanks[1]) == FARM.tuning(TankNearlyFull, FARM.tanks[1])
    assert (farm.ro.takes_from, farm.ro.concentrate_to, farm.evaporator.takes_from) == (
        ("tank-1",),
        "tank-2",
        "tank-2",
    )
    assert [s.topic for s in farm.sensors] == [None, "topics/topic-1", "topics/topic-1"]


@pytest.mark.parametrize(
    ("first", "zone"),
    [
        ("2026-03-02T04:05:06Z", "America/New_York"),
        ("2026-04-09T14:00:00Z", "America/New_York"),
        ("2019-01-01T00:00:00Z", "America/New_York"),
        ("2031-04-30T23:59:59Z", "Europe/Helsinki"),
        ("2026-03-02T04:05:06Z", "UTC"),
    ],
)
def test_weekday_and_hour_stay_and_the_year_does_not(first, zone):
    at_ms, zone = instant_ms(first), ZoneInfo(zone)
    before, after = (
        datetime.fromtimestamp(ms / 1000, zone) for ms in (at_ms, at_ms + week_shift_ms(at_ms, zone))
    )
    assert (after.weekday(), after.time(), after.utcoffset()) == (
        before.weekday(),
        before.time(),
        before.utcoffset(),
    )
    assert after.year == 2024


def test_two_recordings_of_any_season_begin_in_the_same_week():
    zone = ZoneInfo("America/New_York")
    weeks = {
        (at_ms + week_shift_ms(at_ms, zone)) // WEEK_MS
        for at_ms in (instant_ms(f"{year}-03-01T12:00:00Z") for year in range(2020, 2035))
    }
    assert len(weeks) <= 2  # weeks since 1970 begin on a Thursday, ours on a Monday


def test_a_stream_of_offsets_cannot_be_scrubbed():
    messages, _ = scrub([StreamMessage(0, f"{ROOT}/barnaby-far", b"1")], FARM)
    with pytest.raises(StreamError, match="not one of offsets"):
        list(messages)
