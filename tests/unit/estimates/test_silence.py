from shared.estimates.silence import ALL, note_heard, silent_from_ms
from shared.farm_parts import Sensor
from shared.readings import Quantity

MINUTE_MS = 60_000


def sensor(name, interval_s=60, gateway=None):
    return Sensor(
        id=name, quantity=Quantity.SHED_TEMPERATURE, unit="degF", interval_s=interval_s, gateway=gateway
    )


def heard_at(pauses, one, *minutes):
    for minute in minutes:
        note_heard(pauses, one, minute * MINUTE_MS)


def test_after_a_pause_a_sensors_silence_counts_from_its_end():
    pauses, first, second = {}, sensor("first"), sensor("second")
    heard_at(pauses, first, 1, 2, 3, 20)
    assert silent_from_ms(pauses, second, 2 * MINUTE_MS, 5 * MINUTE_MS) == 20 * MINUTE_MS


def test_a_sensor_that_was_silent_before_the_pause_is_silent_after_it():
    pauses, first, second = {}, sensor("first"), sensor("second")
    heard_at(pauses, first, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 30)
    assert silent_from_ms(pauses, second, 2 * MINUTE_MS, 5 * MINUTE_MS) == 2 * MINUTE_MS


def test_a_slow_sensors_own_interval_is_no_pause():
    pauses, slow = {}, sensor("slow", interval_s=600)
    heard_at(pauses, slow, 10, 20, 30)
    assert pauses[ALL].ended_ms == 0


def test_a_gateway_has_a_pause_of_its_own():
    pauses, woods, house = {}, sensor("woods", gateway="gate"), sensor("house")
    for minute in range(1, 41):
        heard_at(pauses, house, minute)
        if not 10 < minute < 30:
            heard_at(pauses, woods, minute)
    assert pauses[ALL].ended_ms == 0
    assert (pauses["gate"].began_ms, pauses["gate"].ended_ms) == (10 * MINUTE_MS, 30 * MINUTE_MS)
    other = sensor("other", gateway="gate")
    assert silent_from_ms(pauses, other, 9 * MINUTE_MS, 5 * MINUTE_MS) == 30 * MINUTE_MS
    assert silent_from_ms(pauses, house, 9 * MINUTE_MS, 5 * MINUTE_MS) == 9 * MINUTE_MS


def test_a_message_that_arrives_again_out_of_turn_ends_no_pause():
    pauses, one = {}, sensor("one")
    heard_at(pauses, one, 1, 2, 3, 2)
    assert (pauses[ALL].newest_ms, pauses[ALL].ended_ms) == (3 * MINUTE_MS, 0)
