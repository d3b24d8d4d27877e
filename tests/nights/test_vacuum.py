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


def test_a_pump_that_stops_is_no_loss_of_any_line_but_one_text_about_the_pump():
    night = calm(Night())
    for sensor in ("pump-vacuum", "ledge-far", "brook-far"):
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before: before(hour) if hour < 3 else 0.5
    night.run_until(3.5)
    assert night.texts("vacuum_lost") == []
    assert len(night.texts("pump_not_running")) == 1


def test_a_leak_that_takes_from_pump_and_lines_is_one_text_about_its_own_line():
    night = calm(Night())
    for sensor, lost in (("pump-vacuum", 4.0), ("ledge-far", 11.0), ("brook-far", 4.2)):
        before = night.show[sensor]
        night.show[sensor] = lambda hour, before=before, lost=lost: (
            before(hour) - (lost if hour >= 3 else 0.0)
        )
    night.run_until(4)
    assert [line for _, line, _ in night.texts("vacuum_lost")] == ["ledge"]
    explained = {t.key: t.cause for t in night.transitions if t.key.startswith("vacuum_lost/")}
    assert explained["vacuum_lost/pump"] == explained["vacuum_lost/brook"] == "suppressed"


def test_a_second_leak_on_another_line_is_told_beside_the_first():
    night = calm(Night())
    night.show["ledge-far"] = lambda hour: (25.0 if hour < 3 else 19.0) + wobble(hour, 2)
    night.show["brook-far"] = lambda hour: (
        (25.2 if hour < 3 else 24.4 if hour < 4 else 20.0) + wobble(hour, 3)
    )
    night.run_until(4.5)
    told = [(line, hour) for hour, line, _ in night.texts("vacuum_lost")]
    assert [line for line, _ in told] == ["ledge", "brook"]
    assert 4.0 < told[1][1] < 4.2


def test_a_leak_that_freezes_over_is_quiet_and_not_over_and_asks_again_with_the_thaw():
    night = calm(Night())
    night.show["air"] = lambda hour: 40.0 if hour < 4 else 22.0 if hour < 7 else 46.0
    night.show["ledge-far"] = lambda hour: (25.0 if hour < 3 else 19.0) + wobble(hour, 2)
    night.run_until(3.5)
    night.acknowledge("vacuum_lost/ledge")
    night.run_until(7.0)
    assert [body for hour, _, body in night.texts("vacuum_lost", repeats=True) if hour > 4.2] == []
    night.run_until(11)
    again = [(hour, body) for hour, _, body in night.texts("vacuum_lost", repeats=True) if hour > 7.0]
    assert again
    assert again[0][1].startswith("Still: Ledge is 6.")


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
