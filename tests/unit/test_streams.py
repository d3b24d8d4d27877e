import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import InvalidArgument, StreamError
from shared.streams import (
    Extent,
    StreamMessage,
    extent_of,
    merged,
    offset_ms,
    read_stream,
    starting_at,
    write_message,
)


def read(*lines):
    return list(read_stream(lines))


def test_offsets_and_times_are_both_read():
    assert read('{"t": 12.5, "topic": "a", "payload": "1"}') == [StreamMessage(12_500, "a", b"1")]
    assert read('{"t": "2026-03-02T04:05:06Z", "topic": "a", "payload": "1"}') == [
        StreamMessage(1_772_424_306_000, "a", b"1", is_absolute=True)
    ]


@pytest.mark.parametrize(
    ("written", "payload"),
    [
        ('"812"', b"812"),
        ("812", b"812"),
        ('"on"', b"on"),
        ('{"value": 31.2, "unit": "in"}', b'{"value":31.2,"unit":"in"}'),
        ('"{\\"value\\": 31.2}"', b'{"value": 31.2}'),
        ('"4 °C"', "4 °C".encode()),
        ("null", b"null"),
    ],
)
def test_a_payload_is_text_or_the_compact_text_of_a_json_value(written, payload):
    (message,) = read(f'{{"t": 0, "topic": "a", "payload": {written}}}')
    assert message.payload == payload


def test_bytes_that_are_no_text_are_kept_too():
    line = write_message(StreamMessage(0, "a", b"\xff\x00"))
    assert json.loads(line) == {"t": 0.0, "topic": "a", "payload_base64": "/wA="}
    assert read(line) == [StreamMessage(0, "a", b"\xff\x00")]


def test_json_is_written_as_json_where_that_is_the_same_byte_for_byte():
    assert '"payload":{"value":1}' in write_message(StreamMessage(0, "a", b'{"value":1}'))
    assert '"payload":"{\\"value\\": 1}"' in write_message(StreamMessage(0, "a", b'{"value": 1}'))


MESSAGES = st.builds(
    StreamMessage,
    at_ms=st.integers(0, 366 * 86_400_000),
    topic=st.text(st.characters(codec="utf-8", exclude_characters="+#\0"), min_size=1, max_size=20),
    payload=st.binary(max_size=30)
    | st.text().map(str.encode)
    | st.recursive(
        st.floats() | st.integers() | st.text(), lambda x: st.lists(x) | st.dictionaries(st.text(), x)
    ).map(lambda value: json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()),
    qos=st.integers(0, 2),
    retain=st.booleans(),
    is_absolute=st.booleans(),
)


@given(MESSAGES)
def test_writing_and_reading_a_message_gives_it_back_byte_for_byte(message):
    line = write_message(message)
    assert "\n" not in line
    assert read(line) == [message]


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("nonsense", "not JSON"),
        ("[1]", "not an object"),
        ('{"topic": "a", "payload": "1"}', "t None is none; write seconds"),
        ('{"t": -1, "topic": "a", "payload": "1"}', "t -1 is none"),
        ('{"t": NaN, "topic": "a", "payload": "1"}', "t nan is none"),
        ('{"t": 1772424306, "topic": "a", "payload": "1"}', "t 1772424306 is none"),
        ('{"t": true, "topic": "a", "payload": "1"}', "t True is none"),
        ('{"t": "2026-03-02T04:05:06", "topic": "a", "payload": "1"}', "Z or an offset"),
        ('{"t": 0, "payload": "1"}', "topic None is none"),
        ('{"t": 0, "topic": "a/#", "payload": "1"}', "without \\+ or #"),
        ('{"t": 0, "topic": "a"}', "write either payload or payload_base64"),
        ('{"t": 0, "topic": "a", "payload": "1", "payload_base64": "MQ=="}', "write either"),
        ('{"t": 0, "topic": "a", "payload_base64": "&"}', "no base64"),
        ('{"t": 0, "topic": "a", "payload": "\\ud800"}', "half a character"),
        ('{"t": 0, "topic": "a", "payload": "1", "qos": 3}', "qos 3 is none; write 0, 1 or 2"),
        ('{"t": 0, "topic": "a", "payload": "1", "retain": 1}', "retain 1 is none"),
        ('{"t": 0, "topic": "a", "payload": "1", "colour": 1}', "unknown key 'colour'; known are"),
    ],
)
def test_a_line_that_cannot_be_read_is_named_with_how_to_mend_it(line, complaint):
    with pytest.raises(StreamError, match=f"^line 3: .*{complaint}"):
        read('{"t": 0, "topic": "a", "payload": "1"}', "", line)


@pytest.mark.parametrize(
    ("second", "complaint"),
    [("3.9", "goes back"), ('"2026-03-02T04:05:06Z"', "offset on others")],
)
def test_lines_out_of_order_or_of_two_kinds_are_refused(second, complaint):
    with pytest.raises(StreamError, match=f"line 2: .*{complaint}"):
        read('{"t": 4, "topic": "a", "payload": "1"}', f'{{"t": {second}, "topic": "a", "payload": "1"}}')


def test_streams_are_merged_in_order_of_time():
    one = [StreamMessage(0, "a", b""), StreamMessage(20, "a", b"")]
    two = [StreamMessage(10, "b", b""), StreamMessage(20, "b", b"")]
    assert [(m.at_ms, m.topic) for m in merged(one, two)] == [(0, "a"), (10, "b"), (20, "a"), (20, "b")]


def test_streams_of_times_and_of_offsets_do_not_merge():
    with pytest.raises(StreamError, match="use one"):
        list(merged([StreamMessage(0, "a", b"")], [StreamMessage(9, "b", b"", is_absolute=True)]))


def test_the_extent_of_a_stream_is_known_in_one_pass():
    extent = extent_of(iter([StreamMessage(10, "a", b""), StreamMessage(40, "a", b"")]))
    assert extent == Extent(10, 40, 2, is_absolute=False)
    assert extent.length_ms == 30


def test_an_empty_stream_has_no_extent():
    with pytest.raises(StreamError, match="empty"):
        extent_of(())


def night(*times_ms):
    return [StreamMessage(at_ms, "a", b"") for at_ms in times_ms]


def test_a_stream_may_be_started_at_an_offset_from_its_first_message():
    assert list(starting_at(night(5000, 6000, 7000), 1000)) == night(6000, 7000)
    assert list(starting_at(night(5000, 6000), 0)) == night(5000, 6000)


def test_an_offset_beyond_the_end_says_how_long_the_stream_is():
    with pytest.raises(StreamError, match="over after 2 s; start it earlier"):
        list(starting_at(night(5000, 7000), 2001))


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("41400", 41_400),
        ("11h30m", 41_400),
        ("90s", 90),
        ("2.5", 2.5),
        ("1d1s", 86_401),
        ("0", 0),
        ("5m", 300),
    ],
)
def test_an_offset_is_seconds_or_days_hours_minutes_and_seconds(text, seconds):
    assert offset_ms(text) == seconds * 1000


@pytest.mark.parametrize("text", ["", "-5", "30m11h", "1.5h", "noon", "11:30", "1h ", "١"])
def test_what_is_no_offset_is_refused(text):
    with pytest.raises(InvalidArgument, match="such as 11h30m"):
        offset_ms(text)
