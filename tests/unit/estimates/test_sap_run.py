"""What a storm cost, held against simulated nights that are lived twice: with the storm, and without it."""

from bisect import bisect_right

import pytest

from shared.estimates.sap_run import gathering_tanks, sap_run
from shared.estimates.storm import storm_review
from shared.estimates.storm_cost import day_m3
from shared.estimates.tracks import weather_of
from shared.physics.contested import Contested
from shared.units import GALLON_M3, INHG_PA
from tests.fakes.heard_rows import heard, readings_of, rows_of, sample_readings, sample_truth
from tests.fakes.seasons import START_MS, farm, told

HOUR_MS = 3_600_000
HOURS = 8.0
END_MS = START_MS + round(HOURS * HOUR_MS)
MILD = "[weather]\nair_f = [[-30, 40], [-14, 24], [-8, 25], [-5, 40], [24, 42]]\n"
LIMB = 'kind = "limb_down"\nline = "ledge"\nplace_ft = 850\nhole_in = 0.2\nat_h = 3\nsap_lost_fraction = 0.0'
CUT = 'kind = "pump_stop"\nat_h = 5\nfor_h = 1.5'
ALL_SAP = {"ledge-far": 3200.0}
USUAL = {"ledge-far": 25.0 * INHG_PA}


def lived(event=""):
    """What was heard, and the sap that the trees gave."""
    messages, truth = told(f"{MILD}[[event]]\n{event}" if event else MILD, HOURS, 3)
    return messages, sum(truth.sap_by_day_m3)


@pytest.mark.parametrize("event", [LIMB, CUT], ids=["limb", "power cut"])
def test_the_loss_lies_in_the_band_that_is_told(event):
    messages, given_m3 = lived(event)
    _, calm_m3 = lived()
    rows = rows_of(readings_of((m.t_ms, m.topic, m.payload.encode()) for m in messages))
    found = storm_review(farm(), heard(rows), START_MS + 2 * HOUR_MS, END_MS)
    lost_m3 = calm_m3 - given_m3
    assert found.is_sap_measured
    assert lost_m3 > 50 * GALLON_M3
    assert found.sap_lost_m3.low < lost_m3 < found.sap_lost_m3.high
    assert found.sap_lost_m3.usual == pytest.approx(lost_m3, rel=0.2)


def test_the_tanks_tell_how_the_sap_runs():
    """Against the truth of a whole night: transfers, RO and the releaser's dumps between."""
    rows, truth = rows_of(sample_readings("windstorm-ledge")), sample_truth("windstorm-ledge")
    run = sap_run(
        farm(), {"lower-level": rows["lower-level"]}, USUAL, {"ledge-far": []}, ALL_SAP, weather(rows)
    )
    flows = {}
    for line in truth["lines"].values():
        for at_ms, *_, sap_m3_s, _frozen in line["rows"]:
            flows[at_ms] = flows.get(at_ms, 0.0) + sap_m3_s
    times = sorted(flows)
    ratios = []
    for at_ms in run.at_ms:
        if at_ms < truth["start_ms"] + HOUR_MS:
            continue  # the truth's first samples are of a farm that has only begun to be
        true_m3_day = flows[times[bisect_right(times, at_ms) - 1]] * 86_400 / farm().taps
        said = run.tap_m3_day(at_ms)
        ratios.append(said.usual / true_m3_day)
        assert said.low <= true_m3_day * 1.02
    assert len(ratios) > 30
    inside = sum(0.85 < ratio < 1.15 for ratio in ratios) / len(ratios)
    assert inside > 0.9


def weather(rows):
    return weather_of(farm(), rows["barometer"], rows["air"])


def level_run(levels, air=((START_MS, 5.0),)):
    return sap_run(
        farm(), {"lower-level": levels}, USUAL, {"ledge-far": []}, ALL_SAP, weather_of(farm(), (), air)
    )


def rising(inches_an_hour, from_in=10.0, hours=3):
    return [
        (START_MS + minute * 60_000, (from_in + inches_an_hour * minute / 60) * 0.0254)
        for minute in range(round(hours * 60))
    ]


def test_only_the_tank_that_the_lines_run_into_tells_the_run():
    assert [tank.id for tank in gathering_tanks(farm())] == ["lower"]


def test_without_a_level_it_is_a_good_days_gallon_with_all_it_may_be_off_by():
    """Trade forums tell of a gallon on a good day, and up to three under high vacuum."""
    tap = level_run([]).tap_m3_day(START_MS)
    assert (tap.low, tap.usual, tap.high) == (0.25 * GALLON_M3, GALLON_M3, 2.5 * GALLON_M3)


def test_without_a_level_a_frost_costs_nothing():
    assert level_run([], air=((START_MS, -4.0),)).tap_m3_day(START_MS).high == 0.0


def test_a_tank_that_stands_still_tells_that_no_sap_runs():
    run = level_run(rising(0.0))
    assert run.is_measured(START_MS + 2 * HOUR_MS)
    assert run.tap_m3_day(START_MS + 2 * HOUR_MS).high < 0.05 * GALLON_M3


def test_a_tank_that_is_pumped_down_tells_nothing():
    assert not level_run(rising(-10.0, from_in=60.0)).is_measured(START_MS + 2 * HOUR_MS)


def test_a_full_tank_tells_nothing():
    assert not level_run(rising(0.0, from_in=66.9)).is_measured(START_MS + 2 * HOUR_MS)


def test_a_tank_that_is_filled_by_something_else_tells_nothing():
    """Forty inches an hour are 23,000 gal a day of 3,200 taps: seven from each."""
    assert not level_run(rising(40.0, from_in=1.0, hours=1.5)).is_measured(START_MS + HOUR_MS)


def test_a_level_of_yesterday_tells_nothing_of_today():
    assert not level_run(rising(2.0)).is_measured(START_MS + 30 * HOUR_MS)


def test_a_days_loss_multiplies_both_bands():
    """4, 5 and 7 % an inch (Centre ACER, extension notes), by a yield that is not known to the gallon either."""
    tap = Contested(0.5, 1.0, 2.0)
    lost = day_m3(25.0 * INHG_PA, 5.0 * INHG_PA, 100.0, tap)
    assert lost.low == pytest.approx(0.5 * 100 * 20 / 200)
    assert lost.usual == pytest.approx(1.0 * 100 * 25 / 225)
    assert lost.high == pytest.approx(2.0 * 100 * 35 / 275)
