from dataclasses import replace
from random import Random

from shared.estimates.leaks import locate
from shared.estimates.one_leak import Lost, spoken_for_by
from shared.estimates.suspects import Cause
from shared.estimates.vacuum import MINUTE_MS, VacuumDrop
from shared.units import INHG_PA
from tests.fakes.woods import Hole, any_woods, knob
from tests.fakes.woods_nights import START_MS

NOW_MS = START_MS + 60 * MINUTE_MS
TRIP_PA = 3.0 * INHG_PA


def drop(usual_pa, now_pa, since_ms=NOW_MS - 10 * MINUTE_MS, station_pa=96_000.0):
    return VacuumDrop(
        usual_pa=usual_pa,
        now_pa=now_pa,
        drop_pa=usual_pa - now_pa,
        attainable_pa=station_pa - 600.0,
        station_pa=station_pa,
        share_ratio=now_pa / (station_pa - 600.0),
        since_ms=since_ms,
        fell_s=90.0,
        pump_running=True,
        frozen=False,
        noise_pa=0.05 * INHG_PA,
        above_attainable=False,
    )


def night(*holes, seed=3, since=None, gauge_at_pump=True):
    """The drops of every sensor for these holes, and who is worth telling of."""
    woods = any_woods(Random(seed), knob())
    usual, now = woods.vacuums_pa(), replace(woods, holes=holes).vacuums_pa()
    at = since or {}
    drops = {
        name: drop(usual[name], now[name], at.get(name, NOW_MS - 10 * MINUTE_MS), woods.station_pa)
        for name in usual
    }
    lost = {}
    for name, each in drops.items():
        if name == "pump-vacuum" and not gauge_at_pump:
            continue
        line = woods.farm.sensor_by_id[name].line
        if each.drop_pa >= TRIP_PA and (line not in lost or each.drop_pa > lost[line].drop.drop_pa):
            lost[line] = Lost(name, each, TRIP_PA)
    suspects = locate(woods.farm, drops, 5.0, NOW_MS)
    return {line: spoken_for_by(woods.farm, line, lost, suspects) for line in lost}, suspects[0]


def test_a_leak_that_takes_from_every_line_is_spoken_for_by_its_own():
    speakers, suspect = night(Hole("brook", 500.0, 0.013))
    assert suspect.line == "brook"
    assert len(speakers) >= 4
    assert {line for line, speaker in speakers.items() if speaker == ""} == {"brook"}
    assert set(speakers.values()) == {"", "brook"}


def test_a_leak_on_a_line_without_a_gauge_is_spoken_for_by_one_that_it_hit_hardest():
    speakers, suspect = night(Hole("conductor", 480.0, 0.011), seed=5)
    assert suspect.cause is Cause.CONDUCTOR
    assert len(speakers) >= 3
    (alone,) = [line for line, speaker in speakers.items() if speaker == ""]
    assert alone != "pump"
    assert set(speakers.values()) == {"", alone}


def test_a_second_leak_speaks_for_itself():
    speakers, _ = night(Hole("ledge", 500.0, 0.009), Hole("saddle", 600.0, 0.009))
    assert speakers["ledge"] == speakers["saddle"] == ""


def test_what_fell_at_another_time_has_a_trouble_of_its_own():
    late = dict.fromkeys(("saddle-far", "saddle-near"), NOW_MS - 40 * MINUTE_MS)
    speakers, _ = night(Hole("brook", 500.0, 0.013), since=late, gauge_at_pump=False)
    assert speakers["saddle"] == speakers["brook"] == ""
    assert speakers["ledge"] == "brook"


def test_what_lost_no_more_than_the_pump_has_no_trouble_of_its_own():
    late = dict.fromkeys(("saddle-far", "saddle-near"), NOW_MS - 40 * MINUTE_MS)
    speakers, _ = night(Hole("brook", 500.0, 0.013), since=late)
    assert speakers["saddle"] == "brook"


def test_whoever_is_lost_there_is_always_one_who_speaks():
    for seed in range(30):
        for holes in (
            (Hole("ledge", 300.0, 0.012),),
            (Hole("conductor", 200.0, 0.02),),
            (Hole("north-face", 100.0, 0.02), Hole("brook", 700.0, 0.01)),
        ):
            speakers, _ = night(*holes, seed=seed)
            assert "" in speakers.values() or not speakers
            # Nobody is spoken for by one who is spoken for.
            assert all(speakers[speaker] == "" for speaker in speakers.values() if speaker)


def test_without_a_suspect_everybody_speaks():
    farm = knob()
    lost = {"ledge": Lost("ledge-far", drop(80_000.0, 60_000.0), TRIP_PA)}
    assert spoken_for_by(farm, "ledge", lost, ()) == ""
