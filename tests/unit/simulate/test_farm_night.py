from itertools import pairwise

import pytest

from collector.simulate.liquids import density_kg_m3
from collector.simulate.truth import Balance
from collector.simulate.truth_file import truth_text
from collector.simulate.wire import stream_line
from shared.physics.sap import SYRUP_BRIX
from shared.units import GALLON_M3, INHG_PA
from tests.fakes.seasons import MILD, farm, told

RUN_DAY = """
[weather]
air_f = [[-30, 40], [-12, 26], [-3, 22], [3, 40], [8, 46], [16, 33], [24, 28]]
[plant]
transfer_gal_h = 1200
"""
ALL_AT_ONCE = (
    MILD
    + """
[tanks.upper]
volume_gal = 2000
[tanks.concentrate]
volume_gal = 300
[[event]]
kind = "limb_down"
line = "ledge"
at_h = 1
[[event]]
kind = "releaser_stuck"
way = "closed"
at_h = 2
for_h = 1
[[event]]
kind = "tank_unattended"
tank = "lower"
at_h = 3
for_h = 8
[[event]]
kind = "wash"
tank = "permeate"
at_h = 4
for_min = 1
[[event]]
kind = "boil"
at_h = 1
for_h = 4
[[event]]
kind = "ro_run"
at_h = 2
for_h = 6
"""
)


def vacuum_inhg(truth, line, hour, end="far"):
    sample = min(truth.lines[line], key=lambda s: abs(s.at_ms - truth.at_ms(hour * 3600)))
    return getattr(sample, f"{end}_vacuum_pa") / INHG_PA


def event(kind, rest="", at_h=2, for_h=2):
    return f'{MILD}[[event]]\nkind = "{kind}"\nat_h = {at_h}\nfor_h = {for_h}\n{rest}\n'


@pytest.mark.parametrize(
    ("text", "hours"), [(RUN_DAY, 24), (ALL_AT_ONCE, 12)], ids=["run day", "all at once"]
)
@pytest.mark.parametrize("of", ["water", "sugar"])
def test_what_comes_in_is_stored_poured_boiled_away_made_or_spilled(text, hours, of):
    _, truth = told(text, hours)
    books: Balance = getattr(truth, of)
    assert books.sap_in_kg > 0
    assert abs(books.error_kg) < 0.001 * books.sap_in_kg


def test_the_books_agree_with_what_is_seen_apart_from_them():
    """Sap by the lines' own flows, stock by the tanks' volumes, syrup by its legal strength."""
    _, truth = told(RUN_DAY, 24)
    total_in_kg = truth.water.sap_in_kg + truth.sugar.sap_in_kg
    flows = [sum(rows[i].sap_m3_s for rows in truth.lines.values()) for i in range(len(truth.lines["pump"]))]
    assert sum(flows) * 600 * density_kg_m3(2.0) == pytest.approx(total_in_kg, rel=0.02)
    stock_kg = sum(rows[-1].volume_m3 * density_kg_m3(rows[-1].brix) for rows in truth.tanks.values())
    releaser_kg = 10 * GALLON_M3 * 1010
    stored_kg = truth.water.stored_kg + truth.sugar.stored_kg
    assert stock_kg == pytest.approx(stored_kg, abs=releaser_kg)
    syrup_kg = truth.water.syrup_kg + truth.sugar.syrup_kg
    assert 100 * truth.sugar.syrup_kg / syrup_kg == pytest.approx(SYRUP_BRIX)


def test_everything_that_can_be_lost_is_lost_in_the_test_above():
    _, truth = told(ALL_AT_ONCE, 12)
    books = truth.water
    for entry in ("permeate_poured_kg", "evaporated_kg", "syrup_kg", "spilled_kg", "washed_kg", "stored_kg"):
        assert getattr(books, entry) > 10, entry


def test_the_same_seed_gives_the_same_bytes_and_another_other_ones():
    def lines(seed):
        told.cache_clear()
        messages, truth = told(RUN_DAY, 2.0, seed)
        return [stream_line(m) for m in messages], truth_text(truth)

    assert lines(1) == lines(1)
    assert lines(1)[0] != lines(2)[0]


