"""Days on which vacuum goes slowly, and days on which it only seems to. Gauges speak every five minutes here."""

import re

from shared.gsm7 import LIMIT, length
from tests.fakes.night import KNOLL, Night, calm, wobble

BAROMETER = '[[sensor]]\nid = "barometer"\nquantity = "air_pressure"\nunit = "inHg"\ninterval_s = 300\n'
NEAR = "".join(
    f'[[sensor]]\nid = "{line}-near"\nquantity = "vacuum"\nunit = "inHg"\nline = "{line}"\nat_ft = 20\n'
    "interval_s = 300\n"
    for line in ("ledge", "brook")
)
NO_LEVELS = re.sub(r'\[\[sensor\]\]\nid = "\w+-level"\n(?:\w+ = .*\n)*', "", KNOLL)
SLOW = re.sub(r"interval_s = \d+", "interval_s = 300", NO_LEVELS) + NEAR
GAUGES = ("pump-vacuum", "ledge-near", "ledge-far", "brook-near", "brook-far")
DAY_H = 24.0


def days(text=SLOW + BAROMETER):
    night = calm(Night(text))
    night.show |= {
        "ledge-near": lambda hour: 25.6 + wobble(hour, 6),
        "brook-near": lambda hour: 25.7 + wobble(hour, 7),
    }
    if "barometer" in text:
        night.show["barometer"] = lambda _hour: 28.4
    return night


def live(night, to_days):
    night.run_until(to_days * DAY_H, clock_every_s=600)
    return night


def losing(night, *gauges, from_day=1.0, inhg_day=0.7, most_inhg=2.1):
    for gauge in gauges:
        before = night.show[gauge]
        night.show[gauge] = lambda hour, before=before: (
            before(hour) - min(most_inhg, max(0.0, hour / DAY_H - from_day) * inhg_day)
        )
    return night


def told(night, rule="vacuum_slowly_falling"):
    return [t for t in night.texts(rule) if not t[2].startswith("Over")]


def test_a_line_that_loses_vacuum_over_days_is_told_once_with_what_it_held_and_where_to_walk():
    night = live(losing(days(), "ledge-near", "ledge-far"), 5.0)
    ((hour, line, body),) = told(night)
    assert line == "ledge"
    # It has lost 1.5 inHg after 2.1 days of it, and the day's median is half a day behind.
    assert 3.0 <= hour / DAY_H <= 4.2
    assert re.search(r"Ledge has slowly lost 1\.[5-9] inHg since \w{3}: 23\.\d inHg, was 25\.\d inHg", body)
    assert "ledge" in body.split("was")[1]
    assert told(night, "vacuum_lost") == []
    assert {t.priority for t in night.transitions if t.key.startswith("vacuum_slowly")} <= {"tell", "note"}


def test_a_pump_that_wears_is_one_text_about_the_pump():
    night = live(losing(days(), *GAUGES), 5.0)
    ((_, line, body),) = told(night)
    assert line == "pump"
    assert "Belt, oil" in body


def test_what_was_mended_is_over_within_hours():
    night = losing(days(), "ledge-near", "ledge-far", inhg_day=1.0)
    for gauge, held in (("ledge-near", 25.6), ("ledge-far", 25.0)):
        worn = night.show[gauge]
        night.show[gauge] = lambda hour, worn=worn, held=held: (
            worn(hour) if hour < 4 * DAY_H else held + wobble(hour, 2)
        )
    live(night, 4.3)
    assert night.texts("vacuum_slowly_falling")[-1][2].startswith("Over: Ledge holds")


def test_a_gauge_that_drifts_by_itself_is_left_to_those_who_watch_sensors():
    night = live(losing(days(), "pump-vacuum"), 5.0)
    assert told(night) == []


def test_a_front_takes_vacuum_and_no_share_of_it():
    night = days()
    night.show["barometer"] = lambda hour: 28.8 - min(1.8, max(0.0, hour / DAY_H - 1.0) * 0.9)
    for gauge, share in zip(GAUGES, (0.92, 0.9, 0.88, 0.9, 0.89), strict=True):
        night.show[gauge] = lambda hour, share=share, gauge=gauge: (
            share * (night.show["barometer"](hour) - 0.2) + wobble(hour, len(gauge))
        )
    live(night, 4.0)
    assert told(night) == []
    assert told(night, "vacuum_lost") == []
    assert told(night, "vacuum_short_of_attainable") == []


def test_without_a_barometer_what_weather_can_take_is_no_decline():
    night = live(losing(days(SLOW), *GAUGES, most_inhg=1.8), 4.5)
    assert told(night) == []


