import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.intake import DeviceStatus, Intake, Memory, rejects_after, take_in
from collector.topics import router_of
from shared.errors import InvalidArgument
from shared.farm_file import parse_farm
from shared.readings import Quality, Reading, RejectKind
from shared.requests import Acknowledge, encode
from shared.units import to_si
from tests.fakes.knoll import FARM, NOW_MS, ROUTER, TEXT, reading_of, reason_of, told


@pytest.mark.parametrize(
    "payload", ["24.5", '"24.5"', {"value": 24.5}, {"value": "24.5", "unit": "inHg", "seq": 7}]
)
def test_a_bare_number_and_an_object_with_a_value_say_the_same(payload):
    reading = reading_of(told("lantern/knob/ledge-vacuum", payload))
    assert reading == Reading(
        "ledge-vacuum", NOW_MS, pytest.approx(to_si(24.5, "inHg")), NOW_MS, Quality.STAMPED_ON_ARRIVAL
    )


@pytest.mark.parametrize(
    "time",
    ["2026-03-02T04:00:00Z", "2026-03-01T23:00:00-05:00", 1_772_424_000, 1_772_424_000_000, "1772424000"],
)
def test_a_time_in_the_payload_is_the_readings_own(time):
    reading = reading_of(told("lantern/knob/ledge-vacuum", {"value": 24.5, "time": time}))
    assert (reading.measured_ms, reading.quality) == (1_772_424_000_000, Quality.GOOD)


def test_nested_json_with_status_words_and_numbers_as_text_is_read_by_pointers():
    """The shape that common open sensor firmware publishes."""
    payload = {
        "Time": "2026-03-02T04:05:01",
        "Epoch": 1_772_424_301,
        "MAX6675": {"ProbeTemp": "812.3", "Status": "OK"},
        "DS18B20": {"Id": "0119", "Temperature": 3.4},
        "TempUnit": "C",
    }
    stack, shed = told("tele/arch/SENSOR", payload).readings
    assert (stack.sensor, stack.value) == ("stack", pytest.approx((812.3 - 32) / 1.8))
    assert stack.quality is Quality.STAMPED_ON_ARRIVAL
    assert (shed.sensor, shed.value, shed.measured_ms) == ("shed", 3.4, 1_772_424_301_000)


def test_what_a_message_does_not_mention_is_not_refused():
    intake = told("tele/arch/SENSOR", {"MAX6675": {"ProbeTemp": 800}})
    assert [r.sensor for r in intake.readings] == ["stack"]
    assert intake.rejects == ()


def test_a_message_that_mentions_no_sensor_of_its_topic_is_refused():
    assert "nothing at /MAX6675/ProbeTemp, /DS18B20/Temperature" in reason_of(
        told("tele/arch/SENSOR", {"Uptime": 5})
    )


def test_one_bad_value_does_not_take_the_good_one_of_the_same_message_with_it():
    payload = b'{"MAX6675":{"ProbeTemp":"unavailable"},"DS18B20":{"Temperature":3.4}}'
    intake = told("tele/arch/SENSOR", payload)
    assert [r.sensor for r in intake.readings] == ["shed"]
    (reject,) = intake.rejects
    assert reject.reason == "stack: 'unavailable' is no number"
    assert reject.payload == payload


@pytest.mark.parametrize(
    ("topic", "payload", "kind", "sensor"),
    [
        ("lantern/knob/ledge-vacuum", {"value": 45}, RejectKind.OUT_OF_RANGE, "ledge-vacuum"),
        ("lantern/knob/ledge-vacuum", {"value": 20, "unit": "degF"}, RejectKind.WRONG_UNIT, "ledge-vacuum"),
        ("lantern/knob/ledge-vacuum", {"value": 20, "unit": "cubit"}, RejectKind.WRONG_UNIT, "ledge-vacuum"),
        ("lantern/knob/ledge-vacuum", {"value": None}, RejectKind.UNREADABLE, "ledge-vacuum"),
        ("lantern/knob/ledge-vacuum", b"{", RejectKind.UNREADABLE, "ledge-vacuum"),
        ("lantern/knob/ledge-vacuum", {"value": 20, "time": 12}, RejectKind.CLOCK_NOT_SET, "ledge-vacuum"),
        (
            "lantern/knob/ledge-vacuum",
            {"value": 20, "time": NOW_MS / 1000 + 900},
            RejectKind.CLOCK_AHEAD,
            "ledge-vacuum",
        ),
        (
            "lantern/knob/ledge-vacuum",
            {"value": 20, "time": NOW_MS / 1000 - 61 * 86_400},
            RejectKind.LONG_PAST,
            "ledge-vacuum",
        ),
        ("tele/arch/SENSOR", b"garbage", RejectKind.UNREADABLE, None),
        ("somebody/elses", 20, RejectKind.OTHER, None),
        ("lantern/knob/request", b"garbage", RejectKind.OTHER, None),
    ],
)
def test_a_reject_says_of_what_kind_it_is_and_about_which_sensor(topic, payload, kind, sensor):
    (reject,) = told(topic, payload).rejects
    assert (reject.kind, reject.sensor) == (kind, sensor)


