"""What the night brief said holds through the night that followed."""

from collector.alerting.brief import brief_due
from collector.alerting.brief_forms import brief_texts, text_form
from shared.estimates.brief import Job, night_brief
from shared.estimates.brief_words import verdict
from tests.fakes.night import KNOLL, Night, calm

FIVE = KNOLL.replace("[[line]]", '[brief]\nat = "20:30"\n[[line]]', 1)
"""Nights begin at 20:00 here."""


def briefed(night, hour):
    night.run_until(hour)
    alerts = night.watch.alerting.alerts.values()
    return night_brief(night.farm, night.watch.picture, alerts, night.now_ms, night.now_ms - 60_000)


def hours_from_start(night, at_ms):
    return (at_ms - (night.now_ms - night.at_s * 1000)) / 3_600_000


def test_nobody_is_woken_before_the_time_that_was_named():
    """Upper fills by about 150 gal/h: 1,122 of its 1,496 gal are room, so the phone rings after 6 h or so."""
    night = calm(Night())
    night.show["upper-level"] = lambda hour: 1.0 + 0.4 * hour
    brief = briefed(night, 2)
    need = next(each for each in brief.needs if each.tank == "upper")
    assert need.job is Job.ROOM
    named = hours_from_start(night, need.at_ms)
    night.run_until(named - 0.05)
    assert night.texts("tank_nearly_full") == []
    night.run_until(named + 2.5)
    assert [subject for _, subject, _ in night.texts("tank_nearly_full")] == ["upper"]


def test_a_calm_night_named_calm_wakes_nobody():
    night = calm(Night())
    brief = briefed(night, 2)
    assert verdict(brief).sentence == "Nothing needs you before 08:00."
    night.run_until(8)
    assert night.phone == []


def test_a_sensor_lost_since_is_in_the_next_brief():
    night = calm(Night())
    night.show["brook-far"] = lambda hour: 25.2 if hour < 2 else None
    assert briefed(night, 2).gaps == ()
    later = briefed(night, 4)
    assert [gap.name for gap in later.gaps] == ["brook-far"]
    assert "Not watched: brook-far." in text_form(later)


def test_it_is_due_once_in_the_night_and_its_rows_are_the_same_again():
    night = calm(Night(FIVE))
    last_ms, sent = None, []
    for step in range(1, 20):
        night.run_until(step / 4)
        due_ms = brief_due(night.farm, last_ms, night.now_ms, night.watch.picture.listening_ms)
        if due_ms is not None:
            brief = briefed(night, step / 4)
            sent.append((round(step / 4, 2), list(brief_texts(night.farm, brief, due_ms))))
            last_ms = due_ms
    ((hour, rows),) = sent
    assert hour == 0.5
    assert [(row.contact, row.channel, row.event) for row in rows] == [("owner", "phone", "2026-03-23")]


def test_after_a_restart_it_is_not_sent_again():
    night = calm(Night(FIVE))
    night.run_until(0.5)
    due_ms = brief_due(night.farm, None, night.now_ms, night.watch.picture.listening_ms)
    assert due_ms is not None
    night.restart()
    night.run_until(1.5)
    assert brief_due(night.farm, due_ms, night.now_ms, night.watch.picture.listening_ms) is None
    # A memory that had not kept it would send it, but under the same day: the store takes a row once.
    again_ms = brief_due(night.farm, None, night.now_ms, night.watch.picture.listening_ms)
    assert again_ms == due_ms
