from dataclasses import replace

import pytest

from collector.make_stream import begin, read_story, write_stream
from collector.score import print_score, score_nights
from collector.scoring.dice import draw, slowed
from collector.scoring.due import Due, due_of, is_earned
from collector.scoring.listening import Forecast, Heard, Places, Told, listen
from collector.scoring.losses import losses_of
from collector.scoring.marks import Lead, mark
from collector.scoring.report import Score, fifth_percentile_s, json_of, score_of, table_of
from collector.simulate.story import parse_story
from collector.simulate.truth import LineTruth, Occurrence, TankTruth, Truth
from shared.alerts import Priority
from shared.errors import SettingsError, StoryFileError
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.tank_flow import FillTime
from shared.physics.tanks import capacity_m3
from shared.units import INHG_PA
from tests.fakes.seasons import START_MS, farm

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
NIGHT_MS = 10 * HOUR_MS
CALM = parse_story('title = "calm"')


def truth_of(*occurrences, far_inhg=None, near_inhg=25.0, frozen=(), tanks=None):
    """A night of ten hours: `far_inhg[line](hour)`, the others as at the pump; the pump runs unless told."""
    truth = Truth("test", "juniper-knob", 1, START_MS, START_MS + NIGHT_MS)
    truth.occurrences = list(occurrences)
    if not any(o.kind == "pump_running" for o in occurrences):
        truth.occurrences.append(Occurrence("pump_running", "pump", START_MS, START_MS + NIGHT_MS, {}))
    for line in farm().lines:
        far = (far_inhg or {}).get(line.id, lambda _hour: 25.0)
        truth.lines[line.id] = [
            LineTruth(
                START_MS + at_ms,
                0.0,
                near_inhg * INHG_PA,
                far(at_ms / HOUR_MS) * INHG_PA,
                0.0,
                line.id in frozen,
            )
            for at_ms in range(0, NIGHT_MS, 10 * MINUTE_MS)
        ]
    truth.tanks = tanks or {}
    return truth


def leak(line="ledge", from_h=3.0, to_h=10.0):
    return Occurrence("leak", line, at(from_h), at(to_h), {"choked_m3_s": 0.002})


def at(hour):
    return START_MS + round(hour * HOUR_MS)


def dropped(by_inhg, from_h=3.0, to_h=10.0):
    return {"ledge": lambda hour: 25.0 - (by_inhg if from_h <= hour < to_h else 0.0)}


def due(truth, story=CALM):
    return due_of(farm(), story, truth, losses_of(farm(), truth))


def woken(rule, subject, hour):
    return Told(rule, subject, Priority.WAKE, at(hour), "")


def earned(truth, told, story=CALM):
    return is_earned(farm(), story, truth, losses_of(farm(), truth), told)


def marked(truth, *told, story=CALM, **heard):
    drawn = replace(draw(farm(), 1), story=story)
    return mark(farm(), drawn, truth, Heard(told=list(told), **heard))


def test_a_line_that_truly_loses_3_inhg_is_due_and_less_is_not():
    (lost,) = due(truth_of(leak(), far_inhg=dropped(4.0)))
    assert (lost.rule, lost.subjects, lost.from_ms) == ("vacuum_lost", ("ledge",), at(3))
    assert due(truth_of(leak(), far_inhg=dropped(2.5))) == ()


@pytest.mark.parametrize(
    "truth",
    [
        truth_of(far_inhg=dropped(8.0)),  # nothing happened that takes vacuum
        truth_of(leak(), far_inhg=dropped(8.0), frozen=("ledge",)),
        truth_of(leak(), far_inhg=dropped(8.0), frozen=("conductor",)),
        truth_of(leak(to_h=3.1), far_inhg=dropped(8.0, to_h=3.1)),  # over within minutes
        truth_of(leak(from_h=0.2), far_inhg=dropped(8.0, from_h=0.2)),  # before anything is usual
        truth_of(
            leak(),
            Occurrence("pump_running", "pump", at(0), at(2.5), {}),  # its thermostat has stopped the pump
            far_inhg=dropped(8.0),
        ),
    ],
)
def test_what_is_no_loss_of_a_running_thawed_line_is_not_due(truth):
    assert due(truth) == ()


