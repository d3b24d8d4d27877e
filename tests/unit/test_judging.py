"""When rules are judged, and what of that is remembered."""

from collector.evaluator import Changes, new_watch, plan_for
from collector.people import on_request
from collector.rules.rule import Rule, Subject, found
from collector.watch import on_clock, on_reading
from shared.alerts import Priority, Verdict
from shared.farm_file import parse_farm
from shared.readings import Reading
from shared.requests import Shelve
from shared.tuning.sensors import SensorStuck
from tests.fakes.night import KNOLL, T0

FARM = parse_farm(KNOLL)


def counting(judged, *, verdict=Verdict.NORMAL, **how):
    """A rule about one thing that notes when it is judged."""

    def judge(_farm, _picture, subject, now_ms):
        judged.append(now_ms)
        return found(SensorStuck(), subject, now_ms, verdict, "Said.", priority=Priority.TELL)

    return Rule("sensor_stuck", lambda _farm: (Subject("air", ()),), judge, **how)


def spoken(plan, watch, seconds, every_s=10):
    changes = Changes()
    for at_s in range(0, seconds, every_s):
        at_ms = T0 + at_s * 1000
        on_reading(watch, plan, Reading("air", at_ms, 4.0, at_ms), changes)
    return changes


def test_silence_is_looked_for_every_ten_seconds_however_often_the_clock_is():
    judged = []
    plan = plan_for(FARM, [counting(judged, by_arrival=True)])
    watch = new_watch(plan)
    for second in range(60):
        on_clock(watch, plan, T0 + second * 1000, Changes())
    assert judged == [T0 + second * 1000 for second in range(0, 60, 10)]


def test_a_clock_that_was_put_back_does_not_stop_looking_for_silence():
    judged = []
    plan = plan_for(FARM, [counting(judged, by_arrival=True)])
    watch = new_watch(plan)
    for at_ms in (T0, T0 - 7_200_000):
        on_clock(watch, plan, at_ms, Changes())
    assert judged == [T0, T0 - 7_200_000]


def test_a_slow_rule_is_judged_each_few_minutes_of_the_sensors_own_time():
    judged = []
    plan = plan_for(FARM, [counting(judged, every_ms=300_000)])
    spoken(plan, new_watch(plan), 1800)
    assert [judged[n] - judged[n - 1] for n in range(1, len(judged))] == [300_000] * 5


def test_what_is_calm_is_not_remembered():
    plan = plan_for(FARM, [counting([])])
    watch = new_watch(plan)
    changes = spoken(plan, watch, 600)
    assert (watch.alerting.alerts, changes.alerts, changes.transitions) == ({}, {}, [])


def test_an_alert_that_has_not_come_yet_can_be_shelved():
    plan = plan_for(FARM, [counting([], verdict=Verdict.ACTIVE)])
    watch = new_watch(plan)
    until_ms = T0 + 3_600_000
    ask = Shelve(id="r", by="Wren", asked_ms=T0, alert="sensor_stuck/air", until_ms=until_ms, reason="known")
    on_request(watch, plan, ask, Changes())
    on_request(watch, plan, Shelve("r2", "Wren", T0, "sensor_stuck/nobody", until_ms, "known"), Changes())
    spoken(plan, watch, 600)
    alert = watch.alerting.alerts["sensor_stuck/air"]
    assert (alert.is_active, alert.shelved_until_ms) == (True, until_ms)
    assert set(watch.alerting.alerts) == {"sensor_stuck/air"}
