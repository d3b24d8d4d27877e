"""Answers and drills on virtual time."""

from collector.alerting.answers import Answering, answer_of
from collector.evaluator import Changes, plan_for
from collector.people import on_request
from shared.alerts import AlertState
from shared.requests import Drill
from tests.fakes.night import KNOLL, T0, Night, calm

WEEKLY = f'{KNOLL}\n[drill]\nevery = "monday"\nat = "21:00"\n'  # T0 is a Monday, 20:00


def a_night(farm_text=KNOLL):
    night = calm(Night(farm_text))
    night.plan = plan_for(night.farm, answering=Answering(b"secret of the knoll"))
    return night


def ask(night, request):
    changes = Changes()
    on_request(night.watch, night.plan, request, changes)
    night._take(changes)
    return changes.texts


def of_drills(night):
    return [told for told in night.phone if told[1] == "drill/everyone"]


def test_a_drill_reaches_everybody_at_once_and_its_answer_ends_it():
    night = a_night()
    texts = ask(night, Drill("d1", "Wren", T0))
    assert [(text.contact, text.due_ms - T0) for text in texts] == [("owner", 0), ("neighbour", 0)]
    assert texts[0].body.startswith("Drill of 20:00, asked by Wren: nothing is wrong.")
    ask(night, answer_of(texts[1].code, T0 + 60_000))
    held = night.watch.alerting.alerts["drill/everyone"]
    assert (held.state, held.acknowledged_by) == (AlertState.NORMAL, "Abel")
    night.run_until(2)
    assert [hour for hour, *_ in of_drills(night)] == [0.0, 0.0]


def test_a_drill_that_nobody_answers_is_told_once():
    night = a_night()
    ask(night, Drill("d1", "Wren", T0))
    night.run_until(3)
    later = [(hour, contact, body) for hour, _, contact, body in of_drills(night) if hour > 0]
    ((hour, contact, body),) = later
    assert contact == "owner"
    assert 0.5 <= hour <= 0.52
    assert body.startswith("Nobody answered the drill of 20:00.")


def test_the_weekly_drill_is_held_at_its_time_once_and_also_after_a_restart():
    night = a_night(WEEKLY)
    night.run_until(1.5)
    night.restart()
    night.run_until(4)
    drills = [
        (hour, contact) for hour, _, contact, body in of_drills(night) if body.startswith("Drill of 21:00")
    ]
    assert drills == [(1.0, "owner"), (1.0, "neighbour")]


def test_a_restart_leaves_a_drill_waiting_for_its_answer():
    night = a_night()
    texts = ask(night, Drill("d1", "Wren", T0))
    night.restart()
    ask(night, answer_of(texts[0].code, T0 + 60_000))
    assert night.watch.alerting.alerts["drill/everyone"].acknowledged_by == "Wren"


def test_an_answer_with_quiet_shelves_the_alert_until_its_end():
    night = a_night()
    night.show["lower-level"] = lambda _hour: 5.4
    night.run_until(0.2)
    before = night.watch.alerting.alerts["tank_nearly_full/lower"]
    assert before.state is AlertState.ACTIVE
    code = next(iter(night.watch.alerting.answerable))
    ask(night, answer_of(f"{code} quiet 2", night.now_ms))
    told = len(night.texts("tank_nearly_full", repeats=True))
    night.run_until(2.1)
    shelved = night.watch.alerting.alerts["tank_nearly_full/lower"]
    assert shelved.is_shelved(night.now_ms)
    assert len(night.texts("tank_nearly_full", repeats=True)) == told
    night.run_until(2.4)
    assert len(night.texts("tank_nearly_full", repeats=True)) > told
