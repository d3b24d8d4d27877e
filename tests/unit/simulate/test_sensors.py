import json
from random import Random

import pytest

from collector.conversion import si_value
from collector.simulate.sensors import follow, probe, speak
from collector.simulate.story import parse_story
from shared.farm_file import parse_farm
from shared.readings import Quantity
from shared.units import INHG_PA, from_si, to_si
from tests.fakes.seasons import farm

TRUE_SI = {
    Quantity.VACUUM: 24.5 * INHG_PA,
    Quantity.AIR_PRESSURE: 96_100.0,
    Quantity.LEVEL: 0.61,
    Quantity.AIR_TEMPERATURE: -4.0,
    Quantity.SAP_TEMPERATURE: 3.3,
    Quantity.SHED_TEMPERATURE: 9.0,
    Quantity.PUMP_TEMPERATURE: 78.0,
    Quantity.STACK_TEMPERATURE: 371.0,
    Quantity.PAN_TEMPERATURE: 103.0,
    Quantity.BATTERY: 3.6,
    Quantity.RUNNING: 1.0,
}
STORY = parse_story('title = "test"')


def faulty(sensor, facts, farm_=None):
    story = parse_story(
        f'title = "test"\n[[event]]\nkind = "sensor_fault"\nsensor = "{sensor}"\nat_h = 1\n{facts}'
    )
    return probe((farm_ or farm()).sensor_by_id[sensor], farm_ or farm(), story, 10.0)


def heard(p, si, hour, rng):
    return speak(p, si, hour * 3600.0, rng)


@pytest.mark.parametrize("sensor", farm().sensors, ids=lambda sensor: sensor.id)
def test_a_healthy_sensor_read_by_the_farm_file_gives_the_truth_back(sensor):
    true_si, rng = TRUE_SI[sensor.quantity], Random(1)
    p = probe(sensor, farm(), STORY, 10.0)
    said = [speak(p, true_si, 0.0, rng) for _ in range(400)]
    read = [si_value(farm(), sensor, float(p.style % number), None) for number in said]
    mean_si = sum(read) / len(read)
    # Mean of 400: a twentieth of the noise, and what the last digit rounds away.
    allowed = 4 * p.noise / abs(p.gain) / 20 + abs(0.51 * 10 ** -int(p.style[2:-1]) / p.gain)
    assert mean_si == pytest.approx(true_si, abs=allowed)


def test_a_calibrated_sensor_says_the_raw_number_of_its_table():
    text = (
        '[farm]\nid = "t"\nname = "T"\ntimezone = "America/New_York"\nelevation_ft = 500\n'
        '[[sensor]]\nid = "air"\nquantity = "air_temperature"\nunit = "degF"\n'
        "calibration = [[0, 2], [50, 50], [100, 104]]\n"
    )
    calibrated = parse_farm(text)
    sensor = calibrated.sensor_by_id["air"]
    p = probe(sensor, calibrated, STORY, 10.0)
    p.noise = 0.0
    for true_f in (26.0, 77.0, 120.0):
        raw = speak(p, to_si(true_f, "degF"), 0.0, Random(1))
        assert from_si(si_value(calibrated, sensor, raw, None), "degF") == pytest.approx(true_f)


def test_a_slow_probe_follows_over_its_time_constant():
    p = probe(farm().sensor_by_id["air"], farm(), STORY, 10.0)
    p.before_si = p.now_si = 0.0
    for _ in range(24):  # 240 s: one time constant
        follow(p, 10.0)
    assert p.now_si == pytest.approx(10.0 * (1 - 2.71828**-1), abs=0.01)


def test_a_stuck_sensor_repeats_itself_to_the_last_digit_and_then_recovers():
    p, rng = faulty("brook-far", 'fault = "stuck"\nfor_h = 2'), Random(1)
    stuck = {heard(p, 80_000.0 + 50 * i, 1 + i / 100, rng) for i in range(150)}
    assert len(stuck) == 1
    assert heard(p, 50_000.0, 3.1, rng) == pytest.approx(from_si(50_000.0, "inHg") + 0.3, abs=0.3)


def test_a_drifting_sensor_drifts_at_its_rate():
    p, rng = faulty("brook-near", 'fault = "drifting"\ndrift_per_h = -0.5'), Random(1)
    before = sum(heard(p, 80_000.0, 0.5, rng) for _ in range(200)) / 200
    after = sum(heard(p, 80_000.0, 5.0, rng) for _ in range(200)) / 200
    assert after - before == pytest.approx(-2.0, abs=0.05)


def test_a_spiking_sensor_spikes_as_often_and_as_far_as_told():
    p, rng = faulty("brook-near", 'fault = "spiking"\nspike = 10\nshare_percent = 10'), Random(1)
    off = [abs(heard(p, 80_000.0, 2, rng) - from_si(80_000.0, "inHg")) for _ in range(1000)]
    assert 60 < sum(d > 1 for d in off) < 140
    assert 6 < max(off) < 10.5


def test_a_wrong_unit_speaks_other_numbers():
    p, rng = faulty("north-face-far", 'fault = "wrong_unit"\nunit = "psi"'), Random(1)
    assert heard(p, 80_000.0, 0, rng) == pytest.approx(80.0, abs=1)
    assert heard(p, 80_000.0, 2, rng) == pytest.approx(11.6, abs=0.1)


def test_dropouts_lose_the_share_they_are_told():
    p, rng = faulty("brook-near", 'fault = "dropout"\nshare_percent = 70'), Random(1)
    lost = sum(heard(p, 80_000.0, 2, rng) is None for _ in range(1000))
    assert lost == pytest.approx(700, abs=60)


def test_a_dying_battery_sags_then_fails_then_is_silent():
    p, rng = faulty("ledge-battery", 'fault = "battery_dying"\nfor_h = 10'), Random(1)
    early = [heard(p, 3.6, 1 + i / 100, rng) for i in range(200)]
    late = [heard(p, 3.6, 8 + i / 1000, rng) for i in range(200)]
    assert None not in early
    assert late.count(None) > 20
    assert max(n for n in late if n is not None) < min(early)
    assert all(heard(p, 3.6, 9.6 + i / 1000, rng) is None for i in range(100))


def test_every_unit_a_farm_file_may_name_is_written_as_plain_json():
    rng = Random(1)
    for sensor in farm().sensors:
        p = probe(sensor, farm(), STORY, 10.0)
        assert isinstance(json.loads(p.style % speak(p, TRUE_SI[sensor.quantity], 0.0, rng)), int | float)
