import plotly.graph_objects as go

from dashboard.lines_figure import Walk, lines_figure
from dashboard.spots import Spot
from dashboard.tokens import ref
from dashboard.words import Tone
from tests.fakes.pages import juniper_knob

FARM = juniper_knob()


def spot(sensor, now, usual=25.0, tone=Tone.INK):
    return Spot(FARM.sensor_by_id[sensor], now, usual, tone)


SPOTS = [
    spot("pump-vacuum", 24.8),
    spot("ledge-near", 24.4),
    spot("ledge-far", 18.9, tone=Tone.ACT),
    spot("brook-far", 24.6),
    spot("saddle-far", None),
]


def texts(figure):
    return [annotation["text"] for annotation in figure["layout"]["annotations"]]


def lines(figure):
    return [trace for trace in figure["data"] if trace.get("mode") == "lines" and "yaxis" not in trace]


def test_plotly_takes_the_figure():
    go.Figure(lines_figure(FARM, SPOTS, Walk("ledge", 100.0, 300.0)))


def test_a_line_that_fell_says_by_how_much():
    assert "ledge 18.9 ▼ 6.1" in texts(lines_figure(FARM, SPOTS, None))


def test_a_silent_line_is_dashed_and_named_silent():
    figure = lines_figure(FARM, SPOTS, None)
    assert "saddle, silent" in texts(figure)
    assert [trace["line"]["color"] for trace in lines(figure) if "px" in trace["line"]["dash"]] == [
        ref("soft")
    ]


def test_distance_runs_from_the_pump():
    """Ledge joins the conductor at 350 ft and is 1,400 ft long (the farm file)."""
    figure = lines_figure(FARM, SPOTS, None)
    ends = [round(trace["x"][-1]) for trace in lines(figure)]
    assert 1750 in ends
    assert ends[0] == 1200


def test_where_to_walk_is_marked():
    assert "walk here first" in texts(lines_figure(FARM, SPOTS, Walk("ledge", 100.0, 300.0)))


def test_the_usual_is_drawn_under_a_line_that_fell_and_no_other():
    profiles = [t for t in lines_figure(FARM, SPOTS, None)["data"] if t.get("yaxis") == "y2" and "line" in t]
    assert [trace["line"].get("dash") for trace in profiles].count("dot") == 1


def test_a_farm_that_says_nothing_is_drawn_all_the_same():
    go.Figure(lines_figure(FARM, [spot("ledge-far", None, None)], None))