def test_a_pump_that_fails_is_due_once_for_all_lines():
    stop = Occurrence("pump_stop", "farm", at(3), at(10), {})
    running = Occurrence("pump_running", "pump", at(0), at(3), {})
    truth = truth_of(stop, running)
    for line, rows in truth.lines.items():
        truth.lines[line] = [
            replace(row, near_vacuum_pa=0.0, far_vacuum_pa=0.0) if row.at_ms >= at(3) else row for row in rows
        ]
    (lost,) = due(truth)
    assert (lost.rule, lost.subjects) == ("pump_not_running", ("pump",))
    assert earned(truth, woken("pump_not_running", "pump", 3.2))
    assert not earned(truth, woken("pump_not_running", "pump", 2.5))


def test_one_leak_that_takes_vacuum_from_two_lines_is_due_once_on_either():
    lost = {
        "ledge": lambda hour: 18.0 if hour >= 3 else 25.0,
        "brook": lambda hour: 21.0 if hour >= 3 else 25.0,
    }
    (both,) = due(truth_of(leak(), far_inhg=lost))
    assert both.subjects == ("ledge", "brook")


def test_a_second_leak_on_another_line_is_due_by_itself():
    lost = {
        "ledge": lambda hour: 18.0 if hour >= 3 else 25.0,
        "brook": lambda hour: 20.0 if hour >= 6 else 23.5,
    }
    first, second = due(truth_of(leak(), leak("brook", from_h=6.0), far_inhg=lost))
    assert (first.subjects, second.subjects) == (("ledge",), ("brook",))


def test_a_second_trouble_on_a_line_whose_alert_stands_is_no_second_wake_up():
    truth = truth_of(leak(to_h=9.0), leak(from_h=5.0, to_h=8.0), far_inhg=dropped(4.0, to_h=9.0))
    assert len(due(truth)) == 1
    apart = truth_of(
        leak(to_h=5.0),
        leak(from_h=7.0),
        far_inhg={"ledge": lambda hour: 21.0 if 3 <= hour < 5 or hour >= 7 else 25.0},
    )
    assert len(due(apart)) == 2


def test_what_no_sensor_could_show_is_not_due():
    fault = '[[event]]\nkind = "sensor_fault"\nsensor = "ledge-far"\nfault = "stuck"\nat_h = 2\n'
    story = parse_story(f'title = "test"\n{fault}')
    assert due(truth_of(leak(), far_inhg=dropped(6.0)), story) == ()


def test_a_wake_up_for_a_true_loss_is_earned_and_for_none_it_is_false():
    truth = truth_of(leak(to_h=6.0), far_inhg=dropped(2.5, to_h=6.0))
    assert earned(truth, woken("vacuum_lost", "ledge", 3.2))
    assert not earned(truth, woken("vacuum_lost", "brook", 3.2))
    assert not earned(truth, woken("vacuum_lost", "ledge", 2.5))
    assert not earned(truth, woken("vacuum_lost", "ledge", 7.0))


def filling(full_h, *, from_h=0.0, pause_h=None):
    """The lower tank from a tenth to full in a straight line; with a pause it fills only from then on."""
    most_m3 = capacity_m3(farm().tank_by_id["lower"].geometry)
    begin_h = from_h if pause_h is None else pause_h

    def volume_m3(hour):
        return most_m3 * min(1.0, 0.1 + 0.9 * max(0.0, hour - begin_h) / (full_h - begin_h))

    rows = [
        TankTruth(START_MS + at_ms, volume_m3(at_ms / HOUR_MS), None, 0.0, None, 3.0, 2.0)
        for at_ms in range(0, NIGHT_MS, 10 * MINUTE_MS)
    ]
    full = Occurrence("full", "lower", at(full_h), at(10), {"spilled_kg": 100.0})
    return truth_of(full, tanks={"lower": rows})


def test_a_tank_that_runs_full_is_due_with_an_hour_of_lead_if_the_fill_allows_it():
    (slow,) = due(filling(8.0))
    assert (slow.subjects, slow.full_ms, slow.lead_s) == (("lower",), at(8), 3600.0)
    (fast,) = due(filling(8.0, pause_h=7.2))
    assert fast.lead_s is None


