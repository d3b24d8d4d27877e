"""Seasons of chance events: the ledger loses no sap, and nothing but a wash or outflow makes a tank younger."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from shared.estimates.parcels import MOST_PARCELS
from shared.estimates.sap_age import Ledger, correct, drain, move, sap_age, warm, wash
from shared.readings import Unknown
from shared.units import GALLON_M3
from tests.fakes.ledgers import HEEL_M3, hour, new_ledger, pour

TANKS = ("upper", "lower", "concentrate")
gallons = st.floats(0, 900)
events = st.lists(
    st.tuples(
        st.sampled_from(("fill", "move", "ro", "drain", "wash", "correct", "warm", "warm unknown")),
        st.sampled_from(TANKS),
        st.sampled_from(TANKS),
        gallons,
    ),
    min_size=1,
    max_size=120,
)


def play(ledger, event, at_h):
    """One event in a season; answers how much sap the farm gained or lost by it."""
    kind, tank, other, volume_gal = event
    volume_m3 = volume_gal * GALLON_M3
    match kind:
        case "fill":
            pour(ledger, tank, volume_gal, at_h, at_h + 0.5)
            return volume_m3
        case "move":
            move(ledger, tank, other, volume_m3)
        case "ro":
            return -5 / 6 * move(ledger, tank, other, volume_m3, volume_m3 / 6)
        case "drain":
            return -drain(ledger, tank, volume_m3)
        case "wash":
            before_m3 = ledger.tanks[tank].volume_m3
            wash(ledger, tank, hour(at_h))
            return ledger.tanks[tank].volume_m3 - before_m3
        case "correct":
            before_m3 = ledger.tanks[tank].volume_m3
            correct(ledger, tank, volume_m3, hour(at_h))
            assert ledger.tanks[tank].volume_m3 == pytest.approx(volume_m3, abs=1e-9)
            return volume_m3 - before_m3
        case "warm":
            warm(ledger, tank, volume_gal / 50, 1800.0)
        case "warm unknown":
            warm(ledger, tank, None, 1800.0)
    return 0.0


@settings(max_examples=150, deadline=None)
@given(events=events, heel_m3=st.sampled_from((0.0, HEEL_M3)))
def test_no_season_makes_or_loses_a_tenth_of_a_gallon(events, heel_m3):
    ledger, stored_m3 = new_ledger(*TANKS, heel_m3=heel_m3), 0.0
    for i, event in enumerate(events):
        stored_m3 += play(ledger, event, i / 2)
        for sap in ledger.tanks.values():
            births = [parcel.oldest_ms for parcel in sap.parcels]
            assert births == sorted(births)
            assert len(sap.parcels) <= MOST_PARCELS
            assert all(parcel.volume_m3 >= 0 for parcel in sap.parcels)
            assert all(parcel.oldest_ms <= parcel.mean_ms + 1 for parcel in sap.parcels)
    assert math.fsum(sap.volume_m3 for sap in ledger.tanks.values()) == pytest.approx(
        stored_m3, abs=0.1 * GALLON_M3
    )


@settings(max_examples=100, deadline=None)
@given(events=events)
def test_only_a_wash_or_outflow_makes_a_tank_younger(events):
    ledger = new_ledger(*TANKS, heel_m3=HEEL_M3)
    for i, event in enumerate(events):
        before = {tank: sap_age(ledger, tank, hour(i / 2)) for tank in TANKS}
        play(ledger, event, i / 2)
        for tank, was in before.items():
            now = sap_age(ledger, tank, hour(i / 2))
            lost = event[0] in ("wash", "drain", "move", "ro") and tank == event[1]
            if isinstance(was, Unknown) or isinstance(now, Unknown) or lost:
                continue
            assert now.oldest_s >= was.oldest_s - 1e-3


@settings(max_examples=60, deadline=None)
@given(events=events)
def test_a_ledger_read_back_answers_the_same(events):
    adapter, ledger = TypeAdapter(Ledger), new_ledger(*TANKS, heel_m3=HEEL_M3)
    for i, event in enumerate(events):
        play(ledger, event, i / 2)
    again = adapter.validate_json(adapter.dump_json(ledger))
    assert again == ledger
    event = ("move", "upper", "lower", 100.0)
    play(ledger, event, 100)
    play(again, event, 100)
    assert again == ledger
