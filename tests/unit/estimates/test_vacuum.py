from math import inf, nan
from random import Random

import pytest
from pydantic import TypeAdapter

from shared.errors import InvalidArgument
from shared.estimates.vacuum import (
    MINUTE_MS,
    SETTLE_MS,
    VacuumDrop,
    VacuumHistory,
    observe_vacuum,
    pump_is_running,
    rebase_vacuum,
    vacuum_drop,
)
from shared.physics.air import steady_vacuum_pa
from shared.readings import Unknown
from shared.units import CFM_M3_S, INHG_PA
from tests.fakes.woods_nights import START_MS, any_night

STATION_PA = 96_000.0
STEP_MS = 15_000
HOUR_MS = 60 * MINUTE_MS
JSON = TypeAdapter(VacuumHistory)


class Gauge:
    """One sensor told steady vacuums for so many minutes, one after the other."""

    def __init__(self, step_ms=STEP_MS):
        self.state, self.now_ms, self.step_ms = VacuumHistory(), START_MS, step_ms

    def tell(self, vacuum_inhg, minutes, *, station_pa=STATION_PA, air_c=4.0, running=True):
        end_ms = self.now_ms + round(minutes * MINUTE_MS)
        while self.now_ms < end_ms:
            vacuum_pa = vacuum_inhg(self.now_ms) if callable(vacuum_inhg) else vacuum_inhg * INHG_PA
            observe_vacuum(self.state, self.now_ms, vacuum_pa, station_pa, air_c, running=running)
            self.now_ms += self.step_ms
        return self

    def drop(self):
        return vacuum_drop(self.state, self.now_ms)


def usual_gauge(vacuum_inhg=25.0, minutes=90, **said):
    return Gauge().tell(vacuum_inhg, minutes, **said)


def inhg(pascals):
    return pascals / INHG_PA


def test_a_sensor_never_heard_is_unknown():
    assert vacuum_drop(VacuumHistory(), START_MS) == Unknown("nothing heard yet")


def test_its_usual_needs_minutes_of_the_pump_running_and_settled():
    assert isinstance(usual_gauge(minutes=28).drop(), Unknown)
    assert isinstance(usual_gauge(minutes=33).drop(), VacuumDrop)


@pytest.mark.parametrize("said", [{"running": False}, {"air_c": -3.0}])
def test_nothing_is_learnt_while_the_pump_stands_or_the_lines_are_frozen(said):
    assert isinstance(usual_gauge(minutes=600, **said).drop(), Unknown)


def test_pumping_down_is_not_usual():
    gauge = Gauge().tell(lambda at_ms: 25.0 * INHG_PA * min(1.0, (at_ms - START_MS) / SETTLE_MS), 60)
    assert inhg(gauge.drop().usual_pa) == pytest.approx(25.0, abs=0.01)


def test_a_silent_sensor_is_unknown_never_fine():
    gauge = usual_gauge()
    assert isinstance(vacuum_drop(gauge.state, gauge.now_ms + 4 * MINUTE_MS), VacuumDrop)
    assert vacuum_drop(gauge.state, gauge.now_ms + 185 * MINUTE_MS) == Unknown("silent for 3 h 05 min")


def test_a_slow_sensor_is_silent_after_its_own_missed_intervals():
    gauge = Gauge(step_ms=4 * MINUTE_MS).tell(25.0, 300)
    last_ms = gauge.state.times_ms[-1]
    assert isinstance(vacuum_drop(gauge.state, last_ms + 19 * MINUTE_MS), VacuumDrop)
    assert vacuum_drop(gauge.state, last_ms + 21 * MINUTE_MS) == Unknown("silent for 21 min")


def test_a_dead_gauge_at_zero_does_not_become_usual():
    assert isinstance(Gauge().tell(0.0, 600).drop(), Unknown)


