from random import Random

import pytest

from shared.errors import InvalidArgument
from shared.estimates.storm import storm_review
from shared.estimates.suspects import Cause
from shared.physics.air import steady_vacuum_pa
from shared.readings import Unknown
from shared.units import CFM_M3_S, GALLON_M3, INHG_PA
from tests.fakes.woods import knob
from tests.fakes.woods_nights import HOUR_MS, MINUTE_MS, START_MS, any_night, series_of

FROM_MS, TO_MS, END_MS = START_MS + HOUR_MS, START_MS + 2 * HOUR_MS, START_MS + 3 * HOUR_MS
ONSET_MS = START_MS + 72 * MINUTE_MS
BAROMETER = ((START_MS, 96_000.0),)
WARM = ((START_MS, 4.0),)
USUAL = {sensor.id: 25.0 * INHG_PA for sensor in knob().sensors}


def ledge_leak(**said):
    lost_inhg = {"ledge-near": 0.8, "ledge-far": 3.1}
    now = {name: usual_pa - lost_inhg.get(name, 0.3) * INHG_PA for name, usual_pa in USUAL.items()}
    return series_of(Random(7), USUAL, now, ONSET_MS, **said)


def review(series, **said):
    facts = {"now_ms": END_MS, "air_pressure": BAROMETER, "air_temperature": WARM}
    return storm_review(knob(), series, FROM_MS, TO_MS, **{**facts, **said})


def rows_of(found):
    return {row.sensor: row for row in found.sensors}


def steady(vacuum_pa):
    return [(at_ms, vacuum_pa(at_ms)) for at_ms in range(START_MS, END_MS, 30_000)]


def test_each_line_is_told_before_during_and_after():
    row = rows_of(review(ledge_leak()))["ledge-far"]
    assert (row.before_pa - row.after_pa) / INHG_PA == pytest.approx(3.1, abs=0.4)
    assert row.change_pa / INHG_PA == pytest.approx(-3.1, abs=0.4)
    assert row.worst_pa <= row.during_pa <= row.before_pa
    assert abs(row.onset_ms - ONSET_MS) <= MINUTE_MS
    assert row.recovered_ms is None
    assert row.unknown == ""


def test_the_leak_is_the_first_suspect():
    found = review(ledge_leak())
    assert (found.suspects[0].line, found.suspects[0].cause) == ("ledge", Cause.MAINLINE)
    assert found.recovered is False


def test_sensors_stand_line_by_line_outwards_from_the_pump():
    found = review(ledge_leak())
    assert [row.sensor for row in found.sensors[:4]] == [
        "pump-vacuum",
        "ledge-near",
        "ledge-far",
        "brook-near",
    ]
    assert [row.distance_m for row in found.sensors[:4]] == [0.0, 155.0, 1050.0, 275.0]


def test_sap_lost_is_told_once_by_the_sensor_that_speaks_for_the_taps():
    """800 taps of a gallon a day end at the far sensor: 5 % of the gravity yield an inch, 3.1 from 25."""
    found = review(ledge_leak())
    rows = rows_of(found)
    by_hand_gal = 800 * 0.05 * 3.1 / (1 + 0.05 * 25)
    assert rows["ledge-far"].sap_lost_m3_day.usual / GALLON_M3 == pytest.approx(by_hand_gal, rel=0.12)
    near = rows["ledge-near"].sap_lost_m3_day
    assert near is None or near.usual / GALLON_M3 < 1.0
    hours = (END_MS - ONSET_MS) / HOUR_MS
    so_far_gal = rows["ledge-far"].sap_lost_m3.usual / GALLON_M3
    assert so_far_gal == pytest.approx(by_hand_gal * hours / 24, rel=0.15)


def test_a_mended_line_has_recovered_and_its_leak_is_still_found():
    mended_ms = START_MS + 130 * MINUTE_MS
    found = review(ledge_leak(mended_ms=mended_ms))
    row = rows_of(found)["ledge-far"]
    assert found.recovered is True
    assert 0 <= row.recovered_ms - mended_ms <= 20 * MINUTE_MS
    assert row.sap_lost_m3_day is None
    assert row.sap_lost_m3.usual > 0
    assert found.suspects[0].line == "ledge"


