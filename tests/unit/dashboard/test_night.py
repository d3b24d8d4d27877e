"""The night brief on the page Tonight and on the plain page: the same sentence and lines as in text and mail."""

from math import cos, pi

import pytest

from dashboard import plain
from dashboard.app import build
from dashboard.night import night
from dashboard.pages import tonight
from shared.alerts import AlertState
from shared.store import Text
from tests.fakes.pages import T0, a_night, alert

HOUR_MS = 3_600_000


@pytest.fixture
def full(knob):
    """Everything is heard, four days of the air are known, lower fills by 144 gal/h."""
    air = [37 + 9 * cos(2 * pi * (20 + step / 4 - 15) / 24) for step in range(-384, 1)]
    knob.say_often("air", air, "degF", 900)
    for sensor in knob.farm.sensors:
        if sensor.quantity == "vacuum":
            knob.say_often(sensor.id, [25.0 + 0.1 * (step % 3) for step in range(300)], "inHg")
    levels = {"upper": lambda _step: 45.0, "lower": lambda step: 10 + 0.1 * step}
    levels |= {"concentrate": lambda _step: 8.0, "permeate": lambda _step: 30.0}
    for tank, inches in levels.items():
        shown = [inches(step) + (step * 7919 % 7 - 3) * 0.02 for step in range(360)]
        knob.say_often(f"{tank}-level", shown, "in")
    for sensor in knob.farm.sensors:
        if sensor.id not in knob.sources.reader.latest():
            value, unit = {"battery": (3.9, "V"), "air_pressure": (96_600, "Pa"), "running": (1, "/")}.get(
                sensor.quantity, (60.0, "degF")
            )
            knob.say(sensor.id, value, unit)
    return knob


def lines(view):
    return {line.name: (line.value, line.notes) for line in view.before_morning}


def sent(knob, at_ms):
    """A channel took a text at that time."""
    knob.keep(texts=(Text("drill/everyone", "1.1", "owner", "phone", "x", "x", at_ms),))
    knob.store.mark_sent(knob.store.texts_to("owner")[0].id, at_ms)


def test_what_is_due_before_morning_stands_on_the_page(full):
    sent(full, T0 - HOUR_MS)
    view = night(full.sources)
    assert view.top.headline.sentence.startswith("Transfer lower by 2")
    said = lines(view)
    assert list(said) == ["RO", "Boil", "Frost", "Texts"]
    assert said["RO"][0].startswith("by ")
    assert said["Frost"][0].startswith("about ")
    assert "°F" in said["Frost"][1][-1]
    assert said["Texts"][0] == "proven 19:00"


def test_texts_that_no_channel_took_today_are_not_proven(full):
    assert lines(night(full.sources))["Texts"][0] == "not proven today"
    assert "Texts are not proven today." in night(full.sources).top.headline.lead


def test_what_is_paused_is_listed_as_not_watched(full):
    full.keep(alert(shelved_until_ms=T0 + 3 * HOUR_MS, shelved_reason="we are there"))
    view = night(full.sources)
    assert (view.unwatched[-1].name, view.unwatched[-1].silence) == (
        "Lower (tank nearly full)",
        "paused (we are there) until 23:00",
    )
    assert "Not watched: lower (tank nearly full)." in view.top.headline.lead


def test_a_farm_with_silent_sensors_is_never_called_quiet(knob):
    a_night(knob)
    knob.keep(alert(state=AlertState.NORMAL))
    said = night(knob.sources).top.headline
    assert not said.sentence.startswith("Nothing needs you")
    assert "Not watched" in f"{said.sentence} {said.lead}"


def test_an_alert_that_asks_comes_before_the_brief(full):
    full.keep(alert())
    assert night(full.sources).top.headline.sentence == "Lower is full about 22:10."


def test_both_pages_say_every_line(full):
    view = night(full.sources)
    whole, bare = str(tonight.layout(view).to_plotly_json()), plain.page(full.sources)
    for line in view.before_morning:
        for part in (line.value, *line.notes):
            assert part in whole
            assert part in bare


def test_what_must_be_done_now_is_said_in_ember(full):
    """Upper is full to the brim and lower as well, and still sap runs in."""
    full.now_ms += 6 * HOUR_MS
    for tank, inches in {"upper": 71.9, "lower": 66.9, "concentrate": 20.0, "permeate": 30.0}.items():
        rise = 0.1 if tank == "lower" else 0.0
        shown = [inches + rise * (step - 359) + (step * 7919 % 7 - 3) * 0.02 for step in range(360)]
        full.say_often(f"{tank}-level", shown, "in")
    view = night(full.sources)
    asks = [line for line in view.before_morning if line.asks]
    assert asks
    assert f'<i class="a">{asks[0].value}</i>' in plain.page(full.sources)
    assert f"Span(children='{asks[0].value}', className='act')" in str(tonight.layout(view))


def test_the_plain_page_of_a_busy_night_is_at_most_three_kilobytes(full):
    full.keep(alert(), alert("vacuum_lost", "ledge", "Ledge is 6.1 inHg below its usual.", advice="x" * 90))
    answer = build(full.sources).test_client().get("/", headers={"Accept-Encoding": "br"})
    assert len(answer.data) <= 3000