def test_a_leak_is_told_with_its_size_and_start():
    gauge = usual_gauge().tell(21.9, 20)
    drop = gauge.drop()
    assert inhg(drop.usual_pa) == pytest.approx(25.0, abs=0.01)
    assert inhg(drop.drop_pa) == pytest.approx(3.1, abs=0.05)
    assert abs(drop.since_ms - (START_MS + 90 * MINUTE_MS)) <= MINUTE_MS
    assert drop.fell_s <= 120.0
    assert (drop.pump_running, drop.frozen, drop.above_attainable) == (True, False, False)


def test_a_fresh_leak_is_told_within_two_minutes():
    drop = usual_gauge().tell(21.9, 2).drop()
    assert inhg(drop.drop_pa) == pytest.approx(3.1, abs=0.05)
    assert abs(drop.since_ms - (START_MS + 90 * MINUTE_MS)) <= MINUTE_MS


def test_a_holding_line_has_no_start_of_a_drop():
    drop = usual_gauge().drop()
    assert (drop.since_ms, drop.fell_s) == (None, None)


def test_a_leak_does_not_become_usual_in_a_night():
    drop = usual_gauge(minutes=300).tell(21.9, 14 * 60).drop()
    assert inhg(drop.drop_pa) == pytest.approx(3.1, abs=0.05)
    assert abs(drop.since_ms - (START_MS + 300 * MINUTE_MS)) <= MINUTE_MS


def test_a_leak_that_grows_all_night_does_not_become_usual():
    start_ms = START_MS + 300 * MINUTE_MS
    gauge = usual_gauge(minutes=300)
    gauge.tell(lambda at_ms: (25.0 - 0.4 * (at_ms - start_ms) / HOUR_MS) * INHG_PA, 12 * 60)
    assert inhg(gauge.drop().drop_pa) == pytest.approx(0.4 * 12, abs=0.3)


def test_a_front_is_no_leak():
    """A pump of constant volume flow holds P = q P_atm / S: with less air less vacuum, the same share."""
    gauge = Gauge()
    for step in range(24):
        station_pa = STATION_PA - step / 24 * 1.0 * INHG_PA
        vacuum_pa = steady_vacuum_pa(5 * CFM_M3_S, 40 * CFM_M3_S, station_pa)
        gauge.tell(vacuum_pa / INHG_PA, 30, station_pa=station_pa)
    drop = gauge.drop()
    assert inhg(drop.drop_pa) == pytest.approx(0.0, abs=0.05)
    assert drop.since_ms is None


