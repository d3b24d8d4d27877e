from random import Random

import pytest
from pydantic import TypeAdapter

from shared.estimates.onset import MINUTE_MS
from shared.estimates.shares import Decline, Share, ShareHistory, decline_of, observe_share, share_of
from shared.estimates.vacuum import VacuumHistory, observe_vacuum
from shared.physics.air import attainable_vacuum_pa
from shared.readings import Unknown
from shared.units import INHG_PA

STATION_PA = 96_000.0
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
START_MS = 1_773_000_000_000 // DAY_MS * DAY_MS
JSON = TypeAdapter(ShareHistory)


class Gauge:
    def __init__(self, step_ms=5 * MINUTE_MS):
        self.vacuum, self.shares, self.now_ms, self.step_ms = (
            VacuumHistory(),
            ShareHistory(),
            START_MS,
            step_ms,
        )

    def tell(self, vacuum_inhg, hours, *, station_pa=STATION_PA, air_c=4.0, running=True, sealed=False):
        end_ms = self.now_ms + round(hours * HOUR_MS)
        while self.now_ms < end_ms:
            day = (self.now_ms - START_MS) / DAY_MS
            vacuum = vacuum_inhg(day) if callable(vacuum_inhg) else vacuum_inhg
            observe_vacuum(
                self.vacuum, self.now_ms, vacuum * INHG_PA, station_pa, air_c, running=running, sealed=sealed
            )
            observe_share(self.shares, self.vacuum, self.now_ms)
            self.now_ms += self.step_ms
        return self

    def decline(self):
        return decline_of(self.shares, self.vacuum.station_pa, self.now_ms)

    def lost_inhg(self):
        return self.decline().drop_pa / INHG_PA

    def share(self):
        return share_of(self.vacuum, self.now_ms, self.step_ms / 1000)


def test_nothing_heard_is_unknown():
    assert isinstance(share_of(VacuumHistory(), START_MS), Unknown)
    assert isinstance(decline_of(ShareHistory(), STATION_PA, START_MS), Unknown)


def test_the_share_is_of_what_the_air_allows():
    share = Gauge().tell(20.0, 1).share()
    assert share.share_ratio == pytest.approx(20.0 * INHG_PA / attainable_vacuum_pa(STATION_PA))
    assert share.is_open


@pytest.mark.parametrize("said", [{"running": False}, {"air_c": -4.0}, {"sealed": True}])
def test_a_pump_at_rest_frozen_or_shut_off_lines_are_not_open(said):
    assert not Gauge().tell(25.0, 2, **said).share().is_open


def test_a_silent_gauge_has_no_share():
    gauge = Gauge().tell(20.0, 1)
    gauge.now_ms += 40 * MINUTE_MS
    assert isinstance(gauge.share(), Unknown)


def test_a_dump_that_one_reading_met_is_not_the_share():
    gauge = Gauge(MINUTE_MS).tell(25.0, 1)
    gauge.tell(22.0, 1 / 60)
    assert isinstance(gauge.share(), Share)
    assert gauge.share().vacuum_pa == pytest.approx(25.0 * INHG_PA)


def test_before_a_day_has_gone_there_is_nothing_to_compare_with():
    assert isinstance(Gauge().tell(25.0, 30).decline(), Unknown)
    assert isinstance(Gauge().tell(25.0, 37).decline(), Decline)


def test_what_is_lost_by_the_day_is_told_half_a_day_behind():
    gauge = Gauge().tell(lambda day: 25.0 - 0.5 * max(0.0, day - 1.0), 5 * 24)
    assert gauge.lost_inhg() == pytest.approx(0.5 * 3.5, abs=0.1)
    assert START_MS <= gauge.decline().best_ms <= START_MS + DAY_MS


def test_the_worst_hour_is_remembered_for_a_day_after_most_was_mended():
    gauge = Gauge().tell(25.0, 60).tell(21.0, 3).tell(23.0, 12)
    assert gauge.decline().worst_pa / INHG_PA == pytest.approx(4.0, abs=0.1)
    assert gauge.tell(23.0, 20).decline().worst_pa / INHG_PA == pytest.approx(2.0, abs=0.1)


def test_a_repair_shows_within_hours():
    gauge = Gauge().tell(lambda day: 25.0 - 0.5 * max(0.0, day - 1.0), 5 * 24)
    assert gauge.tell(25.0, 3).lost_inhg() == pytest.approx(0.0, abs=0.05)


def test_the_best_day_is_forgotten_after_a_week():
    gauge = Gauge().tell(25.0, 48).tell(23.0, 9 * 24)
    assert gauge.lost_inhg() == pytest.approx(0.0, abs=0.01)


def test_a_front_is_no_decline():
    gauge = Gauge()
    for step in range(48):
        station_pa = STATION_PA - step / 48 * 1.5 * INHG_PA
        gauge.tell(0.9 * attainable_vacuum_pa(station_pa) / INHG_PA, 2, station_pa=station_pa)
    assert gauge.lost_inhg() == pytest.approx(0.0, abs=0.01)


def test_the_course_of_a_day_is_no_decline():
    """Noon's flow takes an inch: days of all hours, and then two of which only noon is thawed."""
    dice = Random(2)
    gauge = Gauge().tell(lambda day: 25.0 - (1.0 if 0.4 <= day % 1 < 0.7 else 0.0) + dice.gauss(0, 0.1), 96)
    assert gauge.lost_inhg() == pytest.approx(0.0, abs=0.2)
    for _ in range(2):
        gauge.tell(24.0, 9.6, air_c=-5.0).tell(24.0, 7.2, air_c=6.0).tell(24.0, 7.2, air_c=-5.0)
    assert gauge.lost_inhg() <= 1.1


@pytest.mark.parametrize("said", [{"running": False}, {"air_c": -4.0}])
def test_hours_at_rest_or_frozen_say_nothing(said):
    gauge = Gauge().tell(25.0, 60).tell(22.0, 20, **said)
    assert gauge.lost_inhg() == pytest.approx(0.0, abs=0.01)


def test_the_first_half_hour_after_a_start_says_nothing():
    gauge = Gauge().tell(25.0, 60)
    for _ in range(30):
        gauge.tell(0.2, 0.5, running=False).tell(20.0, 0.5)
    recent = gauge.decline()
    assert isinstance(recent, Unknown)


def test_the_state_stays_small_and_a_restart_changes_nothing():
    gauge, again = Gauge(), Gauge()
    gauge.tell(lambda day: 25.0 - day / 10, 12 * 24)
    for _ in range(24):
        again.tell(lambda day: 25.0 - day / 10, 12)
        again.shares = JSON.validate_json(JSON.dump_json(again.shares))
    assert again.shares == gauge.shares
    assert len(JSON.dump_json(Gauge(10_000).tell(25.0, 49).shares)) < 3_000


def test_a_late_or_repeated_reading_changes_nothing():
    gauge = Gauge().tell(25.0, 40)
    before = JSON.dump_json(gauge.shares)
    for late_ms in (0, 5 * MINUTE_MS, DAY_MS):
        observe_vacuum(
            gauge.vacuum, gauge.now_ms - gauge.step_ms - late_ms, 1e4, STATION_PA, 4.0, running=True
        )
        observe_share(gauge.shares, gauge.vacuum, gauge.now_ms - gauge.step_ms - late_ms)
    assert JSON.dump_json(gauge.shares) == before