def test_a_tank_that_is_cleared_in_time_was_a_wake_up_earned():
    truth = filling(8.0)
    truth.occurrences = [o for o in truth.occurrences if o.kind != "full"]
    assert earned(truth, woken("tank_nearly_full", "lower", 6.5))
    assert not earned(truth, woken("tank_nearly_full", "lower", 2.0))
    assert due(truth) == ()


def test_that_a_tank_must_run_over_answers_that_it_will_be_full():
    truth = filling(8.0)
    assert marked(truth, woken("overflow_certain", "lower", 6.0)).given == 1
    assert earned(truth, woken("overflow_certain", "lower", 5.0))
    assert earned(truth, woken("overflow_certain", "lower", 9.5))
    assert not earned(truth, woken("overflow_certain", "lower", 3.0))
    assert not earned(truth, woken("overflow_certain", "upper", 6.0))


def test_a_leak_of_a_tank_that_did_not_leak_is_false():
    assert not earned(filling(8.0), woken("tank_leaking", "lower", 6.0))


def test_concentrate_is_old_sooner_than_sap():
    truth = truth_of(tanks={tank: ages_of(12.0) for tank in ("upper", "concentrate")})
    assert earned(truth, woken("concentrate_waiting", "concentrate", 5.0))
    assert not earned(truth, woken("sap_held_too_long", "upper", 5.0))


def ages_of(hours):
    return [
        TankTruth(START_MS + at_ms, 1.0, hours * 3600, 0.0, None, 3.0, 2.0)
        for at_ms in range(0, NIGHT_MS, 10 * MINUTE_MS)
    ]


def test_marks_count_given_missed_false_and_lead():
    truth = filling(8.0)
    marks = marked(truth, woken("tank_nearly_full", "lower", 6.6), woken("vacuum_lost", "ledge", 4.0))
    assert (marks.due, marks.given, len(marks.false), marks.missed) == (1, 1, 1, [])
    assert marks.leads == [Lead("lower", pytest.approx(1.4 * 3600), 3600.0)]
    missed = marked(truth)
    assert (missed.given, missed.missed) == (0, ["tank_nearly_full/lower due from 5.00 h"])
    assert missed.leads == [Lead("lower", 0.0, 3600.0)]


def test_one_wake_up_after_the_tank_is_full_is_missed():
    assert marked(filling(8.0), woken("tank_nearly_full", "lower", 8.1)).given == 0


def test_a_forecast_is_inside_its_band_or_outside():
    inside = Forecast("lower", at(6), FillTime(6000.0, 7000.0, 8000.0))
    outside = Forecast("lower", at(6), FillTime(3000.0, 4000.0, 5000.0))
    never = Forecast("lower", at(9), FillTime(3000.0, 4000.0, 5000.0))
    marks = marked(filling(8.0), forecasts=[inside, outside, never])
    assert [(band.true_s, band.inside) for band in marks.bands] == [(7200.0, True), (7200.0, False)]


def suspect(line, from_m, to_m, cause=Cause.MAINLINE):
    return Suspect(cause, line, from_m, to_m, (), 0.5, None, None, None, (), (), "", "")


def test_the_rank_of_the_true_place():
    hole = '[[event]]\nkind = "leak"\nline = "ledge"\nplace_ft = 500\nat_h = 3\n'
    story = parse_story(f'title = "test"\n{hole}')
    suspects = (suspect("brook", 0.0, 300.0), suspect("ledge", 0.0, 100.0), suspect("ledge", 100.0, 400.0))
    places = [Places("ledge", at(3.1), suspects), Places("ledge", at(3.2), suspects[:2])]
    truth = truth_of(leak(), far_inhg=dropped(4.0))
    wakes = [woken("vacuum_lost", "ledge", hour) for hour in (3.1, 3.2)]
    assert marked(truth, *wakes, story=story, places=places).ranks == [3, 0]
    assert marked(truth, story=story, places=places).ranks == []


def test_sap_that_truly_grows_a_day_old_is_due():
    truth = truth_of()
    truth.end_ms = START_MS + 30 * HOUR_MS
    truth.tanks["upper"] = [
        TankTruth(at(hour), 5.0, hour * 3600.0, 0.0, None, 3.0, 2.0) for hour in [h / 6 for h in range(180)]
    ]
    (old,) = due(truth)
    assert (old.rule, old.subjects, old.from_ms) == ("sap_held_too_long", ("upper",), at(24))
    assert earned(truth, woken("sap_held_too_long", "upper", 24.2))
    assert not earned(truth, woken("sap_held_too_long", "upper", 15.0))


