from random import Random

import pytest

from shared.errors import InvalidArgument
from shared.estimates.storm import Heard, storm_review
from shared.estimates.storm_rows import Stand
from shared.estimates.suspects import Cause
from shared.estimates.troubles import Outcome
from shared.physics.air import steady_vacuum_pa
from shared.readings import Unknown
from shared.units import CFM_M3_S, GALLON_M3, INHG_PA
from tests.fakes.woods import knob
from tests.fakes.woods_nights import HOUR_MS, MINUTE_MS, START_MS, any_night, series_of

FROM_MS, END_MS = START_MS + HOUR_MS, START_MS + 3 * HOUR_MS
ONSET_MS = START_MS + 72 * MINUTE_MS
BAROMETER = ((START_MS, 96_000.0),)
WARM = ((START_MS, 4.0),)
USUAL = {sensor.id: 25.0 * INHG_PA for sensor in knob().sensors}


def ledge_leak(**said):
    lost_inhg = {"ledge-near": 0.8, "ledge-far": 3.1}
    now = {name: usual_pa - lost_inhg.get(name, 0.3) * INHG_PA for name, usual_pa in USUAL.items()}
    return series_of(Random(7), USUAL, now, ONSET_MS, **said)


def review(series, to_ms=END_MS, **said):
    facts = {"air_pressure": BAROMETER, "air_temperature": WARM}
    return storm_review(knob(), Heard(series, **(facts | said)), FROM_MS, to_ms)


def rows_of(found):
    return {row.sensor: row for row in found.sensors}


def steady(vacuum_pa):
    return [(at_ms, vacuum_pa(at_ms)) for at_ms in range(START_MS, END_MS, 30_000)]


def test_each_line_is_told_before_during_and_after():
    row = rows_of(review(ledge_leak()))["ledge-far"]
    assert (row.before_pa - row.after_pa) / INHG_PA == pytest.approx(3.1, abs=0.4)
    assert row.change_pa / INHG_PA == pytest.approx(-3.1, abs=0.4)
    assert row.worst_pa <= row.during_pa <= row.before_pa
    assert abs(row.onset.at_ms - ONSET_MS) <= MINUTE_MS
    assert row.recovered is None
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
    assert 0 <= row.recovered.at_ms - mended_ms <= 20 * MINUTE_MS
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
    found = review(ledge_leak(), to_ms=ONSET_MS + 20 * MINUTE_MS)
    row = rows_of(found)["ledge-far"]
    assert row.change_pa / INHG_PA == pytest.approx(-3.1, abs=0.5)
    assert found.suspects[0].line == "ledge"


def test_a_storm_that_ends_before_it_begins_is_refused():
    with pytest.raises(InvalidArgument, match="to_ms"):
        storm_review(knob(), Heard({}), END_MS, FROM_MS)


def test_a_series_of_no_vacuum_sensor_is_refused():
    with pytest.raises(InvalidArgument, match="vacuum"):
        review({"no-such-sensor": []})


@pytest.mark.parametrize("seed", range(8))
def test_on_any_leaking_night_the_onset_is_within_two_minutes(seed):
    night = any_night(seed, kind="leak")
    pressure, air = ((START_MS, night.woods.station_pa),), ((START_MS, night.air_c),)
    heard = Heard(night.series, air_pressure=pressure, air_temperature=air)
    found = storm_review(night.woods.farm, heard, night.from_ms, END_MS)
    for row in found.sensors:
        if night.usual[row.sensor] - night.now[row.sensor] > 2 * INHG_PA:
            assert abs(row.onset.at_ms - night.onset_ms) <= 2 * MINUTE_MS


def without(series, names, from_ms, to_ms):
    """The same, with those sensors silent for a time."""
    return {
        name: [row for row in rows if name not in names or not from_ms <= row[0] < to_ms]
        for name, rows in series.items()
    }


def with_outage(series, from_ms, to_ms):
    """The same, with the pump without power for a time."""
    return {
        name: [(at_ms, 0.0 if from_ms <= at_ms < to_ms else value) for at_ms, value in rows]
        for name, rows in series.items()
    }


OUTAGE = (START_MS + 100 * MINUTE_MS, START_MS + 115 * MINUTE_MS)


