"""When the night brief is due and who gets it."""

from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.alerting.brief import LEAST_APART_S, brief_at_ms, brief_due, readers, when_words
from shared.errors import FarmFileError
from shared.farm_file import parse_farm

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS

NEW_YORK = (40.7128, -74.006, "America/New_York")
LONDON = (51.5074, -0.1278, "Europe/London")
FAIRBANKS = (64.84, -147.72, "America/Anchorage")
TROMSO = (69.65, 18.96, "Europe/Oslo")


def farm(place=NEW_YORK, brief="", contacts=("owner", "neighbour")):
    latitude_deg, longitude_deg, zone = place
    where = (
        "" if latitude_deg is None else f"latitude_deg = {latitude_deg}\nlongitude_deg = {longitude_deg}\n"
    )
    people = "".join(
        f'[[contact]]\nid = "{name}"\nname = "{name}"\nchannel = [{{ id = "phone", url = "terminal:" }}]\n'
        for name in contacts
    )
    return parse_farm(
        f'[farm]\nid = "knoll"\nname = "Knoll"\ntimezone = "{zone}"\nelevation_ft = 100\n{where}'
        f"[brief]\n{brief}\n{people}"
    )


def ms(text, zone="America/New_York"):
    return round(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).timestamp() * 1000)


@pytest.mark.parametrize(
    ("place", "day", "published"),
    [
        (NEW_YORK, "2024-06-20", "20:30"),
        (NEW_YORK, "2024-12-21", "16:32"),
        (LONDON, "2024-06-20", "21:21"),
        (LONDON, "2024-12-21", "15:53"),
    ],
)
def test_sunset_is_the_almanacs(place, day, published):
    """Sunset at the solstices as almanacs print it (from memory), to two minutes."""
    at_ms = brief_at_ms(farm(place, "before_sunset_min = 0"), date.fromisoformat(day))
    assert abs(at_ms - ms(f"{day}T{published}", place[2])) <= 2 * MINUTE_MS


def test_it_comes_an_hour_before_sunset_or_as_the_file_says():
    day = date(2024, 6, 20)
    sunset_ms = brief_at_ms(farm(brief="before_sunset_min = 0"), day)
    assert sunset_ms - brief_at_ms(farm(), day) == HOUR_MS
    assert sunset_ms - brief_at_ms(farm(brief="before_sunset_h = 2"), day) == 2 * HOUR_MS
    assert brief_at_ms(farm(brief='at = "16:30"'), day) == ms("2024-06-20T16:30")


def test_without_a_place_it_comes_at_five_and_check_says_so():
    nowhere = farm((None, None, "America/New_York"))
    assert brief_at_ms(nowhere, date(2024, 6, 20)) == ms("2024-06-20T17:00")
    assert when_words(nowhere) == (
        "to owner, at 17:00: for sunset give latitude_deg and longitude_deg in the file's head"
    )


@pytest.mark.parametrize(
    ("brief", "said"),
    [
        ("", "to owner, 60 min before sunset; at 17:00 where the sun does not set"),
        ('at = "16:30"', "to owner, at 16:30"),
        ("enabled = false", "is off"),
    ],
)
def test_check_says_when_it_comes(brief, said):
    assert when_words(farm(brief=brief)) == said


@pytest.mark.parametrize("day", ["2024-06-20", "2024-12-20", "2024-05-16"])
def test_where_the_sun_does_not_set_it_comes_at_five(day):
    """Tromsø has the midnight sun from 18 May and the polar night from 27 November (from memory)."""
    assert brief_at_ms(farm(TROMSO), date.fromisoformat(day)) == ms(f"{day}T17:00", "Europe/Oslo")


def test_it_is_due_once_from_its_time_on():
    set_ms = ms("2024-03-20T17:00")
    at_five = farm(brief='at = "17:00"')
    assert brief_due(at_five, None, set_ms - 1) is None
    assert brief_due(at_five, None, set_ms) == set_ms
    assert brief_due(at_five, set_ms, set_ms + 1000) is None
    assert brief_due(at_five, set_ms, set_ms + DAY_MS) == set_ms + DAY_MS


