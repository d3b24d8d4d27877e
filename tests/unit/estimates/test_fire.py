"""The fire estimator keeps its words on plain fires drawn by hand; it is scored in test_fire_scores.py."""

from random import Random

import pytest
from pydantic import TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates.fire import Fire, FireHistory, FireState, fire, note_burn_down, observe_stack
from shared.estimates.fire_boil import OverFireKind
from shared.readings import Unknown
from tests.fakes.boils import LIMIT_C, START_MS, Story, simulated_boil

MINUTE_MS = 60_000
AIR_C = 5.0
STORED = TypeAdapter(FireHistory)


def told(samples: list[tuple[int, float]], air_c: float = AIR_C) -> FireHistory:
    state = FireHistory(over_fire_c=LIMIT_C)
    for measured_ms, stack_c in samples:
        observe_stack(state, measured_ms, stack_c, air_c)
    return state


def asked(state: FireHistory) -> Fire:
    answer = fire(state, state.recent[-1][0])
    assert isinstance(answer, Fire)
    return answer


def fired_c(since_s: float, level_c: float = 400.0) -> float:
    """Falls to 70 % of its excess in the 30 s after the door was opened, and is back 60 s later."""
    return AIR_C + (level_c - AIR_C) * (1 - 0.3 * max(0.0, min(since_s / 30, (90 - since_s) / 60)))


def tended(
    minutes: int, *, interval_s: int = 5, firing_min: int = 7, level_c: float = 400.0
) -> list[tuple[int, float]]:
    """A plain fire: ten minutes level, then fired on the clock."""
    level = [0] * 600
    since_s = level + [second % (firing_min * 60) for second in range(600, minutes * 60)]
    seconds = range(0, minutes * 60, interval_s)
    return [(START_MS + second * 1000, fired_c(since_s[second], level_c)) for second in seconds]


def after(
    samples: list[tuple[int, float]], tail_c: list[float], interval_s: int = 5
) -> list[tuple[int, float]]:
    end_ms = samples[-1][0]
    return samples + [(end_ms + (i + 1) * interval_s * 1000, c) for i, c in enumerate(tail_c)]


def test_no_reading_is_unknown_and_so_is_an_old_one():
    assert isinstance(fire(FireHistory(), START_MS), Unknown)
    state = told(tended(30))
    last_ms = state.recent[-1][0]
    assert isinstance(fire(state, last_ms + 5 * MINUTE_MS), Fire)
    assert isinstance(fire(state, last_ms + 5 * MINUTE_MS + 1), Unknown)


@pytest.mark.parametrize(
    ("stack_c", "air_c", "named"), [(float("nan"), 5.0, "stack_c"), (300.0, float("inf"), "air_c")]
)
def test_an_open_circuit_is_an_error_not_a_cold_stack(stack_c, air_c, named):
    with pytest.raises(InvalidArgument, match=named):
        observe_stack(FireHistory(), START_MS, stack_c, air_c)


def test_a_boil_runs_from_the_lighting_to_the_burning_out():
    cold = [(START_MS - (300 - i) * 5000, AIR_C) for i in range(300)]
    answer = asked(told(cold + tended(60)))
    assert (answer.is_lit, answer.since_ms, answer.boil_s) == (True, START_MS, 60 * 60 - 5)
    assert answer.above_creosote_s == answer.boil_s
    out = asked(told(after(cold + tended(60), [50.0] * 240)))
    assert (out.state, out.since_ms, out.boil_s) == (FireState.OUT, START_MS + 60 * MINUTE_MS, 3600)
    assert out.firings_ms == answer.firings_ms


def test_flickering_kindling_is_no_boil():
    flicker_c = ([150.0] * 20 + [80.0] * 20) * 10
    assert asked(told([(START_MS + i * 5000, c) for i, c in enumerate(flicker_c)])).state is FireState.OUT


def test_each_firing_of_a_plain_fire_is_counted_at_its_time():
    answer = asked(told(tended(60)))
    expected_ms = [START_MS + k * 7 * MINUTE_MS for k in range(2, 9)]
    assert len(answer.firings_ms) == len(expected_ms)
    assert all(abs(a - b) <= 15_000 for a, b in zip(answer.firings_ms, expected_ms, strict=True))
    assert answer.median_interval_s == pytest.approx(420, abs=5)
    assert answer.evenness_ratio == pytest.approx(0, abs=0.03)


def test_uneven_firing_shows():
    dice = Random(3)
    since_s = [0] * 1200 + [second for _ in range(10) for second in range(dice.choice((240, 300, 600, 720)))]
    uneven = [(START_MS + i * 1000, fired_c(second)) for i, second in enumerate(since_s)]
    ratio = asked(told(uneven)).evenness_ratio
    assert ratio is not None
    assert ratio > 0.25


@pytest.mark.parametrize(("interval_s", "complete"), [(1, True), (15, True), (30, False), (60, False)])
def test_rare_readings_say_that_firings_are_a_lower_bound(interval_s, complete):
    assert asked(told(tended(60, interval_s=interval_s))).firings_complete is complete


def test_a_loose_wire_is_no_firing():
    state = told(after(tended(20), [AIR_C] + [400.0] * 60))
    assert len(asked(state).firings_ms) == len(asked(told(tended(20))).firings_ms)