def test_a_line_that_fell_silent_is_unknown_with_the_time_it_was_last_heard():
    series = ledge_leak()
    last_ms = START_MS + 40 * MINUTE_MS
    series["saddle-far"] = [row for row in series["saddle-far"] if row[0] <= last_ms]
    row = rows_of(review(series))["saddle-far"]
    assert row.unknown == "silent for 2 h 20 min"
    assert (row.after_pa, row.change_pa, row.sap_lost_m3_day) == (None, None, None)
    assert row.silent_since_ms == last_ms


def test_a_sensor_without_rows_is_unknown():
    series = ledge_leak()
    del series["saddle-far"]
    assert rows_of(review(series))["saddle-far"].unknown == "nothing heard"


def test_a_sensor_first_heard_in_the_storm_has_no_usual():
    series = ledge_leak()
    series["saddle-far"] = [row for row in series["saddle-far"] if row[0] >= FROM_MS]
    row = rows_of(review(series))["saddle-far"]
    assert row.unknown == "too little heard before the storm to know its usual"
    assert row.after_pa is not None


def test_without_any_rows_there_are_no_suspects():
    found = review({})
    assert isinstance(found.suspects, Unknown)
    assert (found.recovered, found.sap_lost_m3) == (None, None)


def test_a_quiet_storm_finds_nothing():
    """Steady readings to a hundredth: nothing fell, nothing is lost, nothing is suspected first."""
    found = review({name: steady(lambda at_ms: (25.0 - at_ms % 7 / 100) * INHG_PA) for name in USUAL})
    assert found.recovered is None
    assert found.sap_lost_m3_day is None
    assert found.suspects[0].cause is Cause.NOTHING


def test_a_front_that_comes_with_the_storm_is_no_fall():
    """An inch of mercury in two hours, under a pump of constant volume flow (P = q P_atm / S)."""

    def station_pa(at_ms):
        return 96_000.0 - max(0.0, (at_ms - FROM_MS) / (2 * HOUR_MS)) * INHG_PA

    air_pressure = [(at_ms, station_pa(at_ms)) for at_ms in range(START_MS, END_MS, MINUTE_MS)]
    rows = steady(lambda at_ms: steady_vacuum_pa(5 * CFM_M3_S, 40 * CFM_M3_S, station_pa(at_ms)))
    found = review(dict.fromkeys(USUAL, rows), air_pressure=air_pressure)
    assert found.recovered is None
    assert found.suspects[0].cause is Cause.NOTHING


def test_while_the_storm_lasts_it_is_told_as_far_as_it_has_come():
    found = review(ledge_leak(), now_ms=ONSET_MS + 20 * MINUTE_MS)
    row = rows_of(found)["ledge-far"]
    assert row.after_pa is None
    assert row.change_pa / INHG_PA == pytest.approx(-3.1, abs=0.5)
    assert found.suspects[0].line == "ledge"


def test_a_storm_that_ends_before_it_begins_is_refused():
    with pytest.raises(InvalidArgument, match="to_ms"):
        storm_review(knob(), {}, TO_MS, FROM_MS, now_ms=END_MS)


def test_a_series_of_no_vacuum_sensor_is_refused():
    with pytest.raises(InvalidArgument, match="series"):
        review({"no-such-sensor": []})


@pytest.mark.parametrize("seed", range(8))
def test_on_any_leaking_night_the_onset_is_within_two_minutes(seed):
    night = any_night(seed, kind="leak")
    pressure, air = ((START_MS, night.woods.station_pa),), ((START_MS, night.air_c),)
    found = storm_review(
        night.woods.farm,
        night.series,
        *night.storm_ms,
        now_ms=END_MS,
        air_pressure=pressure,
        air_temperature=air,
    )
    for row in found.sensors:
        if night.usual[row.sensor] - night.now[row.sensor] > 2 * INHG_PA:
            assert abs(row.onset_ms - night.onset_ms) <= 2 * MINUTE_MS