def test_frost_and_a_pump_that_rests_at_night_are_no_decline():
    night = days()
    # From noon to eight in the evening it thaws; T0 is eight in the evening.
    night.show["air"] = lambda hour: 44.0 if (hour % 24) >= 14 else 20.0
    for gauge in GAUGES:
        before = night.show[gauge]
        night.show[gauge] = lambda hour, before=before: before(hour) if (hour % 24) >= 14 else 0.3
    live(night, 4.5)
    assert told(night) == []
    assert told(night, "pump_not_running") == []


def test_thawed_only_by_day_a_decline_is_still_seen():
    night = losing(days(), "ledge-near", "ledge-far", inhg_day=0.8)
    night.show["air"] = lambda hour: 44.0 if (hour % 24) >= 14 else 20.0
    for gauge in GAUGES:
        before = night.show[gauge]
        night.show[gauge] = lambda hour, before=before: before(hour) if (hour % 24) >= 14 else 0.3
    live(night, 5.0)
    assert [line for _, line, _ in told(night)] == ["ledge"]


def test_on_its_first_days_nothing_is_said():
    night = live(losing(days(), "ledge-near", "ledge-far", from_day=0.0, inhg_day=1.5, most_inhg=1.4), 1.4)
    assert told(night) == []


def test_a_leak_that_was_told_is_not_told_again_as_a_slow_loss():
    night = days()
    night.show["ledge-far"] = lambda hour: (25.0 if hour < 36 else 20.5) + wobble(hour, 2)
    night.show["ledge-near"] = lambda hour: (25.6 if hour < 36 else 24.0) + wobble(hour, 6)
    live(night, 3.0)
    assert [line for _, line, _ in told(night, "vacuum_lost")] == ["ledge"]
    assert told(night) == []


def test_the_memory_of_days_survives_a_restart():
    night = losing(days(), "ledge-near", "ledge-far")
    for day in (1.3, 2.2, 3.1):
        live(night, day)
        night.restart()
    assert len(told(live(night, 5.0))) == 1


def test_a_pump_far_below_what_the_air_allows_is_told_after_half_an_hour_without_any_usual():
    night = days()
    for gauge, vacuum in zip(GAUGES, (19.0, 18.5, 18.0, 18.6, 18.2), strict=True):
        night.show[gauge] = lambda hour, vacuum=vacuum, gauge=gauge: vacuum + wobble(hour, len(gauge))
    live(night, 0.2)
    ((hour, subject, body),) = told(night, "vacuum_short_of_attainable")
    assert subject == "pump"
    assert 0.6 <= hour <= 1.0
    assert re.match(
        r"The pump holds 19\.\d inHg, 67 % of the 28\.2 inHg that the air allows\. Belt, oil", body
    )
    assert told(night, "vacuum_lost") == []


def test_a_farm_that_runs_lower_on_purpose_says_so():
    own = "[rules.vacuum_short_of_attainable]\ntrip_share_percent = 60\nclear_share_percent = 63\n"
    night = days(SLOW + BAROMETER + own)
    for gauge in GAUGES:
        night.show[gauge] = lambda hour, gauge=gauge: 19.0 + wobble(hour, len(gauge))
    assert told(live(night, 0.3), "vacuum_short_of_attainable") == []


def test_a_pump_down_after_a_thaw_is_not_short():
    night = days()
    night.show["air"] = lambda hour: 24.0 if hour < 4 else 44.0
    for gauge in GAUGES:
        before = night.show[gauge]
        night.show[gauge] = lambda hour, before=before: before(hour) * min(1.0, max(0.01, (hour - 4) / 0.5))
    assert told(live(night, 0.4), "vacuum_short_of_attainable") == []


def test_a_leak_that_takes_the_pump_down_is_one_text():
    night = days()
    for gauge, lost in zip(GAUGES, (7.0, 9.0, 12.0, 7.3, 7.4), strict=True):
        before = night.show[gauge]
        night.show[gauge] = lambda hour, before=before, lost=lost: before(hour) - (lost if hour >= 4 else 0)
    live(night, 0.4)
    assert told(night, "vacuum_short_of_attainable") == []
    assert len(told(night, "vacuum_lost")) == 1


def test_texts_about_names_of_forty_letters_are_one_message_with_all_that_matters():
    long = "north-face-of-the-old-quarry-beyond-creek"[:40]
    night = losing(days((SLOW + BAROMETER).replace('"ledge"', f'"{long}"')), "ledge-near", "ledge-far")
    ((_, line, body),) = told(live(night, 5.0))
    assert line == long
    assert length(body) <= LIMIT
    assert "was 25" in body
