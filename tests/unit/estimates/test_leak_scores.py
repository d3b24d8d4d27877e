"""How good the locator is on seeded storms whose truth comes from another model than its own.

Truth: tests/fakes/woods.py (orifices, a pump curve, Swamee-Jain friction, wet lines) and woods_nights.py
(dumps, wander, rounding, bias). Every case goes from readings to suspects. Run with -s for the figures.
"""

import pytest

from shared.estimates.storm import Heard, storm_review
from tests.fakes.verdicts import calibration_error, share_right, verdict_on
from tests.fakes.woods_nights import START_MS, any_night

SEEDS = range(1000, 1200)
SURE = 0.8


@pytest.fixture(scope="module")
def scored():
    """Nights with what was said of them."""
    pairs = []
    for seed in SEEDS:
        night = any_night(seed)
        heard = Heard(
            night.series,
            air_pressure=((START_MS, night.woods.station_pa),),
            air_temperature=((START_MS, night.air_c),),
        )
        found = storm_review(night.woods.farm, heard, night.from_ms, night.end_ms)
        pairs.append((night, verdict_on(night, found.suspects)))
    return pairs


def show(name, figure):
    print(f"\n{name}: {figure:.3f}")  # noqa: T201 - the figures are for the reader of -s
    return figure


def test_the_first_suspect_is_the_truth_in_six_of_seven_nights(scored):
    assert show("first is true", share_right([v for _, v in scored])) > 6 / 7


def test_the_truth_is_among_the_first_three(scored):
    assert show("truth in first three", sum(v.rank <= 3 for _, v in scored) / len(scored)) > 0.95
    assert show("mean rank of truth", sum(v.rank for _, v in scored) / len(scored)) < 1.5


def test_probabilities_mean_what_they_say(scored):
    assert show("expected calibration error", calibration_error([v for _, v in scored])) < 0.1


def test_what_is_said_surely_is_so(scored):
    sure = [v for _, v in scored if v.said >= SURE]
    assert show("nights said surely", len(sure) / len(scored)) > 0.5
    said = sum(v.said for v in sure) / len(sure)
    assert show("right when sure", share_right(sure)) > said - 0.05


@pytest.mark.parametrize(("kind", "least"), [("leak", 0.8), ("pump", 0.8), ("frozen", 0.7), ("sensor", 0.5)])
def test_each_kind_of_trouble_is_told_from_the_others(scored, kind, least):
    assert show(f"{kind} first", share_right([v for _, v in scored if v.kind == kind])) >= least


def test_the_size_of_a_leak_lies_in_its_band_as_often_as_a_band_should(scored):
    """80 of 100 by its meaning; friction of the true woods differs by its own factor."""
    sizes = [(n.leak_m3_s, v.suspect.leak_m3_s) for n, v in scored if v.kind == "leak" and v.right]
    inside = sum(band.low <= true_m3_s <= band.high for true_m3_s, band in sizes) / len(sizes)
    assert show("leak size in its band", inside) > 0.7