def test_when_nothing_at_all_arrives_for_long_that_is_due():
    cut = '[[event]]\nkind = "link_outage"\nat_h = 4\nfor_h = 1\n'
    story = parse_story(f'title = "test"\n{cut}')
    (silent,) = due(truth_of(), story)
    assert silent == Due("sensor_silent", ("all-sensors",), at(4), at(4) + 20 * MINUTE_MS)
    assert earned(truth_of(), woken("sensor_silent", "all-sensors", 4.2), story)
    assert not earned(truth_of(), woken("sensor_silent", "all-sensors", 6.0), story)


def test_nights_are_drawn_alike_for_the_same_seed_and_more_than_half_are_calm():
    drawn = [draw(farm(), seed) for seed in range(120)]
    assert drawn[7] == draw(farm(), 7)
    assert sum(not each.troubles for each in drawn) >= 60
    assert {"leak", "limb_down", "pump_stop"} <= {kind for each in drawn for kind in each.troubles}


def test_a_message_told_twice_is_heard_once():
    topic = f"lantern/{farm().id}/pump-vacuum"
    one = b'{"value":25.0,"unit":"inHg","time":"2026-03-22T12:00:00Z"}'
    messages = [(START_MS + 500, topic, one), (START_MS + 900, topic, one)]
    heard = listen(slowed(farm()), messages)
    assert (heard.message_count, heard.reading_count) == (2, 1)


def test_the_score_sums_nights_and_says_what_went_wrong():
    good = marked(filling(8.0), woken("tank_nearly_full", "lower", 6.6))
    bad = marked(filling(8.0), woken("vacuum_lost", "ledge", 4.0))
    score = score_of([good, bad])
    assert (score.nights, score.due, score.given, len(score.missed), len(score.false)) == (2, 2, 1, 1, 1)
    assert score.allowed == (0.0, pytest.approx(1.4 * 3600))
    assert score.in_time == 1
    told = json_of(score)
    assert told["wake_ups"]["missed"][0].startswith("calm: tank_nearly_full/lower")
    assert table_of(score).row_count == 15


def test_the_5th_percentile_is_what_95_of_100_have():
    assert fifth_percentile_s([float(i) for i in range(100)]) == 5.0
    assert fifth_percentile_s([]) is None
    assert isinstance(score_of([]), Score)


@pytest.mark.parametrize(("nights", "processes"), [(0, 1), (1, 0)])
def test_no_nights_or_no_process_is_refused(nights, processes):
    with pytest.raises(SettingsError):
        score_nights(farm(), nights, 1, processes=processes)
    with pytest.raises(SettingsError):
        print_score(farm(), nights, 1, processes, as_json=True)


def test_a_stream_and_its_truth_are_written_the_same_each_time(tmp_path):
    for name in ("a", "b"):
        hours = []
        simulation = begin(farm(), read_story(None), 0.125, 7)
        truth_file = write_stream(
            simulation, tmp_path / f"{name}.jsonl.gz", lambda hours=hours: hours.append(1)
        )
        assert truth_file == tmp_path / f"{name}.truth.json"
        assert len(hours) in (2, 3)
    assert (tmp_path / "a.jsonl.gz").read_bytes() == (tmp_path / "b.jsonl.gz").read_bytes()
    assert (tmp_path / "a.truth.json").read_text() == (tmp_path / "b.truth.json").read_text()


def test_a_stream_that_cannot_be_made_is_refused_with_the_reason(tmp_path):
    with pytest.raises(SettingsError, match="cannot read the story"):
        read_story(tmp_path / "none.toml")
    (tmp_path / "wrong.toml").write_text('title = "x"\n[[event]]\nkind = "flood"\n')
    with pytest.raises(StoryFileError):
        read_story(tmp_path / "wrong.toml")
    with pytest.raises(SettingsError, match="days"):
        begin(farm(), read_story(None), 0.0, 1)
    with pytest.raises(SettingsError, match="cannot write"):
        write_stream(begin(farm(), read_story(None), 0.01, 1), tmp_path / "no" / "x.jsonl", lambda: None)
