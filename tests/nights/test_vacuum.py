"""Nights on which vacuum is lost, and nights on which it only looks so. Every night here asks "vacuum_lost"."""

from tests.fakes.night import KNOLL, Night, calm, wobble


def test_a_leak_on_one_line_is_one_text_that_says_where_how_much_and_since_when():
    night = calm(Night())
    night.show["ledge-far"] = lambda hour: (25.0 if hour < 3 else 20.8) + wobble(hour, 2)
    night.run_until(3.2)
    ((hour, line, body),) = night.texts("vacuum_lost")
    assert line == "ledge"
    assert 3.03 <= hour <= 3.08
    assert body.startswith("Ledge is 4.")
    assert f"since {night.local(3)}" in body


def test_a_pump_that_stops_is_one_text_about_the_pump():
    night = calm(Night())
    for sensor in ("pump-vacuum", "ledge-far", "brook-far"):
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before: before(hour) if hour < 3 else 0.5
    night.run_until(3.5)
    assert [line for _, line, _ in night.texts("vacuum_lost")][:1] == ["pump"]
    assert {line for _, line, _ in night.texts("vacuum_lost")} == {"pump"}
    assert night.texts("vacuum_lost")[0][2].startswith("The pump has stopped")


def test_a_falling_barometer_is_no_leak():
    sensor = '[[sensor]]\nid = "barometer"\nquantity = "air_pressure"\nunit = "inHg"\n'
    night = calm(Night(KNOLL + sensor))
    night.show["barometer"] = lambda hour: 28.9 - 0.2 * hour
    for sensor, share in (("pump-vacuum", 0.92), ("ledge-far", 0.88), ("brook-far", 0.89)):
        night.show[sensor] = lambda hour, share=share, s=sensor: (
            share * (28.7 - 0.2 * hour) + wobble(hour, len(s))
        )
    night.run_until(8)
    assert night.texts("vacuum_lost") == []


def test_a_freeze_is_no_leak():
    night = calm(Night())
    night.show["air"] = lambda hour: max(20.0, 40.0 - 5 * hour)
    for sensor in ("ledge-far", "brook-far"):
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before: max(0.0, before(hour) - max(0.0, hour - 2.5) * 8)
    night.run_until(8)
    assert night.texts("vacuum_lost") == []


def test_a_releasers_dump_wakes_nobody():
    night = calm(Night())
    for sensor in ("pump-vacuum", "ledge-far", "brook-far"):
        before = night.show[sensor]
        night.show[sensor] = lambda hour, b=before: b(hour) - (4.0 if round(hour * 3600) % 120 == 0 else 0.0)
    night.run_until(6)
    assert night.texts("vacuum_lost") == []


def test_a_mended_line_is_over():
    night = calm(Night())
    night.show["ledge-far"] = lambda hour: (20.8 if 3 <= hour < 4 else 25.0) + wobble(hour, 2)
    night.run_until(4.5)
    assert night.texts("vacuum_lost")[-1][2].startswith("Over: Ledge holds 2")


def test_an_acknowledged_leak_is_quiet():
    night = calm(Night())
    night.show["ledge-far"] = lambda hour: (25.0 if hour < 3 else 20.8) + wobble(hour, 2)
    night.run_until(3.1)
    night.acknowledge("vacuum_lost/ledge")
    night.run_until(4.0)
    assert len(night.texts("vacuum_lost", repeats=True)) == 1
    night.run_until(4.3)
    assert night.texts("vacuum_lost", repeats=True)[1][2].startswith("Still: Ledge")
