from itertools import pairwise
from math import exp
from random import Random

import pytest
from pydantic import TypeAdapter

from shared.estimates.frost import SLOT_MS, AirHistory
from shared.estimates.onset import MINUTE_MS
from shared.estimates.pump_run import HOUR_MS, Pump, PumpHistory, Stop, observe_pump, pump, stop_of
from shared.readings import Unknown
from shared.units import INHG_PA

START_MS = 1_773_000_000_000
JSON = TypeAdapter(PumpHistory)
WHOLE_INHG = 28.4


class House:
    """The pump's gauge and switch, told every half minute for so many minutes."""

    def __init__(self, step_ms=30_000):
        self.state, self.now_ms, self.step_ms = PumpHistory(), START_MS, step_ms

    def tell(self, vacuum_inhg, minutes, *, switch=None, lines_inhg=()):
        begin_ms = self.now_ms
        end_ms = begin_ms + round(minutes * MINUTE_MS)
        while self.now_ms < end_ms:
            shown = (
                vacuum_inhg((self.now_ms - begin_ms) / MINUTE_MS) if callable(vacuum_inhg) else vacuum_inhg
            )
            lines = lines_inhg(shown) if callable(lines_inhg) else lines_inhg or ()
            lines_pa = [line * INHG_PA for line in lines]
            vacuum_pa = None if shown is None else shown * INHG_PA
            observe_pump(self.state, self.now_ms, vacuum_pa, switch, lines_pa)
            self.now_ms += self.step_ms
        return self

    def view(self):
        return pump(self.state, self.now_ms)


def leak(lost_inhg, tau_min):
    """A hole under a running pump: isothermal emptying, with the time constant of volume over pump speed."""
    return lambda minute: 25.0 - lost_inhg * (1.0 - exp(-minute / tau_min))


def sealed(inhg_min):
    """No pump: air comes in evenly while it is choked, and ever slower above half of the outside pressure."""

    def shown(minute):
        vacuum, passed = 25.0, 0.0
        while passed < minute and vacuum > 0:
            ratio = (WHOLE_INHG - vacuum) / WHOLE_INHG
            vacuum -= 0.1 * inhg_min * (1.0 if ratio < 0.528 else ((1 - ratio) / 0.472) ** 0.5)
            passed += 0.1
        return max(0.0, vacuum)

    return shown


def test_a_pump_never_heard_of_is_unknown():
    assert isinstance(pump(PumpHistory(), START_MS), Unknown)


def test_a_pump_not_heard_of_for_ten_minutes_is_unknown():
    house = House().tell(25.0, 5)
    assert isinstance(pump(house.state, house.now_ms + 11 * MINUTE_MS), Unknown)
    assert isinstance(pump(house.state, house.now_ms + 11 * MINUTE_MS, interval_s=600.0), Pump)


def test_a_pump_that_never_ran_stands_and_has_not_run():
    view = House().tell(0.1, 30).view()
    assert (view.runs, view.ran_ms) == (False, None)


@pytest.mark.parametrize("inhg_min", [0.5, 1.0, 3.0, 6.0])
@pytest.mark.parametrize("step_ms", [10_000, 30_000, 60_000])
def test_vacuum_that_falls_evenly_is_a_stop_known_within_minutes_and_dated_to_its_start(inhg_min, step_ms):
    house = House(step_ms).tell(25.0, 60)
    stopped_ms = house.now_ms
    house.tell(sealed(inhg_min), 11)
    view = house.view()
    assert not view.runs
    late_ms = view.since_ms - stopped_ms
    assert -MINUTE_MS <= late_ms <= MINUTE_MS + MINUTE_MS / inhg_min


