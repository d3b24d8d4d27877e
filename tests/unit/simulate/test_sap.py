from statistics import mean

import pytest

from collector.simulate.sap import Trees, advance_trees
from shared.physics.sap import sap_per_syrup_ratio
from tests.fakes.seasons import season_gal_per_tap

SEEDS = range(24)
NASS_GAL_SYRUP = (0.219, 0.370)
"""US average of 2008 and Vermont's of 2024, syrup per tap (USDA NASS)."""


def test_a_season_at_middling_vacuum_gives_the_syrup_of_state_averages():
    """15 inHg, the vacuum of Cornell's 2010 comparison (15.6 gal a tap on new spouts)."""
    sap_gal = mean(sum(season_gal_per_tap(seed, 15.0)) for seed in SEEDS)
    syrup_gal = sap_gal / sap_per_syrup_ratio(2.0, 66.0)
    assert NASS_GAL_SYRUP[0] < syrup_gal < NASS_GAL_SYRUP[1]
    assert sap_gal == pytest.approx(15.6, rel=0.15)


def test_a_season_by_gravity_gives_about_ten_gallons_a_tap():
    """The rule of extension services for buckets and gravity lines, met within its own spread."""
    assert mean(sum(season_gal_per_tap(seed, 0.0)) for seed in SEEDS) == pytest.approx(10.0, rel=0.25)


def test_vacuum_gives_two_to_three_times_the_sap_of_buckets():
    """University of Vermont Extension; 5 % for each inHg of 25 is 2.25 times."""
    ratio = sum(season_gal_per_tap(3, 25.0)) / sum(season_gal_per_tap(3, 0.0))
    assert ratio == pytest.approx(2.25, rel=0.001)


def test_three_quarters_of_the_sap_come_in_a_fifth_of_the_days():
    """74 % of sap in 20 % of the season's days (iForest 17:323-330, 2024)."""
    shares = []
    for seed in SEEDS:
        days = sorted(season_gal_per_tap(seed, 15.0), reverse=True)
        shares.append(sum(days[: round(len(days) / 5)]) / sum(days))
    assert mean(shares) == pytest.approx(0.74, abs=0.06)


def test_the_best_day_is_a_gallon_or_two_a_tap():
    """About 1 gal is a good day on buckets, 2 the most; 2 to 3 under high vacuum (from memory)."""
    assert 0.7 < mean(max(season_gal_per_tap(seed, 0.0)) for seed in SEEDS) < 2.0
    assert 1.5 < mean(max(season_gal_per_tap(seed, 25.0)) for seed in SEEDS) < 3.5


def flow_over(hours: float, air_c: float, trees: Trees) -> float:
    return sum(advance_trees(trees, air_c, 0.0, 60.0) for _ in range(int(hours * 60)))


def test_no_sap_flows_from_a_tree_that_is_frozen():
    assert flow_over(12, -5.0, Trees(100, 1.0, 0.0, stem_c=-5.0)) == 0.0


def test_a_tree_that_never_freezes_runs_dry():
    trees = Trees(100, 1.0, 0.0, stem_c=6.0)
    first_day = flow_over(24, 6.0, trees)
    flow_over(48, 6.0, trees)
    assert flow_over(24, 6.0, trees) < 0.02 * first_day


def test_frost_fills_the_tree_again():
    dry = Trees(100, 1.0, 0.0, stem_c=6.0)
    flow_over(96, 6.0, dry)
    frozen = Trees(100, 1.0, 0.0, stem_c=6.0, store_m3=dry.store_m3)
    flow_over(10, -7.0, frozen)
    assert flow_over(12, 6.0, frozen) > 20 * flow_over(12, 6.0, dry)


def test_the_stem_thaws_about_an_hour_after_the_air():
    """Onset at 10 to 11 h where the air thaws in the morning (Kurokawa et al. 2022)."""
    trees = Trees(100, 1.0, 0.0, stem_c=-3.0)
    minutes = 0
    while advance_trees(trees, 3.0, 0.0, 60.0) == 0.0:
        minutes += 1
    assert 30 < minutes < 120


def test_a_closed_line_takes_nothing_from_its_trees():
    trees = Trees(100, 1.0, 0.0, stem_c=6.0)
    before_m3 = trees.store_m3
    assert advance_trees(trees, 6.0, 0.0, 60.0, closed=True) == 0.0
    assert trees.store_m3 == before_m3
