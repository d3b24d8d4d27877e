from urllib.parse import unquote
from xml.etree import ElementTree as ET

import pytest

from dashboard.drawn import HEIGHT, WIDTH, image_source, sparkline, svg, tank_bar
from dashboard.tokens import TOKENS

T0 = 1_774_310_400_000


def places(path):
    """Absolute points of a path of `Mx yl0 0 dx dy ...` pieces."""
    found = []
    for piece in path.split("M")[1:]:
        start, _, steps = piece.partition("l")
        x, y = map(int, start.split())
        found.append((x, y))
        numbers = list(map(int, steps.split()))
        for dx, dy in zip(numbers[::2], numbers[1::2], strict=True):
            x, y = x + dx, y + dy
            found.append((x, y))
    return found


def line_of(picture):
    return ET.fromstring(f"<g>{picture}</g>").findall("path")[-1].attrib["d"]


def test_a_sparkline_runs_from_left_to_right_inside_its_frame():
    points = [(T0 + i * 60_000, 25.0 - i % 7) for i in range(120)]
    drawn = places(line_of(sparkline(points, T0, T0 + 7_200_000, (10.0, 30.0))))
    assert [x for x, _ in drawn] == sorted(x for x, _ in drawn)
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in drawn)


def test_more_vacuum_is_drawn_higher():
    drawn = places(line_of(sparkline([(T0, 10.0), (T0 + 60_000, 20.0)], T0, T0 + 60_000, (10.0, 20.0))))
    assert drawn[-1][1] < drawn[0][1]


def test_a_sparkline_is_open_where_nothing_was_heard():
    points = [(T0, 1.0), (T0 + 1, None), (T0 + 60_000, 1.0)]
    assert line_of(sparkline(points, T0, T0 + 60_000, (0.0, 2.0))).count("M") == 2


@pytest.mark.parametrize(("fraction", "at"), [(0.0, 0), (0.5, 170), (1.0, 340), (1.2, 340)])
def test_a_tanks_bar_is_as_long_as_it_is_full(fraction, at):
    assert f"M0 4h{at}v16" in tank_bar(fraction, is_filling=False)


def test_what_is_still_to_fill_is_shaded_only_while_it_fills():
    assert 'class="w"' in tank_bar(0.5, is_filling=True)
    assert 'class="w"' not in tank_bar(0.5, is_filling=False)


def test_an_image_carries_day_and_night_of_its_own():
    source = image_source(tank_bar(0.5, is_filling=True))
    whole = unquote(source.removeprefix("data:image/svg+xml,"))
    ET.fromstring(whole)
    assert TOKENS["fill"][0] in whole
    assert TOKENS["fill"][1] in whole
    assert '"' not in source


def test_words_in_a_picture_cannot_break_out_of_it():
    assert '"><b>' not in svg("", 'full"><b>')