def test_embers_open_no_door():
    dice = Random(5)
    sinking_c = [AIR_C + 395 * 0.988**i for i in range(214)]
    embers_c = [AIR_C + 30 + dice.uniform(-6, 6) for _ in range(130)]
    samples = after(tended(64), sinking_c + embers_c)
    states = [asked(told(samples[: -n or None])).state for n in range(300, -1, -3)]
    order = [FireState.STEADY, FireState.LOW, FireState.DYING, FireState.OUT]
    assert states == sorted(states, key=order.index)
    assert set(states) >= {FireState.LOW, FireState.DYING, FireState.OUT}


def test_a_stack_colder_than_the_air_after_a_silence_is_low():
    samples = tended(64)
    assert asked(told([*samples, (samples[-1][0] + 6 * MINUTE_MS, AIR_C - 2)])).state is FireState.LOW


def test_an_open_door_is_told_from_a_dying_fire():
    open_c = [200.0] * (8 * 12)
    assert asked(told(after(tended(60), open_c))).state is FireState.DOOR_OPEN
    assert asked(told(after(tended(60), open_c + [400.0] * 12))).state is FireState.STEADY
    assert asked(told(after(tended(60), [200.0] * (11 * 12)))).state is FireState.DYING


def test_a_fire_that_sinks_with_the_door_shut_is_dying_sooner_than_one_whose_door_was_opened():
    sinking_c = [AIR_C + 395 * 0.994**i for i in range(12 * 20)]
    states = [asked(told(after(tended(64), sinking_c[: 12 * m]))).state for m in (3, 6, 10, 16)]
    assert states == [FireState.STEADY, FireState.LOW, FireState.DYING, FireState.DYING]


def test_a_burn_down_that_was_wanted_is_not_dying_until_somebody_fires_again():
    sinking_c = [AIR_C + 395 * 0.994**i for i in range(12 * 16)]
    state = told(after(tended(64), sinking_c))
    assert asked(state).state is FireState.DYING
    note_burn_down(state, START_MS + 65 * MINUTE_MS)
    assert asked(state).state is FireState.BURNING_DOWN
    for measured_ms, stack_c in tended(20)[120:]:
        observe_stack(state, measured_ms + 80 * MINUTE_MS, stack_c, AIR_C)
    assert not asked(state).burn_down_wanted


@pytest.mark.parametrize(("hot_s", "told_over"), [(115, False), (130, True)])
def test_the_limit_must_be_passed_for_two_minutes_and_a_missing_reading_does_not_start_them_anew(
    hot_s, told_over
):
    ramp_c = [400.0 + i for i in range(0, 141, 4)]  # slower than 100 °F a minute
    hot_c = [545.0] * (hot_s // 5)
    samples = after(after(tended(60), ramp_c), hot_c)
    del samples[-15:-12]
    over = asked(told(samples)).over_fire
    assert (over is not None) == told_over
    if over is not None:
        assert (over.kind, over.peak_c) == (OverFireKind.LIMIT, 545.0)


def test_a_fast_rise_above_the_usual_peak_is_an_over_fire_below_the_limit_too():
    rise_c = [400.0 + 10 * min(i, 10) for i in range(16)]
    over = asked(told(after(tended(60), rise_c))).over_fire
    assert over is not None
    assert over.kind is OverFireKind.RISE
    assert over.peak_c < LIMIT_C
    assert asked(told(after(tended(60), [*rise_c, *[400.0] * 30]))).over_fire is None


def test_late_and_repeated_readings_change_nothing():
    samples = simulated_boil(1001, Story.DYING).samples(5)[:1200]
    want = told(samples)
    dice = Random(7)
    shuffled = sorted(samples, key=lambda s: s[0] + dice.randrange(25_000))
    assert shuffled != samples
    late = told([again for sample in shuffled for again in (sample, sample)])
    assert asked(late) == asked(want)
    observe_stack(late, samples[10][0] + 1, 20.0, AIR_C)
    assert asked(late) == asked(want)


def test_a_question_leaves_the_state_and_a_stored_state_goes_on_as_if_never_stored():
    samples = simulated_boil(1002, Story.OVER_FIRE).samples(5)
    state = told(samples[:700])
    before = STORED.dump_json(state)
    answer = asked(state)
    assert STORED.dump_json(state) == before
    restored = STORED.validate_json(before)
    assert asked(restored) == answer
    for measured_ms, stack_c in samples[700:]:
        for each in (state, restored):
            observe_stack(each, measured_ms, stack_c, 3.0)
    assert restored == state


def test_a_long_boil_at_a_reading_a_second_stays_small():
    state = told(tended(14 * 60, interval_s=1, firing_min=5.0))
    assert len(asked(state).firings_ms) > 150
    assert len(STORED.dump_json(state)) < 20_000


def test_the_usual_band_is_what_this_boil_does():
    usual = asked(told(tended(60, level_c=350.0))).usual
    assert usual is not None
    assert (usual.low_c, usual.peak_c) == pytest.approx((350.0, 350.0), abs=0.1)


def test_boils_are_apart_when_the_sensor_was_away_overnight():
    evening = tended(60)
    morning = [(at_ms + 12 * 60 * MINUTE_MS, c) for at_ms, c in tended(30)]
    answer = asked(told(evening + morning))
    assert answer.since_ms == START_MS + 12 * 60 * MINUTE_MS
    assert all(t >= answer.since_ms for t in answer.firings_ms)
