from random import Random

import pytest

from shared.errors import InvalidArgument
from shared.estimates.lines import (
    AT_PUMP,
    Place,
    Stretch,
    cut,
    distance_from_pump_m,
    place_of,
    taps_uphill_count,
    way_from_pump,
)
from shared.farm_parts import PUMP
from tests.fakes.woods import any_farm, farm_of, gauge, knob, main

CONDUCTOR = {"id": "conductor", "kind": "conductor", "length_m": 300, "bore_in": 2.0}


def fork():
    """pump -- conductor 300 m -- at 200 m ledge 500 m (400 taps) -- at 350 m ledge-top 100 m (60 taps)."""
    lines = [
        CONDUCTOR,
        main("ledge", "conductor", 200, 500, bore_in=1.0, taps=400),
        main("ledge-top", "ledge", 350, 100, bore_in=0.75, taps=60),
    ]
    return farm_of("fork", lines, [gauge("at-pump", PUMP), gauge("mid", "ledge", 250), gauge("far", "ledge")])


def every_sensor(farm):
    return [sensor for sensor in farm.sensors if sensor.line is not None]


@pytest.mark.parametrize(
    ("place", "metres"),
    [
        (Place(PUMP), 0.0),
        (Place("conductor", 120.0), 120.0),
        (Place("ledge", 0.0), 200.0),
        (Place("ledge", 500.0), 700.0),
        (Place("ledge-top", 100.0), 650.0),
    ],
)
def test_distance_from_the_pump_is_walked_along_the_lines(place, metres):
    assert distance_from_pump_m(fork(), place) == metres


def test_the_way_from_the_pump_goes_through_every_joint():
    assert way_from_pump(fork(), Place("ledge-top", 40.0)) == (
        Stretch("conductor", 0.0, 200.0),
        Stretch("ledge", 0.0, 350.0),
        Stretch("ledge-top", 0.0, 40.0),
    )


@pytest.mark.parametrize("place", [Place("no-such-line"), Place("ledge", 500.1), Place("ledge", -1.0)])
def test_a_place_that_is_not_on_the_farm_is_refused(place):
    with pytest.raises(InvalidArgument, match="place"):
        distance_from_pump_m(fork(), place)


def test_a_sensor_without_a_place_sits_at_the_far_end_of_its_line():
    farm = fork()
    assert place_of(farm, farm.sensor_by_id["far"]) == Place("ledge", 500.0)
    assert place_of(farm, farm.sensor_by_id["mid"]) == Place("ledge", 250.0)
    assert place_of(farm, farm.sensor_by_id["at-pump"]) == Place(PUMP)


def test_a_sensor_on_no_line_has_no_place():
    farm = fork()
    loose = farm.sensor_by_id["far"].model_copy(update={"line": None})
    with pytest.raises(InvalidArgument, match="sensor"):
        place_of(farm, loose)


@pytest.mark.parametrize(
    ("place", "taps"),
    [
        (Place(PUMP), 460.0),
        (Place("conductor", 200.0), 460.0),  # what joins at a place lies uphill of it
        (Place("conductor", 200.1), 0.0),
        (Place("ledge", 250.0), 200.0 + 60.0),
        (Place("ledge", 400.0), 80.0),
        (Place("ledge-top", 50.0), 30.0),
    ],
)
def test_taps_uphill_are_those_whose_sap_flows_past(place, taps):
    assert taps_uphill_count(fork(), place) == pytest.approx(taps)


def test_sensors_and_watched_joints_cut_the_lines_into_pieces():
    tree = cut(fork(), every_sensor(fork()))
    assert [piece.stretch for piece in tree.pieces] == [
        Stretch("conductor", 0.0, 200.0),
        Stretch("conductor", 200.0, 300.0),
        Stretch("ledge", 0.0, 250.0),
        Stretch("ledge", 250.0, 500.0),
    ]
    assert [piece.downhill for piece in tree.pieces] == [AT_PUMP, 0, 0, 2]
    assert tree.sensors == {"at-pump": AT_PUMP, "mid": 2, "far": 3}
    assert tree.watchers == (("mid", "far"), (), ("mid", "far"), ("far",))
    assert tree.way(3) == (0, 2, 3)


def test_an_unwatched_branch_of_a_mainline_belongs_to_the_piece_it_joins():
    piece = cut(fork(), every_sensor(fork())).pieces[3]
    assert piece.joining == ("ledge-top",)
    assert piece.taps_count == pytest.approx(200.0 + 60.0)
    assert piece.tubing_m == pytest.approx(250.0 + 100.0)
    assert piece.length_m == pytest.approx(250.0)


def test_a_watched_branch_is_a_piece_of_its_own():
    farm = fork()
    top = farm.sensor_by_id["far"].model_copy(update={"id": "top", "line": "ledge-top"})
    tree = cut(farm, [*every_sensor(farm), top])
    assert Stretch("ledge-top", 0.0, 100.0) in [piece.stretch for piece in tree.pieces]
    assert all(piece.joining == () for piece in tree.pieces)


def test_an_unwatched_mainline_on_the_conductor_stays_a_piece_of_its_own():
    tree = cut(knob(), [])
    assert {piece.stretch.line for piece in tree.pieces} == {
        "conductor",
        "ledge",
        "brook",
        "north-face",
        "saddle",
    }


def test_a_sensor_at_a_joint_sits_on_the_parent():
    lines = [CONDUCTOR, main("ledge", "conductor", 200, 500, bore_in=1.0, taps=400)]
    farm = farm_of("joint", lines, [gauge("near", "ledge", 0.0)])
    tree = cut(farm, farm.sensors)
    assert tree.pieces[tree.sensors["near"]].stretch == Stretch("conductor", 0.0, 200.0)


def test_each_sensor_speaks_for_the_taps_up_to_it_and_the_last_for_those_beyond():
    farm = farm_of(
        "half",
        [CONDUCTOR, main("ledge", "conductor", 200, 500, bore_in=1.0, taps=400)],
        [gauge("at-pump", PUMP), gauge("near", "ledge", 100), gauge("mid", "ledge", 300)],
    )
    assert cut(farm, farm.sensors).taps_counts() == pytest.approx(
        {"at-pump": 0.0, "near": 80.0, "mid": 160.0 + 160.0}
    )


def test_taps_that_nobody_watches_are_left_out():
    farm = farm_of(
        "two",
        [
            CONDUCTOR,
            main("ledge", "conductor", 200, 500, bore_in=1.0, taps=400),
            main("brook", "conductor", 300, 500, bore_in=1.0, taps=300),
        ],
        [gauge("far", "ledge")],
    )
    tree = cut(farm, farm.sensors)
    assert tree.taps_counts() == pytest.approx({"far": 400.0})
    assert tree.speaker(len(tree.pieces) - 1) is None


@pytest.mark.parametrize("seed", range(20))
def test_on_any_farm_no_tap_and_no_metre_is_lost_or_told_twice(seed):
    farm = any_farm(Random(seed))
    tree = cut(farm, every_sensor(farm))
    assert sum(piece.taps_count for piece in tree.pieces) == pytest.approx(farm.taps)
    assert sum(piece.tubing_m for piece in tree.pieces) == pytest.approx(
        sum(line.length_m for line in farm.lines)
    )
    for index, piece in enumerate(tree.pieces):
        assert piece.downhill < index
        end = Place(piece.stretch.line, piece.stretch.to_m)
        walked_m = sum(tree.pieces[step].length_m for step in tree.way(index))
        assert walked_m == pytest.approx(distance_from_pump_m(farm, end))
