"""Nights on which a tank fills, or sap grows old."""

from tests.fakes.night import Night, calm


def filling(hours_to_full, *, from_hour, height_ft=5.5, at_ft=1.5):
    """A level that rises from `from_hour` on so that the tank is full `hours_to_full` later."""

    def level(hour):
        return min(height_ft, at_ft + max(0.0, hour - from_hour) * (height_ft - at_ft) / hours_to_full)

    return level


def test_a_tank_that_will_be_full_in_90_minutes_wakes_the_owner_once():
    night = calm(Night())
    night.show["lower-level"] = filling(5, from_hour=1)
    night.run_until(4.4)
    assert night.texts("tank_nearly_full") == []
    night.run_until(4.7)
    ((hour, tank, body),) = night.texts("tank_nearly_full")
    assert tank == "lower"
    assert 4.45 <= hour <= 4.6
    assert body.startswith("Lower tank is full about 0")
    assert "Start the transfer to upper." in body


def test_a_tank_that_was_pumped_down_in_time_is_over_and_said_so():
    night = calm(Night())
    rise = filling(5, from_hour=1)
    night.show["lower-level"] = lambda hour: (
        rise(hour) if hour < 4.6 else max(0.6, rise(4.6) - (hour - 4.6) * 6)
    )
    night.run_until(6)
    bodies = [body for _, _, body in night.texts("tank_nearly_full")]
    assert bodies[0].startswith("Lower tank is full about")
    assert bodies[-1].startswith("Over: Lower tank holds")


def test_a_high_tank_wakes_though_its_rate_is_not_known():
    night = calm(Night())
    night.show["upper-level"] = lambda hour: 3.9 if hour < 0.2 else None
    night.run_until(0.1)
    assert [tank for _, tank, _ in night.texts("tank_nearly_full")] == ["upper"]


def test_foam_and_a_steady_level_wake_nobody():
    night = calm(Night())
    night.show["lower-level"] = lambda hour: 5.4 if 2.0 <= hour < 2.03 else 1.5
    night.run_until(8)
    assert night.phone == []


def test_a_restart_tells_nothing_twice_and_forgets_nothing():
    night, other = calm(Night()), calm(Night())
    for one in (night, other):
        one.show["lower-level"] = filling(5, from_hour=1)
    for hour in (0.5, 2, 4.3, 4.52, 4.55, 4.6, 5):
        night.run_until(hour)
        night.restart()
        other.run_until(hour)
    night.run_until(5.5)
    other.run_until(5.5)
    assert night.phone == other.phone
    assert len(night.texts("tank_nearly_full")) >= 1


def test_a_silent_level_sensor_is_unknown_never_fine():
    night = calm(Night())
    rise = filling(5, from_hour=1)
    night.show["lower-level"] = lambda hour: rise(hour) if hour < 4.7 else None
    night.run_until(7)
    lower = night.watch.alerting.alerts["tank_nearly_full/lower"]
    assert lower.is_active
    assert lower.stale
    assert not any(body.startswith("Over") for _, _, body in night.texts("tank_nearly_full"))
    assert [subject for _, subject, _ in night.texts("sensor_silent")] == ["lower-level"]


def test_sap_older_than_12_hours_is_told_and_older_than_24_wakes():
    night = calm(Night())
    # Comes in within the first hour, then nobody does anything with it.
    night.show["upper-level"] = filling(1, from_hour=0.5, height_ft=2.5, at_ft=0.0)
    night.show["lower-level"] = lambda _hour: 0.0
    night.run_until(27)
    told = [
        (hour, t.priority)
        for hour, t in ((t.at_ms, t) for t in night.transitions)
        if t.key == "sap_held_too_long/upper"
    ]
    hours = [(at_ms - night.now_ms) / 3_600_000 + night.at_s / 3600 for at_ms, _ in told]
    assert [priority for _, priority in told][:2] == ["tell", "wake"]
    assert abs(hours[0] - 12.5) < 0.3
    assert abs(hours[1] - 24.5) < 0.3
    assert night.texts("sap_held_too_long")[0][2].startswith("Upper tank holds sap 12 h")
