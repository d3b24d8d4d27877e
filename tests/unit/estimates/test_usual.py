import pytest

from shared.estimates.usual import BETTER_STAYS_COUNT, READY_COUNT, WORSE_STAYS_COUNT, Usual

WITHIN = 0.035
NIGHT_COUNT = 14 * 60


def learnt(*levels):
    """A usual taught by (ratio, minutes) one after the other."""
    usual = Usual()
    for ratio, count in levels:
        for _ in range(count):
            usual.learn(ratio, WITHIN)
    return usual


def test_there_is_no_usual_before_enough_minutes():
    assert learnt((0.85, READY_COUNT - 1)).ratio is None
    assert learnt((0.85, READY_COUNT)).ratio == 0.85


def test_the_first_usual_is_a_median_that_a_few_bad_minutes_do_not_move():
    assert learnt((0.85, READY_COUNT // 2 + 1), (0.1, READY_COUNT // 2)).ratio == 0.85


def test_a_leak_is_not_learnt_in_a_night():
    assert learnt((0.85, 600), (0.75, NIGHT_COUNT)).ratio == pytest.approx(0.85)


def test_a_leak_too_small_to_freeze_learning_is_not_learnt_in_a_night_either():
    after = learnt((0.85, 2000), (0.825, NIGHT_COUNT)).ratio
    assert after == pytest.approx(0.85, abs=0.5 * 0.025)


def test_a_loss_that_stays_for_days_of_running_becomes_usual():
    assert learnt((0.85, 600), (0.75, WORSE_STAYS_COUNT - 1)).ratio == pytest.approx(0.85)
    assert learnt((0.85, 600), (0.75, WORSE_STAYS_COUNT)).ratio == pytest.approx(0.75, abs=1e-3)


def test_a_gain_that_stays_for_hours_becomes_usual():
    assert learnt((0.75, 600), (0.85, BETTER_STAYS_COUNT - 1)).ratio == pytest.approx(0.75)
    assert learnt((0.75, 600), (0.85, BETTER_STAYS_COUNT)).ratio == pytest.approx(0.85, abs=1e-3)


def test_a_step_that_comes_and_goes_never_becomes_usual():
    levels = [(0.75, NIGHT_COUNT), (0.85, 30)] * 6
    assert learnt((0.85, 600), *levels).ratio == pytest.approx(0.85)


def test_a_good_and_a_bad_step_are_not_counted_together():
    usual = learnt((0.80, 600), (0.90, BETTER_STAYS_COUNT - 1), (0.70, 1), (0.90, BETTER_STAYS_COUNT - 1))
    assert usual.ratio == pytest.approx(0.80)


def test_scatter_is_a_standard_deviation():
    usual = Usual()
    for minute in range(4000):
        usual.learn(0.85 + (0.01 if minute % 2 else -0.01), WITHIN)
    assert usual.scatter_ratio == pytest.approx(1.2533 * 0.01, rel=0.1)