@pytest.mark.parametrize(("back_after_min", "is_sent"), [(1, True), (179, True), (181, False), (600, False)])
def test_a_collector_that_was_off_sends_it_if_it_is_back_within_three_hours(back_after_min, is_sent):
    set_ms = ms("2024-03-20T17:00")
    back_ms = set_ms + back_after_min * MINUTE_MS
    due = [
        brief_due(farm(brief='at = "17:00"'), set_ms - DAY_MS, back_ms + minute * MINUTE_MS, back_ms)
        for minute in range(30)
    ]
    assert any(due) is is_sent
    assert due[:10] == [None] * 10  # sensors are heard again first


def test_a_farm_that_wants_none_gets_none():
    assert brief_due(farm(brief="enabled = false"), None, brief_at_ms(farm(), date(2024, 3, 20))) is None


def test_a_clock_that_was_far_ahead_does_not_silence_it():
    set_ms = ms("2024-03-20T17:00")
    assert brief_due(farm(brief='at = "17:00"'), set_ms + 400 * DAY_MS, set_ms) == set_ms


def lived(places, first, days, *, every_min=7, last_ms=None):
    """The set times that were sent on those days; `places` says which farm it is on each."""
    sent = []
    now_ms = ms(f"{first}T00:00")
    for step in range(days * 24 * 60 // every_min):
        at_ms = now_ms + step * every_min * MINUTE_MS
        due_ms = brief_due(places(step * every_min / 1440), last_ms, at_ms)
        if due_ms is not None:
            sent.append(due_ms)
            last_ms = due_ms
    return sent


@pytest.mark.parametrize(
    ("place", "first"),
    [
        (NEW_YORK, "2024-03-07"),  # clocks go forward on the 10th
        (NEW_YORK, "2024-10-31"),  # and back on 3 November
        (FAIRBANKS, "2024-06-15"),  # the sun sets after midnight
        (TROMSO, "2024-05-14"),  # the midnight sun begins
        (TROMSO, "2024-07-22"),  # and ends
        (TROMSO, "2024-11-24"),  # the polar night begins
    ],
)
def test_each_day_has_one(place, first):
    here = farm(place)
    sent = lived(lambda _day: here, first, 8)
    assert len(sent) in (7, 8, 9)
    apart = [later - earlier for earlier, later in pairwise(sent)]
    assert min(apart) >= LEAST_APART_S * 1000
    assert max(apart) < 33 * HOUR_MS


def test_a_file_that_is_edited_after_the_brief_brings_no_second_one():
    before, after = farm(brief='at = "16:00"'), farm(brief='at = "18:00"')
    sent = lived(lambda day: before if day < 17 / 24 else after, "2024-03-20", 2)
    assert sent == [ms("2024-03-20T16:00"), ms("2024-03-21T18:00")]


@given(st.integers(0, 365), st.integers(0, 24 * 60 - 1), st.sampled_from([NEW_YORK, FAIRBANKS, TROMSO]))
def test_what_is_due_lies_behind_and_not_far(day, minute, place):
    now_ms = ms("2024-01-01T00:00", place[2]) + (day * 1440 + minute) * MINUTE_MS
    due_ms = brief_due(farm(place), None, now_ms)
    assert due_ms is None or 0 <= now_ms - due_ms < 3.2 * HOUR_MS


def test_the_first_contact_gets_it_or_those_named():
    assert readers(farm()) == ("owner",)
    assert readers(farm(brief='contacts = ["neighbour"]')) == ("neighbour",)
    assert readers(farm(contacts=())) == ()


@pytest.mark.parametrize(
    ("brief", "said"),
    [
        ('contacts = ["stranger"]', "stranger"),
        ('at = "25:00"', "21:30"),
        ("before_sunset_min = -5", "before_sunset_min"),
        ("before_sunset_min = 1000", "before_sunset_min"),
        ("atx = 1", "did you mean at"),
    ],
)
def test_a_mistake_in_the_file_is_said(brief, said):
    with pytest.raises(FarmFileError, match=said):
        farm(brief=brief)


def test_the_days_of_a_year_are_each_at_a_time_of_their_own():
    days = [date(2024, 1, 1) + timedelta(days=number) for number in range(366)]
    times = [brief_at_ms(farm(FAIRBANKS), day) for day in days]
    assert times == sorted(set(times))