@pytest.mark.parametrize("lost_inhg", [3.5, 5.0, 9.0, 15.0, 20.0])
@pytest.mark.parametrize("tau_min", [0.3, 1.0, 2.0, 3.0, 5.0])
@pytest.mark.parametrize("from_s", [0, 20, 40])
def test_a_leak_is_no_stop_whatever_its_size(lost_inhg, tau_min, from_s):
    """Volume over pump speed is one to three minutes (pump-down formula); with a gauge's noise of 0.05 inHg."""
    dice, house = Random(1), House(20_000)
    house.tell(lambda _minute: dice.gauss(25.0, 0.05), 60 + from_s / 60)
    torn_ms = house.now_ms
    for _ in range(40):
        at_min = (house.now_ms - torn_ms) / MINUTE_MS
        house.tell(lambda m, at_min=at_min: dice.gauss(leak(lost_inhg, tau_min)(at_min + m), 0.05), 1)
        assert house.view().runs


def test_two_leaks_one_after_the_other_are_no_stop():
    """Together they fall evenly, but their lines faster than the pump."""
    house = House().tell(25.0, 60, lines_inhg=lambda pump: (pump - 1.0, pump - 2.0))
    fall = [lambda minute: 25.0 - 0.55 * minute, lambda minute: 20.6 - 0.5 * minute]
    for shown in fall:
        house.tell(shown, 8, lines_inhg=lambda pump: (pump - 1.0, pump - 2.0 - 0.4 * (25.0 - pump)))
        assert house.view().runs


def test_while_it_falls_fast_it_is_too_early_to_tell():
    house = House().tell(25.0, 30).tell(sealed(3.0), 2)
    assert house.view().is_falling
    assert not House().tell(25.0, 30).tell(leak(5.0, 1.0), 8).view().is_falling
    assert not House().tell(25.0, 30, switch=True).tell(sealed(3.0), 2, switch=True).view().is_falling


def test_what_was_taken_for_a_stop_and_levels_off_with_vacuum_left_was_a_leak():
    house = House().tell(25.0, 30).tell(lambda minute: 25.0 - 0.6 * minute, 12)
    assert not house.view().runs
    assert house.tell(17.8, 14).view().runs


def test_a_releasers_dumps_are_no_fall():
    sag = House(10_000).tell(lambda minute: 25.0 - (4.0 if round(minute * 6) % 9 == 0 else 0.0), 60)
    assert sag.view().runs
    assert not sag.view().is_falling


def test_a_pump_that_makes_vacuum_again_runs():
    house = House().tell(25.0, 30).tell(sealed(3.0), 20)
    began_ms = house.now_ms
    view = house.tell(lambda minute: min(25.0, 3.0 * minute), 4).view()
    assert view.runs
    assert 0 <= view.since_ms - began_ms <= 2 * MINUTE_MS


def test_a_gauge_that_shows_nothing_while_lines_hold_is_no_stop():
    assert House().tell(25.0, 30).tell(0.0, 10, lines_inhg=(24.0, 23.0)).view().runs
    assert not House().tell(25.0, 30).tell(0.0, 10, lines_inhg=(1.0,)).view().runs


def test_a_switch_is_believed_once_vacuum_begins_to_fall():
    house = House().tell(25.0, 30, switch=True)
    off_ms = house.now_ms
    view = house.tell(sealed(3.0), 2, switch=False).view()
    assert (view.runs, view.since_ms) == (False, off_ms)


def test_a_switch_that_says_off_while_vacuum_holds_is_wrong():
    assert House().tell(25.0, 30, switch=True).tell(24.8, 300, switch=False).view().runs


def test_a_switch_alone_is_believed():
    house = House().tell(None, 10, switch=True).tell(None, 3, switch=False)
    assert not house.view().runs
    assert house.tell(None, 3, switch=True).view().runs


def test_a_running_motor_with_no_vacuum_is_no_stop():
    assert House().tell(25.0, 30, switch=True).tell(sealed(3.0), 20, switch=True).view().runs


def test_readings_that_come_late_change_nothing():
    house = House().tell(25.0, 30)
    before = JSON.dump_json(house.state)
    observe_pump(house.state, house.now_ms - 5 * MINUTE_MS, 0.0, switch=False)
    assert JSON.dump_json(house.state) == before