def test_a_retained_value_without_a_time_is_no_fault_of_its_sensor():
    (reject,) = told("lantern/knob/ledge-vacuum", 20, retain=True).rejects
    assert (reject.kind, reject.sensor) == (RejectKind.UNTIMED, "ledge-vacuum")


def test_rejects_are_placed_among_the_readings_they_came_with():
    good, bad = told("lantern/knob/ledge-vacuum", 20), told("lantern/knob/ledge-vacuum", 45)
    assert rejects_after([bad, good, bad, bad, good]) == [0, 1, 1]


@pytest.mark.parametrize(
    ("word", "value"), [('"ON"', 1.0), ('"off"', 0.0), ("true", 1.0), ("1", 1.0), ('"0"', 0.0)]
)
def test_a_machine_runs_or_stands(word, value):
    assert reading_of(told("tele/pump/STATE", f'{{"POWER":{word}}}')).value == value


def test_a_switch_word_is_no_number_for_anything_but_a_machine():
    assert "is no number" in reason_of(told("lantern/knob/air", "true"))


@pytest.mark.parametrize(
    "payload", ["NaN", '"NaN"', "unavailable", "null", "", '""', '{"value":null}', "\xff", "{}"]
)
def test_what_is_no_value_is_kept_as_a_reject_with_its_bytes(payload):
    raw = payload.encode("latin-1")
    intake = told("lantern/knob/air", raw)
    assert reason_of(intake)
    assert intake.rejects[0].payload == raw


def test_a_senml_pack_is_shared_out_by_the_names_of_its_records():
    pack = [
        {
            "bn": "urn:dev:mac:0024befffe804ff1/",
            "bt": 1_772_424_300,
            "n": "barometer",
            "u": "Pa",
            "v": 96_500,
        },
        {"n": "mast-temperature", "u": "Cel", "t": -60, "v": -2.5},
        {"n": "mast-temperature", "u": "Cel", "v": -2.4},
        {"n": "battery", "u": "V", "v": 3.6},
    ]
    intake = told("senml/mast", pack)
    assert intake.rejects == ()
    assert [(r.sensor, r.measured_ms, r.value, r.quality) for r in intake.readings] == [
        ("barometer", 1_772_424_300_000, 96_500.0, Quality.GOOD),
        ("mast-temperature", 1_772_424_240_000, -2.5, Quality.GOOD),
        ("mast-temperature", 1_772_424_300_000, -2.4, Quality.GOOD),
    ]


def test_a_lone_sensor_is_given_a_pack_that_names_something_else():
    """RFC 8428, section 5.1.1, on the topic of one sensor."""
    reading = reading_of(told("lantern/knob/air", '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'))
    assert reading.value == pytest.approx(23.1 * 1.1 - 0.5)
    assert reading.quality is Quality.STAMPED_ON_ARRIVAL


def test_a_pack_that_names_nobody_of_a_shared_topic_says_which_names_it_has():
    intake = told("senml/mast", [{"n": "wind", "u": "m/s", "v": 3}])
    assert [r.reason for r in intake.rejects] == [
        "barometer: no record is named barometer; names: wind",
        "mast-temperature: no record is named mast-temperature; names: wind",
    ]