def test_a_limb_takes_its_line_and_little_of_the_others():
    _, truth = told(event("limb_down", 'line = "ledge"\nplace_ft = 1050\nhole_in = 0.2'), 6)
    drop = {
        line: vacuum_inhg(truth, line, 1.8) - vacuum_inhg(truth, line, 3)
        for line in ("ledge", "brook", "north-face", "saddle")
    }
    assert drop["ledge"] > 4
    assert all(0.3 < drop[line] < 2.5 for line in ("brook", "north-face", "saddle"))
    assert vacuum_inhg(truth, "ledge", 5) == pytest.approx(vacuum_inhg(truth, "ledge", 1.8), abs=0.3)
    told_of = next(o for o in truth.occurrences if o.kind == "limb_down")
    assert (told_of.subject, told_of.to_ms - told_of.from_ms) == ("ledge", 2 * 3600_000)
    assert truth.water.spilled_kg > 50


def test_a_leak_lets_in_what_its_hole_passes_while_it_is_open():
    """1/8 in passes 2.03 CFM at sea level, choked (isentropic nozzle), and in proportion to pressure."""
    _, truth = told(event("leak", 'line = "brook"\nhole_in = 0.125'), 6)
    leaks = [sample.leak_m3_s / (0.3048**3 / 60) for sample in truth.lines["brook"]]
    assert max(leaks) == pytest.approx(2.03 * 28.4 / 29.92, rel=0.05)
    assert leaks[0] == leaks[-1] == 0.0


def test_a_shut_valve_loses_its_line_and_its_sap_and_no_other():
    _, truth = told(event("valve_closed", 'line = "ledge"'), 6)
    assert vacuum_inhg(truth, "ledge", 3.5) < 2
    assert vacuum_inhg(truth, "brook", 3.5) > vacuum_inhg(truth, "brook", 1.5)
    shut = [s.sap_m3_s for s in truth.lines["ledge-top"] if truth.at_ms(7500) < s.at_ms < truth.at_ms(14_000)]
    assert set(shut) == {0.0}


def test_a_stopped_pump_loses_everything():
    _, truth = told(event("pump_stop"), 6)
    assert all(vacuum_inhg(truth, line, 3.9) < 3 for line in ("pump", "ledge", "saddle"))
    assert vacuum_inhg(truth, "pump", 5.5) > 24


def test_a_releaser_stuck_open_drops_every_line_alike():
    _, truth = told(event("releaser_stuck", 'way = "open"'), 6)
    drops = [
        vacuum_inhg(truth, line, 1.8) - vacuum_inhg(truth, line, 3) for line in ("pump", "ledge", "saddle")
    ]
    assert min(drops) > 5
    assert max(drops) - min(drops) < 1.0


def test_a_releaser_stuck_closed_floods_the_lines_and_gives_all_of_it_back():
    _, truth = told(event("releaser_stuck", 'way = "closed"', for_h=3) + "[plant]\nroutine = false\n", 8)
    volumes = [(s.at_ms, s.volume_m3 / GALLON_M3) for s in truth.tanks["lower"]]
    held = [v for at_ms, v in volumes if truth.at_ms(2.2 * 3600) < at_ms < truth.at_ms(4.9 * 3600)]
    assert max(held) - min(held) < 1
    after = next(v for at_ms, v in volumes if at_ms > truth.at_ms(5.3 * 3600))
    assert after - held[-1] > 50
    assert vacuum_inhg(truth, "pump", 4.5) > 24
    assert vacuum_inhg(truth, "ledge", 4.8) < 10


def test_ice_takes_the_vacuum_slowly_and_leaves_the_pump_high():
    _, truth = told(event("freeze_up", 'line = "ledge"', for_h=4), 8)
    assert 12 < vacuum_inhg(truth, "ledge", 2.25) < 24
    assert vacuum_inhg(truth, "ledge", 5) < 1
    assert vacuum_inhg(truth, "pump", 5) > 24
    assert {o.subject for o in truth.occurrences if o.kind == "frozen"} == {"ledge", "ledge-top"}