def test_a_power_cut_hides_no_limb():
    """Everything fell to nothing and came back, and the ledge is still open: the last is what must be walked."""
    found = review(with_outage(ledge_leak(), *OUTAGE))
    limb, pump = found.troubles
    assert (limb.suspects[0].line, limb.outcome) == ("ledge", Outcome.DOWN)
    assert abs(limb.onset.at_ms - ONSET_MS) <= MINUTE_MS
    assert (pump.is_pump_off, pump.outcome) == (True, Outcome.BACK)
    ((off_ms, on_ms),) = found.pump_off
    assert 0 <= OUTAGE[0] - off_ms <= MINUTE_MS
    assert on_ms == OUTAGE[1]
    assert found.recovered is False


def test_a_power_cut_alone_is_the_pump_and_costs_the_vacuums_part_of_the_sap():
    found = review(with_outage({name: steady(lambda _: 25.0 * INHG_PA) for name in USUAL}, *OUTAGE))
    (pump,) = found.troubles
    assert (pump.suspects[0].cause, pump.suspects[0].probability) == (Cause.PUMP, 1.0)
    # 25 inHg give 2.25 times the gravity yield; the refilling after a cut is within the band.
    day_gal = knob().taps * (1 - 1 / 2.25)
    assert found.sap_lost_m3.usual / GALLON_M3 == pytest.approx(day_gal * 15 / 1440, rel=0.05)


def test_the_pumps_switch_is_believed_before_its_gauge():
    """With the conductor torn off at the pump nothing is left, and the pump runs: that is no power cut."""
    rows = with_outage({name: steady(lambda _: 25.0 * INHG_PA) for name in USUAL}, *OUTAGE)
    switch = [(at_ms, 1.0) for at_ms in range(START_MS, END_MS, MINUTE_MS)]
    found = review(rows, pump_running=switch)
    assert found.pump_off == ()
    assert not found.troubles[0].is_pump_off


def test_a_fall_in_a_gap_is_told_as_between_two_times():
    cut = (START_MS + 65 * MINUTE_MS, START_MS + 95 * MINUTE_MS)
    found = review(without(ledge_leak(), set(USUAL), *cut))
    onset = found.troubles[0].onset
    assert onset.heard_before_ms == cut[0] - MINUTE_MS
    assert onset.heard_before_ms <= ONSET_MS <= onset.at_ms == cut[1]
    assert found.suspects[0].line == "ledge"


def test_what_a_gap_may_have_cost_widens_the_band():
    whole = review(ledge_leak()).sap_lost_m3
    cut = (START_MS + 65 * MINUTE_MS, START_MS + 95 * MINUTE_MS)
    gap = review(without(ledge_leak(), set(USUAL), *cut)).sap_lost_m3
    assert gap.low < whole.low
    assert gap.high > whole.high
    assert gap.low < whole.usual < gap.high


def test_a_neighbour_that_was_heard_tells_when_it_fell():
    cut = (START_MS + 65 * MINUTE_MS, START_MS + 95 * MINUTE_MS)
    found = review(without(ledge_leak(), {"ledge-far"}, *cut))
    assert abs(found.troubles[0].onset.at_ms - ONSET_MS) <= 2 * MINUTE_MS


def test_a_line_that_was_torn_off_the_air_is_not_said_to_be_back():
    series = without(ledge_leak(), set(USUAL), ONSET_MS + 20 * MINUTE_MS, END_MS)
    found = review(series)
    assert found.recovered is None
    assert found.troubles[0].outcome is Outcome.UNKNOWN
    assert rows_of(found)["ledge-far"].stand is Stand.UNKNOWN


def test_a_stuck_gauge_is_not_taken_to_hold():
    series = ledge_leak()
    series["brook-far"] = [(at_ms, 80_000.0) for at_ms, _ in series["brook-far"]]
    row = rows_of(review(series))["brook-far"]
    assert row.stand is Stand.UNKNOWN
    assert row.unknown.startswith("stuck at one figure since")


def test_a_gauge_that_speaks_another_unit_costs_no_sap():
    series = {name: steady(lambda at_ms: (25.0 - at_ms % 7 / 100) * INHG_PA) for name in USUAL}
    series["brook-far"] = [
        (at_ms, value if at_ms < ONSET_MS else value * 0.1450377) for at_ms, value in series["brook-far"]
    ]
    found = review(series)
    assert found.suspects[0].cause is Cause.SENSOR
    assert found.sap_lost_m3 is None
    assert found.sap_lost_m3_day is None


