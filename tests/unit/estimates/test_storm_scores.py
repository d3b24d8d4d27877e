"""How well a whole storm is told on seeded nights of several limbs, with a cut of power or link between them.

Truth: tests/fakes/storms.py over the plumbing of tests/fakes/woods.py, which is another model than the review's.
Run with -s for the figures.
"""

from dataclasses import dataclass

import pytest

from shared.estimates.storm import StormReview, storm_review
from shared.estimates.suspects import Cause, Suspect
from shared.estimates.troubles import Outcome, Trouble
from tests.fakes.storms import END_MS, FROM_MS, Limb, Storm, any_storm
from tests.fakes.woods_nights import MINUTE_MS

SEEDS = range(60)
WITHIN_MS = 5 * MINUTE_MS


@dataclass(frozen=True, slots=True)
class Told:
    """A limb, and the trouble that tells of it, if one does."""

    limb: Limb
    trouble: Trouble | None


@dataclass(frozen=True, slots=True)
class Scored:
    storm: Storm
    review: StormReview
    told: tuple[Told, ...]
    left: tuple[Trouble, ...]
    """Troubles that no limb explains."""


@pytest.fixture(scope="module")
def scored():
    return [score(any_storm(seed)) for seed in SEEDS]


def score(storm: Storm) -> Scored:
    review = storm_review(storm.woods.farm, storm.heard, FROM_MS, END_MS)
    left, told = list(review.troubles), []
    for limb in storm.limbs:
        near = [trouble for trouble in left if is_of(trouble, limb)]
        told.append(Told(limb, max(near, key=lambda trouble: trouble.drop_pa, default=None)))
        left = [trouble for trouble in left if trouble is not told[-1].trouble]
    return Scored(storm, review, tuple(told), tuple(left))


def is_of(trouble: Trouble, limb: Limb) -> bool:
    early_ms, late_ms = trouble.onset.heard_before_ms - WITHIN_MS, trouble.onset.at_ms + WITHIN_MS
    return not trouble.is_pump_off and early_ms <= limb.onset_ms <= late_ms


def is_there(limb: Limb, suspect: Suspect) -> bool:
    on_it = suspect.line == limb.line and suspect.from_m <= limb.at_m <= suspect.to_m
    return suspect.cause.is_leak and (on_it or limb.line in suspect.joining)


def told_of(scored) -> list[Told]:
    return [told for one in scored for told in one.told]


def show(name, figure):
    print(f"\n{name}: {figure:.3f}")  # noqa: T201 - the figures are for the reader of -s
    return figure


def test_hardly_a_limb_is_missed(scored):
    told = told_of(scored)
    assert show("limbs", len(told)) > 50
    assert show("told", sum(one.trouble is not None for one in told) / len(told)) > 0.97


def test_hardly_a_trouble_is_invented(scored):
    invented = [t for one in scored for t in one.left if not t.is_pump_off]
    assert show("invented in 60 storms", len(invented)) <= 2


def test_a_power_cut_is_told_as_one_in_every_storm(scored):
    for one in scored:
        cuts = [t for t in one.left if t.is_pump_off]
        assert len(cuts) == (one.storm.outage is not None)
        for cut in cuts:
            assert abs(cut.onset.at_ms - one.storm.outage[0]) <= 3 * MINUTE_MS
            assert cut.suspects[0].cause is Cause.PUMP


def test_each_limb_is_looked_for_where_it_is(scored):
    right = [is_there(t.limb, t.trouble.suspects[0]) for t in told_of(scored) if t.trouble]
    assert show("first is true", sum(right) / len(right)) > 0.8
    among = [any(is_there(t.limb, s) for s in t.trouble.suspects[:3]) for t in told_of(scored) if t.trouble]
    assert show("among the first three", sum(among) / len(among)) > 0.93


def test_probabilities_mean_what_they_say_in_a_storm_of_several_limbs(scored):
    """Expected calibration error in ten bins (Naeini, Cooper and Hauskrecht 2015)."""
    pairs = [
        (t.trouble.suspects[0].probability, is_there(t.limb, t.trouble.suspects[0]))
        for t in told_of(scored)
        if t.trouble
    ]
    error = 0.0
    for number in range(10):
        some = [(said, right) for said, right in pairs if min(9, int(said * 10)) == number]
        error += abs(sum(said for said, _ in some) - sum(right for _, right in some)) / len(pairs)
    assert show("expected calibration error", error) < 0.1
    sure = [right for said, right in pairs if said > 0.9]
    assert show("right when surer than 0.9", sum(sure) / len(sure)) > 0.93


def test_the_onset_is_told_to_the_minute(scored):
    errors = sorted(
        abs(t.trouble.onset.at_ms - t.limb.onset_ms) / MINUTE_MS
        for t in told_of(scored)
        if t.trouble and t.trouble.onset.at_ms - t.trouble.onset.heard_before_ms <= WITHIN_MS
    )
    assert show("onset, 95 of 100 within min", errors[round(0.95 * len(errors)) - 1]) < 2.0


def test_an_onset_in_a_gap_lies_between_the_two_times_told(scored):
    gaps = [
        t
        for t in told_of(scored)
        if t.trouble and t.trouble.onset.at_ms - t.trouble.onset.heard_before_ms > WITHIN_MS
    ]
    assert gaps
    for told in gaps:
        onset = told.trouble.onset
        assert onset.heard_before_ms - MINUTE_MS <= told.limb.onset_ms <= onset.at_ms + MINUTE_MS


def test_what_is_mended_is_told_from_what_is_still_down(scored):
    right = [
        t.trouble.outcome is (Outcome.DOWN if t.limb.mended_ms is None else Outcome.BACK)
        for t in told_of(scored)
        if t.trouble
    ]
    assert show("outcome right", sum(right) / len(right)) > 0.93
