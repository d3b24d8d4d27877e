import pytest

from collector.conversion import calibrated, si_value
from shared.errors import PayloadError
from shared.readings import RejectKind
from shared.units import to_si
from tests.fakes.knoll import knoll

FARM = knoll()


def converted(sensor_id, number, unit=None):
    return si_value(FARM, FARM.sensor_by_id[sensor_id], number, unit)


def test_a_number_without_a_unit_is_in_the_sensors_own():
    """1 inHg = 3386.389 Pa: NIST SP 811, appendix B."""
    assert converted("ledge-vacuum", 25.0) == pytest.approx(84_659.725)


@pytest.mark.parametrize(("number", "unit"), [(84_659.725, "Pa"), (84.659725, "kPa"), (635.0, "mmHg")])
def test_a_unit_in_the_payload_takes_the_place_of_the_sensors(number, unit):
    assert converted("ledge-vacuum", number, unit) == pytest.approx(84_659.725)


def test_a_degree_sign_before_a_unit_is_understood():
    assert converted("stack", 100.0, "°C") == pytest.approx(100.0)


def test_a_unit_of_another_dimension_is_refused_with_both_names():
    with pytest.raises(PayloadError, match="unit psi does not fit the sensor's degC"):
        converted("shed", 20.0, "psi")


def test_an_unknown_unit_is_refused_by_name():
    with pytest.raises(PayloadError, match="'furlong' is none we know"):
        converted("shed", 20.0, "furlong")


@pytest.mark.parametrize(("current_ma", "inhg"), [(12, 15.0), (8, 7.5), (16, 22.5), (4, 0.0), (3.9, -0.1875)])
def test_a_loop_current_is_scaled_over_its_span(current_ma, inhg):
    assert converted("pump-vacuum", current_ma) == pytest.approx(to_si(inhg, "inHg"))


def test_a_loop_current_may_come_in_ampere():
    assert converted("pump-vacuum", 0.012, "A") == pytest.approx(to_si(15, "inHg"))


@pytest.mark.parametrize("current_ma", [0.0, 3.6, 3.7, 20.8, 21.0, 22.0])
def test_a_fault_current_is_no_reading_never_zero_or_full(current_ma):
    """NAMUR NE 43: 3.8 to 20.5 mA measure, 3.6 mA or less and 21 mA or more signal a fault."""
    with pytest.raises(PayloadError, match="instrument fault") as refused:
        converted("pump-vacuum", current_ma)
    assert refused.value.kind == RejectKind.FAULT


@pytest.mark.parametrize(
    ("raw", "true"), [(32, 33), (212, 210), (122, 121.5), (216, 214.5), (228, 228), (-148, -144)]
)
def test_a_table_is_followed_straight_and_carried_on_beyond_its_ends(raw, true):
    assert calibrated(FARM.sensor_by_id["drawn"], raw) == pytest.approx(true)


def test_gain_and_offset_are_applied_before_the_change_of_unit():
    assert converted("air", 10.0) == pytest.approx(10.5)


@pytest.mark.parametrize("raw", [-40.0, 40.0])
def test_the_sensors_own_limits_are_those_of_the_calibrated_number(raw):
    with pytest.raises(PayloadError, match="the sensor's"):
        converted("air", raw)


def test_a_distance_becomes_a_level_under_the_sensor():
    assert converted("lower-level", 50.0) == pytest.approx(to_si(30, "in"))


def test_a_pressure_becomes_the_level_of_what_the_tank_holds():
    """Water at 4 °C is 999.97 kg/m³ (CRC Handbook); sap of 2 °Bx is 0.78 % denser at 20 °C (ICUMSA)."""
    water_m = converted("permeate-pressure", 9.80665 * 0.99997)
    assert water_m == pytest.approx(1.0, abs=1e-4)
    assert water_m / converted("lower-pressure", 9.80665 * 0.99997) == pytest.approx(1.0078, abs=3e-4)


@pytest.mark.parametrize(
    ("sensor_id", "number", "reason"),
    [
        ("ledge-vacuum", 33.0, "beyond what vacuum can be"),
        ("ledge-vacuum", -2.0, "beyond what vacuum can be"),
        ("stick", 63.0, "above the full tank"),
        ("lower-level", 5.0, "blanking zone"),
        ("lower-level", 90.0, "below the tank's floor"),
        ("lower-level", -1.0, "distance_m"),
        ("pump-vacuum", 5000.0, "current_a"),
        ("stack", 3000.0, "beyond what stack_temperature can be"),
        ("ledge-vacuum", 1e308, "beyond what vacuum can be"),
    ],
)
def test_a_value_that_cannot_be_true_is_refused_in_the_owners_unit(sensor_id, number, reason):
    with pytest.raises(PayloadError, match=reason):
        converted(sensor_id, number)


def test_a_tank_a_little_over_its_brim_is_believed():
    assert converted("stick", 61.0) == pytest.approx(to_si(61, "in"))