def test_a_restart_changes_nothing_and_the_state_stays_small():
    once, again = House().tell(25.0, 90), House().tell(25.0, 90)
    once.tell(sealed(1.0), 20)
    for _ in range(20):
        at_min = (again.now_ms - START_MS) / MINUTE_MS - 90
        again.tell(lambda minute, at_min=at_min: sealed(1.0)(at_min + minute), 1)
        again.state = JSON.validate_json(JSON.dump_json(again.state))
    assert once.state == again.state
    assert len(JSON.dump_json(House(2_000).tell(25.0, 300).state)) < 2_000


STOP_MS = START_MS + 96 * HOUR_MS


def air(*points, before_c=4.0, days=2.0):
    """Quarters of an hour: `before_c` for so many days, then through (hours from the stop, degC)."""
    first = (STOP_MS - round(days * 24) * HOUR_MS) // SLOT_MS
    last_h = points[-1][0]
    slots = range(first, (STOP_MS + round(last_h * HOUR_MS)) // SLOT_MS + 1)
    medians = []
    for slot in slots:
        hour = (slot * SLOT_MS - STOP_MS) / HOUR_MS
        known = [celsius for at_h, celsius in points if at_h <= hour]
        after = [(at_h, celsius) for at_h, celsius in points if at_h > hour]
        if not known:
            medians.append(before_c)
        elif not after:
            medians.append(known[-1])
        else:
            (h0, c0), (h1, c1) = next((a, b) for a, b in pairwise(points) if a[0] <= hour < b[0])
            medians.append(c0 + (c1 - c0) * (hour - h0) / (h1 - h0))
    return AirHistory(slots[0], medians, [medians[-1]], STOP_MS + round(last_h * HOUR_MS))


def taken(history, hours, *, frozen=False):
    stands = Pump(False, STOP_MS, STOP_MS - 1, 0.0, False)
    return stop_of(stands, history, frozen, STOP_MS + round(hours * HOUR_MS))


@pytest.mark.parametrize(
    ("history", "hours", "frozen", "stop"),
    [
        (None, 1.0, False, Stop.THAW),
        (air((-1, 5.0), (1, 5.0)), 1.0, False, Stop.THAW),
        (air((-1, 0.3), (1, -0.4)), 1.0, False, Stop.COLD),
        (air((-1, -4.0), (1, -5.0)), 1.0, True, Stop.FROST),
        (air((-1, 5.0), (1, 5.0), (4, -3.0)), 4.0, True, Stop.FROST_SINCE),
        # From 2.6 degC at the stop by 1.6 K an hour: freezing within two hours of it.
        (air((-1, 4.2), (1, 1.0)), 1.0, False, Stop.SOON_COLD),
        # It was about to freeze, and did not.
        (air((-1, 4.2), (1, 1.5), (3, 1.5)), 3.0, False, Stop.THAW),
        # It stopped near freezing, and half an hour later it was warm for good.
        (air((-1, 0.3), (0, 0.3), (0.5, 2.0), (1.5, 3.0)), 1.5, False, Stop.THAW),
        # The morning after: cold at 10 h, above 1 degC since 11 h.
        (air((-1, 0.3), (0, 0.2), (1, -4.0), (10, -2.0), (12, 4.0)), 12.0, False, Stop.COLD),
        (air((-1, 0.3), (0, 0.2), (1, -4.0), (10, -2.0), (13, 4.0)), 13.0, False, Stop.LATE),
        (air((-1, 9.0), (1, 9.0), before_c=8.0, days=4.0), 1.0, False, Stop.SPRING),
        (air((-1, 9.0), (1, 9.0), before_c=8.0, days=1.0), 1.0, False, Stop.THAW),
    ],
)
def test_a_stop_is_taken_for_what_the_air_makes_of_it(history, hours, frozen, stop):
    assert taken(history, hours, frozen=frozen) is stop