def test_a_relative_time_rests_on_arrival_and_is_marked_so():
    reading = reading_of(told("lantern/knob/air", [{"n": "air", "t": -30, "v": 1.0}]))
    assert (reading.measured_ms, reading.quality) == (NOW_MS - 30_000, Quality.STAMPED_ON_ARRIVAL)


def test_a_request_passes_as_what_it_asks():
    request = Acknowledge("r1", "Ann", NOW_MS, "vacuum-lost/ledge")
    assert told("lantern/knob/request", encode(request)) == Intake(requests=(request,))


def test_a_request_that_cannot_be_read_or_is_retained_is_refused():
    assert "kind must be" in reason_of(told("lantern/knob/request", {"id": "1", "by": "a", "time": NOW_MS}))
    request = encode(Acknowledge("r1", "Ann", NOW_MS, "x"))
    assert "retained" in reason_of(told("lantern/knob/request", request, retain=True))


def test_a_canary_passes_with_its_token():
    assert told("lantern/knob/canary", "drain 1") == Intake(canaries=("drain 1",))


@pytest.mark.parametrize(("word", "online"), [("online", True), ("Offline", False)])
def test_a_device_says_whether_it_is_there(word, online):
    status = DeviceStatus("ledge-node", online, NOW_MS)
    assert told("lantern/knob/ledge-node/status", word, retain=True) == Intake(statuses=(status,))


def test_a_device_status_in_other_words_is_refused():
    assert "online or offline" in reason_of(told("lantern/knob/ledge-node/status", "sleeping"))


def test_the_collectors_own_status_is_nothing_to_it():
    assert told("lantern/knob/collector/status", "online") == Intake()


def test_a_topic_nobody_claims_is_refused_by_name():
    assert "no sensor" in reason_of(told("lantern/knob/attic", "1"))


def test_the_filters_cover_every_topic_once():
    text = (
        TEXT
        + '[[sensor]]\nid = "lamp"\nquantity = "battery"\nunit = "V"\ntopic = "lantern/knob/lamp/status"\n'
    )
    filters = router_of(parse_farm(text)).filters
    assert len(filters) == len(set(filters))
    assert {"lantern/knob/canary", "lantern/knob/request", "lantern/knob/+/status", "senml/mast"} <= set(
        filters
    )
    assert "lantern/knob/lamp/status" not in filters, "it is under the statuses already"


@pytest.mark.parametrize("topic", ["a/#", "+/b", "", "lantern/knob/canary", "lantern/knob/request"])
def test_a_sensors_topic_is_one_topic_and_its_own(topic):
    farm = parse_farm(
        TEXT + f'[[sensor]]\nid = "lamp"\nquantity = "battery"\nunit = "V"\ntopic = "{topic}"\n'
    )
    with pytest.raises(InvalidArgument, match="sensor lamp: topic"):
        router_of(farm)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda x: (
        st.lists(x, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                [
                    "value",
                    "unit",
                    "time",
                    "bn",
                    "bt",
                    "n",
                    "v",
                    "t",
                    "u",
                    "bver",
                    "MAX6675",
                    "ProbeTemp",
                    "a_",
                ]
            )
            | st.text(max_size=4),
            x,
            max_size=5,
        )
    ),
    max_leaves=12,
)
TOPICS = st.sampled_from(
    [
        *ROUTER.sensors_by_topic,
        "lantern/knob/canary",
        "lantern/knob/request",
        "lantern/knob/x/status",
        "x",
        "",
    ]
)


@settings(max_examples=400, deadline=None)
@given(
    TOPICS,
    st.binary(max_size=60) | JSON.map(lambda value: json.dumps(value).encode()),
    st.booleans(),
    st.none() | st.integers(0, NOW_MS),
)
def test_no_message_raises_and_every_one_is_kept_as_something(topic, payload, retain, waiting_since_ms):
    memory = Memory()
    intake = take_in(ROUTER, memory, topic, payload, NOW_MS, retain=retain, waiting_since_ms=waiting_since_ms)
    assert intake != Intake()
    for reading in intake.readings:
        facts = FARM.sensor_by_id[reading.sensor].facts
        assert facts.low <= reading.value <= facts.high
        assert reading.measured_ms <= NOW_MS + 300_000
    for reject in intake.rejects:
        assert "Lantern's own fault" not in reject.reason
        assert reject.payload == payload
        assert 0 < len(reject.reason) <= 360
