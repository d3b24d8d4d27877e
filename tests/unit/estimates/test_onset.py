import pytest

from shared.estimates.onset import MINUTE_MS, Departure, fall_s, slack_pa, start_ms
from shared.units import INHG_PA

SLACK_PA = slack_pa(0.0)


def minutes(drops_inhg):
    return [i * MINUTE_MS for i in range(len(drops_inhg))], [drop * INHG_PA for drop in drops_inhg]


def departure(drops_inhg):
    state = Departure()
    for minute_ms, drop_pa in zip(*minutes(drops_inhg), strict=True):
        state.take(minute_ms, drop_pa, SLACK_PA)
    return state


@pytest.mark.parametrize(
    ("drops_inhg", "since_minute"),
    [
        ([0.0] * 10, None),
        ([0.2] * 200, None),  # less than the slack, however long
        ([0.0] * 5 + [3.0] * 5, 5),
        ([0.0] * 5 + [0.5] * 60, 5),
        ([0.0] * 5 + [0.11 * i for i in range(30)], 8),  # a slow fade, from where it passes the slack
        ([0.0] * 5 + [3.0] * 60 + [0.0] * 6, None),  # back within minutes
    ],
)
def test_a_drop_has_a_start_once_it_lasts(drops_inhg, since_minute):
    assert departure(drops_inhg).since_ms == (None if since_minute is None else since_minute * MINUTE_MS)


def test_a_step_is_the_start_even_after_a_small_want():
    """Without the step the start would be the afternoon's half inch, hours before the limb fell."""
    drops_inhg = [0.5] * 120 + [3.5] * 10
    minutes_ms, drops_pa = minutes(drops_inhg)
    since_ms = departure(drops_inhg).since_ms
    assert since_ms == 0
    assert start_ms(minutes_ms, drops_pa, since_ms, drops_pa[-1]) == 120 * MINUTE_MS


def test_a_leak_that_takes_minutes_starts_with_its_first():
    drops_inhg = [0.0] * 10 + [1.2, 1.9, 2.3, 2.5, 2.7, 2.8, 2.9, 3.0, 3.0]
    minutes_ms, drops_pa = minutes(drops_inhg)
    assert start_ms(minutes_ms, drops_pa, departure(drops_inhg).since_ms, drops_pa[-1]) == 10 * MINUTE_MS


def test_a_slow_fade_has_no_step_and_keeps_its_start():
    drops_inhg = [0.0] * 5 + [0.2 * i for i in range(60)]
    minutes_ms, drops_pa = minutes(drops_inhg)
    since_ms = departure(drops_inhg).since_ms
    assert start_ms(minutes_ms, drops_pa, since_ms, drops_pa[-1]) == since_ms


def test_how_long_it_took_tells_a_leak_from_ice():
    leak = minutes([0.0] * 5 + [2.0, 2.9, 3.0, 3.0])
    ice = minutes([0.0] * 5 + [0.2 * i for i in range(60)])
    assert fall_s(*leak, 5 * MINUTE_MS, 3.0 * INHG_PA) == pytest.approx(60.0)
    assert fall_s(*ice, 5 * MINUTE_MS, 59 * 0.2 * INHG_PA) > 40 * 60


@pytest.mark.parametrize("began_ms", [None, -MINUTE_MS])
def test_a_start_before_the_minutes_kept_has_no_known_length(began_ms):
    assert fall_s([0, MINUTE_MS], [3.0, 3.0], began_ms, 3.0) is None


def test_a_drop_that_is_still_growing_has_taken_all_its_time():
    assert fall_s([0, MINUTE_MS], [0.0, 100.0], 0, 1000.0) == pytest.approx(120.0)
