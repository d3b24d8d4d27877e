"""The life cycle of an alert: IEC 62682 states, hold times in event time, silence that never clears."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.alerts import (
    Alert,
    AlertState,
    Cause,
    Finding,
    Hold,
    Priority,
    Verdict,
    acknowledge,
    advance,
    expire_acknowledgement,
    shelve,
    unshelve,
)

HOLD = Hold(raise_s=60, clear_s=300)
NEW = Alert("tank_nearly_full", "lower")


def finding(verdict, at_s, priority=Priority.WAKE):
    return Finding("tank_nearly_full", "lower", verdict, priority, at_s * 1000, HOLD, f"at {at_s}")


def fold(alert, *findings):
    causes = []
    for one in findings:
        alert, transitions = advance(alert, one)
        causes += [t.cause for t in transitions]
    return alert, causes


def raised():
    alert, causes = fold(NEW, finding(Verdict.ACTIVE, 0), finding(Verdict.ACTIVE, 60))
    assert causes == [Cause.RAISED]
    return alert


def test_trouble_shorter_than_its_hold_raises_nothing():
    alert, causes = fold(
        NEW, finding(Verdict.ACTIVE, 0), finding(Verdict.NORMAL, 59), finding(Verdict.ACTIVE, 70)
    )
    assert alert.state is AlertState.NORMAL
    assert causes == []


def test_trouble_that_lasts_is_raised_when_its_hold_is_over():
    alert = raised()
    assert (alert.state, alert.raised_ms, alert.episode) == (AlertState.ACTIVE, 60_000, 1)


@pytest.mark.parametrize("gap", [Verdict.UNKNOWN, Verdict.BETWEEN])
def test_a_missing_sample_does_not_restart_the_hold(gap):
    alert, causes = fold(NEW, finding(Verdict.ACTIVE, 0), finding(gap, 30), finding(Verdict.ACTIVE, 60))
    assert causes == [Cause.RAISED]
    assert alert.is_active


def test_silence_never_clears():
    alert, causes = fold(raised(), *(finding(Verdict.UNKNOWN, 100 + 100 * i) for i in range(1000)))
    assert alert.state is AlertState.ACTIVE
    assert alert.stale
    assert causes == [Cause.STALE]


def test_it_clears_only_after_the_clear_hold():
    alert, causes = fold(raised(), finding(Verdict.NORMAL, 100), finding(Verdict.NORMAL, 399))
    assert alert.is_active
    alert, causes = fold(alert, finding(Verdict.NORMAL, 400))
    assert (alert.state, causes) == (AlertState.CLEARED, [Cause.CLEARED])


def test_trouble_that_comes_back_during_the_clear_hold_is_the_same_trouble():
    alert, causes = fold(
        raised(), finding(Verdict.NORMAL, 100), finding(Verdict.ACTIVE, 200), finding(Verdict.NORMAL, 401)
    )
    assert (alert.state, alert.episode, causes) == (AlertState.ACTIVE, 1, [])


def test_an_acknowledged_alert_clears_to_normal():
    alert, _ = acknowledge(raised(), "Wren", 70_000)
    assert (alert.state, alert.acknowledged_by) == (AlertState.ACKNOWLEDGED, "Wren")
    alert, _ = fold(alert, finding(Verdict.NORMAL, 100), finding(Verdict.NORMAL, 400))
    assert alert.state is AlertState.NORMAL


def test_acknowledging_twice_changes_nothing():
    alert, _ = acknowledge(raised(), "Wren", 70_000)
    assert acknowledge(alert, "Abel", 80_000) == (alert, ())


def test_a_graver_trouble_asks_again_though_the_lesser_was_acknowledged():
    tell = [finding(Verdict.ACTIVE, at, Priority.TELL) for at in (0, 60)]
    alert, _ = fold(NEW, *tell)
    alert, _ = acknowledge(alert, "Wren", 70_000)
    alert, causes = fold(alert, finding(Verdict.ACTIVE, 90, Priority.WAKE))
    assert (alert.state, alert.priority, causes) == (AlertState.ACTIVE, Priority.WAKE, [Cause.WORSE])


def test_an_acknowledgement_that_the_trouble_outlasts_runs_out():
    alert, _ = acknowledge(raised(), "Wren", 70_000)
    alert, transitions = expire_acknowledgement(alert, 4_000_000)
    assert alert.state is AlertState.ACTIVE
    assert transitions[0].cause is Cause.ACKNOWLEDGEMENT_EXPIRED
    assert expire_acknowledgement(alert, 4_000_001) == (alert, ())


def test_a_shelved_alert_keeps_its_state_and_comes_back():
    alert, transitions = shelve(raised(), 500_000, "line is being moved", "Wren", 70_000)
    assert alert.is_active
    assert alert.is_shelved(499_999)
    assert not alert.is_shelved(500_000)
    assert transitions[0].by == "Wren"
    assert unshelve(alert, 500_000)[0] == raised()


@given(st.lists(st.tuples(st.sampled_from(Verdict), st.integers(0, 120)), max_size=60))
def test_an_active_alert_ends_only_by_a_normal_verdict_held_for_its_time(steps):
    alert, at_s = NEW, 0
    calm_from_s = None
    for verdict, wait_s in steps:
        at_s += wait_s
        before = alert
        alert, transitions = advance(alert, finding(verdict, at_s))
        if verdict is Verdict.NORMAL:
            calm_from_s = at_s if calm_from_s is None else calm_from_s
        elif verdict is Verdict.ACTIVE:
            calm_from_s = None
        if before.is_active and not alert.is_active:
            assert verdict is Verdict.NORMAL
            assert at_s - calm_from_s >= HOLD.clear_s
        assert alert.episode - before.episode == sum(t.cause is Cause.RAISED for t in transitions)
        if not before.is_active and alert.is_active:
            calm_from_s = None
    # The words of a transition are those of the alert when it happened; the state stays one of four.
    assert alert.state in AlertState
    assert replace(alert).key == "tank_nearly_full/lower"