def test_the_pump_rests_through_a_frozen_night():
    _, truth = told("[weather]\nair_f = [[-30, 40], [0, 40], [4, 25], [16, 20], [20, 40], [24, 44]]\n", 24)
    running = [o for o in truth.occurrences if o.kind == "pump_running"]
    assert len(running) == 2
    assert vacuum_inhg(truth, "pump", 12) < 1
    assert all(
        s.sap_m3_s == 0 for s in truth.lines["brook"] if truth.at_ms(30_000) < s.at_ms < truth.at_ms(60_000)
    )


def test_a_forgotten_transfer_lets_the_tank_run_over_and_the_spill_is_counted():
    start = "[tanks.lower]\nvolume_gal = 1400\n"
    _, truth = told(MILD + start + '[[event]]\nkind = "transfer_forgotten"\ntank = "lower"\nat_h = 0\n', 6)
    full = next(o for o in truth.occurrences if o.kind == "full")
    assert full.subject == "lower"
    assert full.amounts["spilled_kg"] == pytest.approx(
        truth.water.spilled_kg + truth.sugar.spilled_kg, rel=0.01
    )
    assert not [o for o in truth.occurrences if o.kind == "transfer"]


def test_the_crew_keeps_up_where_nothing_is_forgotten():
    _, truth = told(RUN_DAY, 24)
    assert not [o for o in truth.occurrences if o.kind == "full" and o.subject != "permeate"]
    assert {"transfer", "ro_run", "boil"} <= {o.kind for o in truth.occurrences}
    assert truth.syrup_m3 / GALLON_M3 > 20


def test_held_sap_grows_old():
    text = (
        MILD
        + "[tanks.upper]\nvolume_gal = 1500\nage_h = 5\n"
        + '[[event]]\nkind = "sap_held"\ntank = "upper"\nat_h = 0\n'
    )
    _, truth = told(text, 12)
    ages_h = [s.oldest_age_s / 3600 for s in truth.tanks["upper"]]
    assert ages_h[-1] == pytest.approx(5 + 12, abs=0.2)
    assert all(after > before for before, after in pairwise(ages_h))


def test_a_dying_fire_and_an_over_fire_are_in_the_truth_and_in_the_stack():
    text = MILD + (
        "[tanks.concentrate]\nvolume_gal = 390\n"
        '[[event]]\nkind = "boil"\nat_h = 0\nfor_h = 4\n'
        '[[event]]\nkind = "fire_dying"\nat_h = 1.5\nfor_h = 0.5\n'
        '[[event]]\nkind = "over_fire"\nat_h = 3\nfor_h = 0.2\nstack_f = 1200\n'
    )
    messages, truth = told(text, 4)
    gaps_min = [(b - a) / 60_000 for a, b in pairwise(truth.firings_ms)]
    assert sum(gap > 20 for gap in gaps_min) == 1
    stack = [
        (m.t_ms, float(m.payload.split(":")[1].split(",")[0])) for m in messages if m.topic.endswith("/stack")
    ]
    assert min(v for t, v in stack if truth.at_ms(6600) < t < truth.at_ms(7200)) < 300
    assert max(v for t, v in stack if truth.at_ms(10_800) < t < truth.at_ms(11_700)) > 1100


def test_the_first_and_the_last_hour_of_truth_are_there():
    _, truth = told(RUN_DAY, 24)
    for rows in (*truth.tanks.values(), *truth.lines.values()):
        assert rows[0].at_ms - truth.start_ms <= 600_000
        assert truth.end_ms - rows[-1].at_ms <= 600_000
    assert set(truth.tanks) == set(farm().tank_by_id)
    assert set(truth.lines) == {"pump", *farm().line_by_id}
    assert len(truth.sap_by_day_m3) == 2
