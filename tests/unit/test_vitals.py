"""When the watch is seen well, and what is said where it is not."""

from dataclasses import fields, replace
from math import inf

import pytest

from collector.vitals import RESTART_LIMITS, Limits, Vitals, limits_for, unwell
from shared.farm_file import parse_farm

NOW_S = 50_000.0
WELL = Vitals(NOW_S, NOW_S, NOW_S, NOW_S, NOW_S, None, 10**9)
EVERY_LIMIT = [
    ("canary_s", 600.0, "broker: no canary has come back for 10 min (limit 10 min)"),
    ("reading_s", 600.0, "readings: none was stored for 10 min (limit 10 min)"),
    ("rules_s", 600.0, "rules: not looked at for 10 min (limit 10 min)"),
    ("store_s", 300.0, "store: no record was written for 5 min (limit 5 min)"),
    ("sender_s", 600.0, "outbox: the sender has not come round for 10 min (limit 10 min)"),
    ("unheard_since_s", 1800.0, "outbox: no text was taken for 30 min (limit 30 min)"),
]

FARM = """
[farm]
id = "knoll"
name = "Knoll"
timezone = "America/New_York"
elevation_ft = 1450
"""


def farm_of(*intervals_s, more=""):
    sensors = "".join(
        f'[[sensor]]\nid = "s{number}"\nquantity = "battery"\nunit = "V"\ninterval_s = {interval_s}\n'
        for number, interval_s in enumerate(intervals_s)
    )
    return parse_farm(FARM + sensors + more)


def test_all_seen_well_lately_is_well():
    assert unwell(WELL, NOW_S, Limits()) == ()


@pytest.mark.parametrize(("stage", "limit_s", "said"), EVERY_LIMIT)
def test_each_stage_alone_too_old_is_named_with_its_age_and_its_limit(stage, limit_s, said):
    assert unwell(replace(WELL, **{stage: NOW_S - limit_s}), NOW_S, Limits()) == ()
    assert unwell(replace(WELL, **{stage: NOW_S - limit_s - 1}), NOW_S, Limits()) == (said,)


def test_the_table_above_has_every_stage():
    assert {stage for stage, _, _ in EVERY_LIMIT} == {f.name for f in fields(Vitals)} - {"free_bytes"}


def test_a_disk_that_runs_full_is_not_well_before_it_is_full():
    assert unwell(replace(WELL, free_bytes=10**8), NOW_S, Limits()) == ()
    said = "store: its disk has 64 MB left (limit 100 MB)"
    assert unwell(replace(WELL, free_bytes=64_000_000), NOW_S, Limits()) == (said,)


def test_a_stage_is_not_well_before_it_was_seen_so():
    """Or a collector that dies again and again would be taken for a live one, as each new one begins."""
    stages = [reason.partition(":")[0] for reason in unwell(Vitals(), NOW_S, Limits())]
    assert stages == ["broker", "readings", "rules", "store", "outbox"]
    assert unwell(replace(WELL, store_s=None), NOW_S, Limits()) == (
        "store: no record was written since the start (limit 5 min)",
    )


def test_a_restart_is_asked_for_only_where_it_heals():
    away = Vitals(None, None, None, NOW_S, NOW_S, NOW_S - 10_000, 0)
    assert unwell(away, NOW_S, RESTART_LIMITS) == ()
    stuck = replace(WELL, store_s=NOW_S - 601, sender_s=NOW_S - 1201)
    assert [reason.partition(":")[0] for reason in unwell(stuck, NOW_S, RESTART_LIMITS)] == [
        "store",
        "outbox",
    ]


@pytest.mark.parametrize(
    ("farm", "limit_s"),
    [
        (farm_of(10, 3600), 600.0),
        (farm_of(900, 3600), 4500.0),
        (farm_of(), inf),
        (farm_of(60, more="[rules.sensor_silent]\nenabled = false\n"), inf),
        (farm_of(3600, 60, more="[sensor.rules.sensor_silent]\nenabled = false\n"), 18_000.0),
    ],
    ids=["frequent", "rare", "no sensor", "season is over", "the frequent one is off"],
)
def test_readings_are_awaited_as_often_as_the_most_frequent_sensor_speaks(farm, limit_s):
    limits = limits_for(farm)
    assert limits == replace(Limits(), reading_s=limit_s)


def test_a_farm_whose_sensors_are_off_is_well_without_readings():
    limits = limits_for(farm_of(60, more="[rules.sensor_silent]\nenabled = false\n"))
    assert unwell(replace(WELL, reading_s=None), NOW_S, limits) == ()
