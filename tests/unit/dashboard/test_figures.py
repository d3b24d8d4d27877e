from itertools import pairwise
from zoneinfo import ZoneInfo

import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.figures import TEMPLATE, Forecast, Mark, Trend, chart, frame, spread
from dashboard.windows import HOUR_MS, WINDOWS, local_ms

ZONE = ZoneInfo("America/New_York")
T0 = 1_774_310_400_000
FRAME = frame(WINDOWS[1], T0, ZONE)
POINTS = [(T0 - 7_200_000, 25.0), (T0 - 3_600_000, None), (T0, 22.9)]


def drawn(*trends, **more):
    return chart(
        FRAME, trends or [Trend("far 22.9", POINTS, "vacuum")], unit="inHg", y_range=(20.0, 28.0), **more
    )


def texts(figure):
    return [annotation["text"] for annotation in figure["layout"]["annotations"]]


def test_plotly_takes_the_figure():
    forecast = Forecast(100.0, 200.0, T0 + HOUR_MS, T0 + 2 * HOUR_MS, T0 + 3 * HOUR_MS)
    go.Figure(drawn(marks=[Mark(26.0, "usual")], forecast=forecast, events_ms=[T0 - 600_000]))


def test_a_gap_stays_open():
    line = drawn()["data"][0]
    assert line["y"] == [25.0, None, 22.9]
    assert line["connectgaps"] is False


def test_the_unit_stands_on_top_and_the_line_is_named_at_its_end():
    assert {"inHg", "far 22.9"} <= set(texts(drawn()))


def test_there_is_no_legend_and_no_drag_that_would_trap_a_finger():
    layout = TEMPLATE["layout"]
    assert layout["showlegend"] is False
    assert layout["dragmode"] is False
    assert layout["xaxis"]["fixedrange"] is layout["yaxis"]["fixedrange"] is True


def test_time_is_the_farms_own():
    figure = drawn()
    assert figure["data"][0]["x"][-1] == local_ms(T0, ZONE)
    assert figure["layout"]["xaxis"]["ticktext"][-1] == "20:00"


def test_a_series_without_readings_has_no_label():
    assert texts(drawn(Trend("far", [], "vacuum"))) == ["inHg"]


def test_colours_are_named_and_never_written_out():
    assert "#" not in str(drawn(marks=[Mark(26.0, "usual")]))


def test_usual_is_dotted():
    shape = drawn(marks=[Mark(26.0, "usual")])["layout"]["shapes"][0]
    assert shape["line"]["dash"] == "dot"


def test_a_forecast_is_a_band_and_the_axis_reaches_to_its_end():
    figure = drawn(forecast=Forecast(22.9, 27.0, T0 + HOUR_MS, T0 + 2 * HOUR_MS, T0 + 3 * HOUR_MS))
    assert figure["data"][0]["fill"] == "toself"
    assert figure["layout"]["xaxis"]["range"][1] == local_ms(T0 + 2 * HOUR_MS, ZONE)


def test_a_far_forecast_does_not_squeeze_what_has_been():
    figure = drawn(forecast=Forecast(22.9, 27.0, T0 + HOUR_MS, T0 + 90 * HOUR_MS, T0 + 3 * HOUR_MS))
    assert figure["layout"]["xaxis"]["range"][1] == local_ms(T0 + 3 * HOUR_MS, ZONE)


def test_events_outside_the_window_are_left_out():
    figure = drawn(events_ms=[T0 - 90 * HOUR_MS, T0 - HOUR_MS])
    assert figure["data"][-1]["x"] == [local_ms(T0 - HOUR_MS, ZONE)]


@given(st.lists(st.floats(0, 150), max_size=8))
def test_labels_are_kept_apart_and_in_order(wanted):
    placed = spread(wanted, 16.0)
    order = sorted(range(len(wanted)), key=wanted.__getitem__)
    steps = [placed[b] - placed[a] for a, b in pairwise(order)]
    assert all(step >= 16.0 - 1e-6 for step in steps)


def test_labels_with_room_stay_where_they_belong():
    assert spread([0.0, 50.0, 100.0], 16.0) == pytest.approx([0.0, 50.0, 100.0])