def test_the_releasers_sawtooth_is_no_drop():
    """A dump of 2 inHg each 90 s that fades in 10 s, the largest that the trade tells of."""
    dip = [2.0, 1.2, 0.7, 0.4, 0.3, 0.2, 0.1, 0.0, 0.0]

    def sawtooth(at_ms):
        return (25.0 - dip[at_ms // 10_000 % 9]) * INHG_PA

    gauge = Gauge(step_ms=10_000).tell(sawtooth, 180)
    for _ in range(40):
        gauge.tell(sawtooth, 1)
        assert gauge.drop().since_ms is None
    gauge.tell(lambda at_ms: sawtooth(at_ms) - 3.0 * INHG_PA, 5)
    assert inhg(gauge.drop().drop_pa) == pytest.approx(3.0, abs=0.3)


def test_one_reading_that_met_a_dump_is_no_drop_however_slow_the_sensor():
    gauge = Gauge(step_ms=4 * MINUTE_MS).tell(25.0, 300).tell(23.0, 4)
    assert inhg(gauge.drop().drop_pa) == pytest.approx(0.0, abs=0.01)


def test_the_log_makes_it_learn_anew():
    gauge = usual_gauge().tell(22.0, 60)
    rebase_vacuum(gauge.state)
    assert isinstance(gauge.drop(), Unknown)
    assert inhg(gauge.tell(22.0, 25).drop().drop_pa) == pytest.approx(0.0, abs=0.01)


def test_a_stopped_pump_is_flagged_and_still_told():
    drop = usual_gauge().tell(1.0, 30, running=False).drop()
    assert not drop.pump_running
    assert inhg(drop.drop_pa) == pytest.approx(24.0, abs=0.1)


def test_without_a_running_sensor_the_vacuum_tells_whether_the_pump_runs():
    assert usual_gauge(running=None).drop().pump_running
    assert not usual_gauge(running=None).tell(0.5, 10, running=None).drop().pump_running
    assert pump_is_running([0.1 * INHG_PA, 20 * INHG_PA])
    assert not pump_is_running([0.1 * INHG_PA])
    assert not pump_is_running([])


def test_freezing_is_flagged_until_the_thaw_lag_is_over():
    gauge = usual_gauge().tell(25.0, 5, air_c=-2.0)
    assert gauge.drop().frozen
    assert gauge.tell(25.0, 30, air_c=-0.5).drop().frozen
    assert gauge.tell(25.0, 59, air_c=2.0).drop().frozen
    assert not gauge.tell(25.0, 3, air_c=2.0).drop().frozen


def test_what_a_frozen_line_shows_is_not_learnt():
    drop = usual_gauge().tell(25.9, 12 * 60, air_c=-5.0).drop()
    assert inhg(drop.usual_pa) == pytest.approx(25.0, abs=0.01)


def test_a_line_that_holds_nothing_after_a_frost_is_frozen_until_ice_must_have_melted():
    gauge = usual_gauge().tell(25.0, 60, air_c=-4.0).tell(3.0, 90, air_c=4.0)
    assert gauge.drop().frozen
    # 2 kelvin hours melt a mainline's ice, and vacuum is back; 20 melt any, and then it is a loss.
    assert not gauge.tell(24.0, 15, air_c=4.0).drop().frozen
    torn = usual_gauge().tell(25.0, 60, air_c=-4.0).tell(3.0, 6 * 60, air_c=4.0).drop()
    assert not torn.frozen
    assert inhg(torn.drop_pa) == pytest.approx(22.0, abs=0.1)


def test_a_first_look_just_above_freezing_does_not_know_that_the_lines_are_open():
    assert isinstance(usual_gauge(minutes=60, air_c=0.5).drop(), Unknown)


def test_after_a_thaw_and_after_a_start_of_the_pump_vacuum_is_still_coming():
    thawed = usual_gauge().tell(25.0, 60, air_c=-4.0).tell(24.0, 32, air_c=4.0)
    assert thawed.drop().settling
    assert not thawed.tell(24.0, 12, air_c=4.0).drop().settling
    started = usual_gauge().tell(0.0, 20, running=False).tell(20.0, 5)
    assert started.drop().settling


def test_what_a_pump_shows_against_shut_lines_is_not_learnt():
    gauge = Gauge()
    for _ in range(120):
        gauge.now_ms += MINUTE_MS
        observe_vacuum(gauge.state, gauge.now_ms, 27.5 * INHG_PA, STATION_PA, 4.0, running=True, sealed=True)
    assert isinstance(gauge.drop(), Unknown)


def test_without_a_thermometer_frozen_is_not_known():
    assert usual_gauge(air_c=None).drop().frozen is None


def test_more_vacuum_than_air_is_a_finding_about_the_sensor():
    station_inhg = STATION_PA / INHG_PA
    assert not usual_gauge().tell(station_inhg + 0.2, 10).drop().above_attainable
    wrong = usual_gauge().tell(station_inhg + 0.4, 600).drop()
    assert wrong.above_attainable
    assert inhg(wrong.usual_pa) == pytest.approx(25.0, abs=0.01)


@pytest.mark.parametrize(
    ("vacuum_pa", "station_pa", "air_c"),
    [
        (nan, STATION_PA, 4.0),
        (inf, STATION_PA, 4.0),
        (2e5, STATION_PA, 4.0),
        (8e4, nan, 4.0),
        (8e4, 3e4, 4.0),
        (8e4, STATION_PA, nan),
        (8e4, STATION_PA, 100.0),
    ],
)
def test_what_no_sensor_can_show_is_refused_and_changes_nothing(vacuum_pa, station_pa, air_c):
    gauge = usual_gauge()
    before = JSON.dump_json(gauge.state)
    with pytest.raises(InvalidArgument):
        observe_vacuum(gauge.state, gauge.now_ms, vacuum_pa, station_pa, air_c)
    assert JSON.dump_json(gauge.state) == before


def night_rows(seed):
    night = any_night(seed, kind="leak")
    return next(iter(night.series.values()))


def fold(rows, state=None):
    state = state or VacuumHistory()
    for at_ms, vacuum_pa in rows:
        observe_vacuum(state, at_ms, vacuum_pa, STATION_PA, 4.0, running=True)
    return state


def test_a_redelivered_reading_changes_nothing():
    rows = night_rows(1)
    again = [row for index in range(len(rows)) for row in rows[max(0, index - 2) : index + 1]]
    assert fold(again) == fold(rows)


def test_readings_that_overtook_each_other_meet_in_their_minute():
    rows = night_rows(2)
    swapped = list(rows)
    for index in range(1, len(rows) - 2, 3):
        swapped[index], swapped[index + 1] = rows[index + 1], rows[index]
    assert fold(swapped) == fold(rows)


def test_a_reading_older_than_the_window_is_ignored():
    state = fold(night_rows(3))
    before = JSON.dump_json(state)
    observe_vacuum(state, START_MS, 50_000.0, STATION_PA, 4.0, running=True)
    assert JSON.dump_json(state) == before


@pytest.mark.parametrize("seed", [4, 5])
def test_a_restart_at_any_moment_changes_nothing(seed):
    rows = night_rows(seed)
    stop = Random(seed).randrange(len(rows))
    restored = JSON.validate_json(JSON.dump_json(fold(rows[:stop])))
    assert fold(rows[stop:], restored) == fold(rows)


def test_the_state_stays_small_however_fast_the_sensor_talks():
    gauge = Gauge(step_ms=1_000)
    gauge.tell(lambda at_ms: (25.0 - at_ms % 7 / 30) * INHG_PA, 5 * 60)
    assert len(JSON.dump_json(gauge.state)) < 20_000


@pytest.mark.parametrize("seed", range(10, 16))
def test_on_any_leaking_night_every_sensors_drop_is_the_true_one(seed):
    """Truth from pipe flow and orifices; 0.5 inHg for wander, rounding and the releaser's dumps."""
    night = any_night(seed, kind="leak")
    for name, rows in night.series.items():
        state = VacuumHistory()
        for at_ms, vacuum_pa in rows:
            observe_vacuum(state, at_ms, vacuum_pa, night.woods.station_pa, night.air_c, running=True)
        drop = vacuum_drop(state, rows[-1][0])
        assert inhg(drop.drop_pa) == pytest.approx(inhg(night.usual[name] - night.now[name]), abs=0.6)
        if drop.drop_pa > 2 * INHG_PA:
            assert abs(drop.since_ms - night.onset_ms) <= 2 * MINUTE_MS


def test_a_slow_sensors_median_is_given_as_long_to_come_back_after_a_thaw():
    """Of five readings, one in five minutes, three must show the vacuum that has come back."""
    slow = Gauge(step_ms=5 * MINUTE_MS).tell(25.0, 300).tell(0.5, 300, air_c=-4.0).tell(0.5, 35, air_c=4.0)
    slow.tell(24.8, 5, air_c=4.0)
    for _ in range(6):
        slow.tell(24.8, 5, air_c=4.0)
        drop = slow.drop()
        assert drop.settling or drop.frozen or inhg(drop.drop_pa) < 1.0
    assert not slow.tell(24.8, 5, air_c=4.0).drop().settling
