"""Nights on which something is not heard. Every night here asks "sensor_silent"."""

from tests.fakes.night import Night, calm


def test_one_silent_sensor_is_told_by_name():
    night = calm(Night())
    before = night.show["ledge-far"]
    night.show["ledge-far"] = lambda hour: before(hour) if hour < 2 else None
    night.run_until(3)
    ((hour, sensor, body),) = night.texts("sensor_silent")
    assert sensor == "ledge-far"
    assert 2.07 <= hour <= 2.1
    assert body.startswith("Ledge-far has been silent for 6 min")


def test_when_nothing_at_all_is_heard_one_text_says_so_and_wakes():
    night = calm(Night())
    for sensor, before in list(night.show.items()):
        night.show[sensor] = lambda hour, before=before: before(hour) if hour < 2 else None
    night.run_until(3)
    told = night.texts("sensor_silent")
    waking = [body for _, subject, body in told if subject == "all-sensors"]
    assert waking[0].startswith(f"No sensor has been heard since {night.local(1.99)}.")


def test_a_collector_that_has_just_started_calls_nobody_silent():
    night = calm(Night())
    night.run_until(2)
    night.at_s += 8 * 3600
    night.restart()
    night.run_until(10.3)
    assert night.texts("sensor_silent") == []


def test_a_sensor_that_is_heard_again_is_over():
    night = calm(Night())
    before = night.show["ledge-far"]
    night.show["ledge-far"] = lambda hour: before(hour) if not 2 <= hour < 2.5 else None
    night.run_until(3)
    assert [body[:6] for _, _, body in night.texts("sensor_silent")] == ["Ledge-", "Over: "]