def test_an_evenings_frost_is_no_trouble():
    """Lines fade one after the other as the air falls below freezing, and the pump is stopped."""
    frost_ms = FROM_MS + 15 * MINUTE_MS

    def fading(begin_ms, tau_ms):
        def vacuum_pa(at_ms):
            faded = min(1.0, max(0.0, (at_ms - begin_ms) / tau_ms))
            return (25.0 * (1.0 - faded) + at_ms % 7 / 100) * INHG_PA

        return vacuum_pa

    begun = {name: frost_ms + number * 4 * MINUTE_MS for number, name in enumerate(USUAL)}
    begun["pump-vacuum"] = frost_ms + 45 * MINUTE_MS
    series = {name: steady(fading(begin_ms, 35 * MINUTE_MS)) for name, begin_ms in begun.items()}
    air = [
        (at_ms, 3.0 - 6.0 * (at_ms - START_MS) / (2 * HOUR_MS))
        for at_ms in range(START_MS, END_MS, MINUTE_MS)
    ]
    found = review(series, air_temperature=air)
    assert found.troubles == ()
    assert found.sap_lost_m3 is None
    assert found.recovered is None
    assert rows_of(found)["ledge-far"].stand in (Stand.FROZEN, Stand.PUMP_OFF)


def test_yield_lost_is_the_published_share():
    """Five of 25 inHg: 5 % of the gravity yield an inch, so 25 of 225 parts (Ohio State, Cornell extension notes)."""
    now = {name: usual_pa - 5.0 * INHG_PA for name, usual_pa in USUAL.items()}
    found = review(series_of(Random(3), USUAL, now, ONSET_MS))
    assert found.sap_lost_m3_day.usual / GALLON_M3 == pytest.approx(knob().taps * 25 / 225, rel=0.08)
    # 4 to 7 % an inch are published, and a tap gives a quarter of a gallon to two and a half.
    assert found.sap_lost_m3_day.low / GALLON_M3 == pytest.approx(knob().taps * 0.25 * 20 / 200, rel=0.08)
    assert found.sap_lost_m3_day.high / GALLON_M3 == pytest.approx(knob().taps * 2.5 * 35 / 275, rel=0.08)
    assert not found.is_sap_measured


def test_a_limb_comes_before_a_gauge_that_is_wrong_by_more():
    series = ledge_leak()
    series["brook-far"] = [
        (at_ms, value if at_ms < FROM_MS + 50 * MINUTE_MS else value * 0.1450377)
        for at_ms, value in series["brook-far"]
    ]
    limb, gauge = review(series).troubles
    assert (limb.suspects[0].line, gauge.suspects[0].cause) == ("ledge", Cause.SENSOR)
    assert gauge.drop_pa > limb.drop_pa


def test_a_second_limb_is_found_while_the_first_is_still_there():
    brook_ms = ONSET_MS + 40 * MINUTE_MS
    series = {
        name: [
            (
                at_ms,
                value - {"brook-near": 0.8, "brook-far": 4.2}.get(name, 0.3) * INHG_PA * (at_ms >= brook_ms),
            )
            for at_ms, value in rows
        ]
        for name, rows in ledge_leak().items()
    }
    found = review(series)
    assert [(t.suspects[0].line, t.outcome) for t in found.troubles] == [
        ("brook", Outcome.DOWN),
        ("ledge", Outcome.DOWN),
    ]
    assert abs(found.troubles[0].onset.at_ms - brook_ms) <= MINUTE_MS


def test_a_mended_limb_is_back_while_another_takes_some_of_its_vacuum():
    """The brook's leak still takes 1.2 inHg from the ledge, which had lost 3.1 by its own."""
    brook_ms, mended_ms = ONSET_MS + 25 * MINUTE_MS, START_MS + 130 * MINUTE_MS
    series = {
        name: [
            (
                at_ms,
                value - {"brook-near": 1.9, "brook-far": 6.0}.get(name, 1.2) * INHG_PA * (at_ms >= brook_ms),
            )
            for at_ms, value in rows
        ]
        for name, rows in ledge_leak(mended_ms=mended_ms).items()
    }
    found = {t.suspects[0].line: t for t in review(series).troubles}
    assert found["brook"].outcome is Outcome.DOWN
    assert found["ledge"].outcome is Outcome.BACK
    assert abs(found["ledge"].over.at_ms - mended_ms) <= 6 * MINUTE_MS
