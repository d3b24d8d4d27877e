"""The review of a real store: what is asked of it, and how the storm is found when nobody says when it was."""

import pytest

from shared.errors import InvalidArgument
from shared.estimates.troubles import Outcome
from shared.hindsight import review, review_as_typed
from shared.instants import instant_ms
from shared.store.sqlite import SqliteStore
from tests.fakes.heard_rows import filled_store, sample_truth
from tests.fakes.seasons import farm

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
NAME = "windstorm-ledge"
END_MS = sample_truth(NAME)["end_ms"]
LIMB_MS = instant_ms("2026-04-03T06:10:00Z")
MENDED_MS = instant_ms("2026-04-03T10:00:00Z")
STILL_MS = MENDED_MS - 90 * MINUTE_MS


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """The windstorm's night as the collector would have stored it, half of it compacted."""
    made = filled_store(tmp_path_factory.mktemp("storm") / "farm.sqlite", NAME)
    yield made
    made.close()


def test_the_storm_is_found_an_hour_before_its_first_trouble(store):
    found = review(store, farm(), STILL_MS)
    assert abs(found.from_ms - (LIMB_MS - HOUR_MS)) <= 2 * MINUTE_MS
    assert found.to_ms == STILL_MS


def test_the_limb_is_first_to_walk_and_its_onset_told_to_the_minute(store):
    (limb,) = review(store, farm(), STILL_MS).troubles
    first = limb.suspects[0]
    assert (first.line, limb.outcome) == ("ledge", Outcome.DOWN)
    assert first.from_m <= 259.08 <= first.to_m
    assert abs(limb.onset.at_ms - LIMB_MS) <= 2 * MINUTE_MS


def test_when_it_is_mended_it_is_said_to_be_back(store):
    found = review(store, farm(), END_MS)
    assert found.recovered is True
    assert abs(found.troubles[0].over.at_ms - MENDED_MS) <= 3 * MINUTE_MS


def test_the_loss_of_the_stream_lies_in_the_band(store):
    """The truth's flows against what the same trees would have given at the vacuum that was lost: 5 % an inch."""
    lost_m3 = 0.0
    for line in sample_truth(NAME)["lines"].values():
        rows = [row for row in line["rows"] if row[0] < LIMB_MS]
        usual_inhg = (rows[-1][2] + rows[-1][3]) / 2 / 3386.389
        for at_ms, _, near_pa, far_pa, sap_m3_s, _ in line["rows"]:
            if LIMB_MS < at_ms <= MENDED_MS:
                now_inhg = (near_pa + far_pa) / 2 / 3386.389
                lost_m3 += sap_m3_s * 600.0 * ((1 + 0.05 * usual_inhg) / (1 + 0.05 * now_inhg) - 1)
    found = review(store, farm(), END_MS).sap_lost_m3
    assert found.low < lost_m3 < found.high
    # One gauge speaks for a whole line, whose near end lost less: told a little high.
    assert found.usual == pytest.approx(lost_m3, rel=0.25)


def test_a_named_time_is_looked_at_as_it_was_then(store):
    found = review_as_typed(store, farm(), END_MS, "2026-04-03 01:00", "2026-04-03 03:00")
    assert (found.from_ms, found.to_ms) == (LIMB_MS - 70 * MINUTE_MS, LIMB_MS + 50 * MINUTE_MS)
    assert found.troubles[0].outcome is Outcome.DOWN


def test_a_quiet_day_is_told_whole(store):
    found = review(store, farm(), LIMB_MS - 10 * MINUTE_MS)
    assert found.troubles == ()
    # The first hour of a store's first day is all the usual there is.
    assert found.from_ms == pytest.approx(sample_truth(NAME)["start_ms"] + HOUR_MS, abs=5 * MINUTE_MS)


@pytest.mark.parametrize(
    ("from_text", "to_text", "says"),
    [
        ("3h", "5h", "from is '2 h after to'; it must be before to"),
        ("9d", None, "a week at most"),
        ("2026-04-04 10:00", None, "from is .* after now'; it must be before now"),
        ("22:00", "teatime", "to is 'teatime'"),
    ],
)
def test_a_time_that_is_no_stretch_is_refused_with_its_name(store, from_text, to_text, says):
    with pytest.raises(InvalidArgument, match=says):
        review_as_typed(store, farm(), END_MS, from_text, to_text)


def test_an_end_to_come_is_now(store):
    assert review_as_typed(store, farm(), STILL_MS, "2h", "2026-04-30 10:00").to_ms == STILL_MS


def test_an_empty_store_tells_of_nothing(tmp_path):
    empty = SqliteStore(tmp_path / "farm.sqlite", {s.id: s.quantity for s in farm().sensors})
    found = review(empty, farm(), END_MS)
    empty.close()
    assert found.troubles == ()
    assert {row.unknown for row in found.sensors} == {"nothing heard"}
