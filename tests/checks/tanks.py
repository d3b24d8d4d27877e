"""Tank volumes and level sensors beside published and independently computed figures."""

from collections.abc import Callable
from typing import NamedTuple

from shared.physics.level_sensors import (
    LevelFault,
    corrected_distance_m,
    echo_distance_m,
    hydrostatic_level_m,
    loop_value_si,
    sound_speed_m_s,
)
from shared.physics.sap import sucrose_density_kg_m3
from shared.physics.tanks import (
    Box,
    Dipstick,
    Heads,
    HorizontalCylinder,
    Oval,
    TankShape,
    VerticalCylinder,
    capacity_m3,
    level_m,
    volume_m3,
)
from shared.units import FOOT_M, GALLON_M3, INCH_M, from_si, to_si
from tests.checks import Check, Status

UPRIGHT = VerticalCylinder(8 * FOOT_M, 8 * FOOT_M)
CONE = VerticalCylinder(6 * FOOT_M, 6 * FOOT_M, 1 * FOOT_M)
FLAT = HorizontalCylinder(4 * FOOT_M, 8 * FOOT_M)
ELLIPTICAL = HorizontalCylinder(4 * FOOT_M, 8 * FOOT_M, Heads.ELLIPTICAL)
DISHED = HorizontalCylinder(4 * FOOT_M, 8 * FOOT_M, Heads.DISHED)
SHALLOW = HorizontalCylinder(4 * FOOT_M, 8 * FOOT_M, Heads.SPHERICAL, 0.5 * FOOT_M)
METRIC = HorizontalCylinder(2.0, 3.0)
OVAL = Oval(1.8, 1.2, 3.0)
BOX = Box(10 * FOOT_M, 5 * FOOT_M, 4 * FOOT_M)
STICK = Dipstick(tuple((row * 2 * INCH_M, volume_m3(FLAT, row * 2 * INCH_M)) for row in range(25)))
"""`FLAT`, known only by its 2 in rows."""


class _Known(NamedTuple):
    """What others give as the volume of one tank at some levels."""

    id: str
    tank: str
    shape: TankShape
    level_unit: str
    volume_unit: str
    volumes: dict[float, float]
    tolerance_ratio: float
    source: str
    status: Status = Status.COMPUTED


_TANK = "fluids 1.3.1, TANK(D=1.2192, L=2.4384, horizontal=True"
_JONES = 'D. Jones, "Calculating Tank Volume", worked example as quoted in the documentation of fluids'
_KNOWN = (
    _Known("tank-upright", "upright 8 ft by 8 ft", UPRIGHT, "ft", "gal",
           {1: 376.01, 4: 1504.05, 7.2: 2707.29, 8: 3008.10}, 5e-4,
           "fluids 1.3.1, TANK(D=2.4384, L=2.4384, horizontal=False)"),
    _Known("tank-flat", "lying 4 ft by 8 ft, flat ends", FLAT, "ft", "gal",
           {1: 147.02, 2: 376.01, 3.5: 697.77, 4: 752.02}, 5e-4, f"{_TANK})"),
    _Known("tank-elliptical", "the same, elliptical ends 2:1", ELLIPTICAL, "ft", "gal",
           {1: 166.61, 2: 438.68, 3.5: 817.72, 4: 877.36}, 5e-4,
           f"{_TANK}, sideA=sideB='ellipsoidal', a=0.3048)"),
    _Known("tank-dished", "the same, dished ends f=1 k=0.06", DISHED, "ft", "gal",
           {1: 158.65, 2: 414.79, 3.5: 772.16, 4: 829.58}, 5e-4,
           f"{_TANK}, sideA=sideB='torispherical', f=1, k=0.06)"),
    _Known("tank-spherical", "the same, spherical ends 6 in deep", SHALLOW, "ft", "gal",
           {1: 153.18, 2: 400.00, 3.5: 744.46, 4: 800.00}, 5e-4,
           f"{_TANK}, sideA=sideB='spherical', a=0.1524)"),
    _Known("tank-cone", "upright 6 ft by 6 ft on a 1 ft cone", CONE, "ft", "gal",
           {0.5: 8.81, 1: 70.50, 4: 705.02, 7: 1339.54}, 5e-4,
           "fluids 1.3.1, TANK(D=1.8288, L=1.8288, sideA='conical', sideA_a=0.3048)"),
    _Known("tank-box", "box 10 by 5 by 4 ft", BOX, "ft", "gal",
           {2.5: 935.06, 4: 1496.10}, 5e-4, "length by width by level"),
    _Known("tank-metric", "lying 2 m by 3 m, flat ends", METRIC, "m", "m3",
           {0.5: 1.842555, 1: 4.712389, 1.5: 7.582223, 2: 9.424778}, 1e-6, "fluids 1.3.1, TANK(D=2, L=3)"),
    _Known("tank-oval", "oval 1.8 m wide, 1.2 m high, 3 m long", OVAL, "m", "m3",
           {0.3: 0.994979, 0.6: 2.544690, 0.9: 4.094401, 1.2: 5.089380}, 1e-6,
           "scipy.integrate.quad over the width"),
    _Known("tank-jones-elliptical", "lying 108 in by 156 in, elliptical ends 42 in deep",
           HorizontalCylinder(108 * INCH_M, 156 * INCH_M, Heads.ELLIPTICAL, 42 * INCH_M), "in", "gal",
           {36: 2380.9565}, 1e-6, _JONES, Status.PUBLISHED),
    _Known("tank-jones-spherical", "lying 108 in by 156 in, spherical ends 42 in deep",
           HorizontalCylinder(108 * INCH_M, 156 * INCH_M, Heads.SPHERICAL, 42 * INCH_M), "in", "gal",
           {36: 2303.9615}, 1e-6, _JONES, Status.PUBLISHED),
    _Known("tank-jones-dished", "lying 108 in by 156 in, dished ends f=1 k=0.06",
           HorizontalCylinder(108 * INCH_M, 156 * INCH_M, Heads.DISHED), "in", "gal",
           {36: 2028.6267}, 1e-6, _JONES, Status.PUBLISHED),
)  # fmt: skip


def _volume(known: _Known, level: float) -> Callable[[], float]:
    return lambda: from_si(volume_m3(known.shape, to_si(level, known.level_unit)), known.volume_unit)


_VOLUMES = [
    Check(
        f"{known.id}-{level:g}",
        f"volume, {known.tank}",
        f"level {level:g} {known.level_unit}",
        _volume(known, level),
        volume,
        known.tolerance_ratio * volume,
        known.volume_unit,
        known.source,
        known.status,
    )
    for known in _KNOWN
    for level, volume in known.volumes.items()
]


_HYDROSTATICS = "hydrostatics with the ICUMSA density, worked separately"
_SOUND = "331.3 sqrt(1 + T/273.15), worked separately"
_AIR = "CoolProp 8.0.0, PropsSI('A', 'T', T, 'P', 101325, 'Air')"
_LOOP = "straight line from 4 to 20 mA"


def _measured(value: float | LevelFault) -> float:
    assert isinstance(value, float), value
    return value


def _sensor_check(
    check_id: str,
    what: str,
    inputs: str,
    ours: Callable[[], float],
    expected: float,
    tolerance: float,
    unit: str,
    source: str,
) -> Check:
    return Check(check_id, what, inputs, ours, expected, tolerance, unit, source, Status.COMPUTED)


def _head_kpa(brix: float) -> Callable[[], float]:
    """Pressure that the level formula takes for exactly 1 m."""
    return lambda: 9.8651 / _measured(hydrostatic_level_m(9865.1, brix, 20.0))


def _water_error_percent(brix: float) -> Callable[[], float]:
    return lambda: (sucrose_density_kg_m3(brix) / sucrose_density_kg_m3(0.0) - 1.0) * 100.0


def _speed(temperature_c: float) -> Callable[[], float]:
    return lambda: sound_speed_m_s(temperature_c)


def _loop_inhg(milliamperes: float) -> Callable[[], float]:
    return lambda: _measured(loop_value_si(milliamperes / 1000.0, 0.0, 30.0))


CHECKS: tuple[Check, ...] = (
    *_VOLUMES,
    Check(
        "tank-level",
        "level of a volume, lying 2 m by 3 m",
        "2 m3",
        lambda: level_m(METRIC, 2.0),
        0.530008,
        1e-6,
        "m",
        "fluids 1.3.1, TANK(D=2, L=3).h_from_V(2.0)",
        Status.COMPUTED,
    ),
    Check(
        "tank-inch",
        "one inch of level in an 8 ft upright tank",
        "31 to 32 in",
        lambda: (volume_m3(UPRIGHT, 32 * INCH_M) - volume_m3(UPRIGHT, 31 * INCH_M)) / GALLON_M3,
        31.33,
        0.01,
        "gal",
        "pi/4 D^2 x 1 in",
        Status.COMPUTED,
    ),
    Check(
        "tank-dipstick",
        "dipstick table against the tank it was made from, worst place between rows",
        "2 in rows of tank-flat",
        lambda: max(
            abs(volume_m3(STICK, i * FOOT_M / 250) - volume_m3(FLAT, i * FOOT_M / 250))
            / capacity_m3(FLAT)
            * 100
            for i in range(1001)
        ),
        0.0,
        0.09,
        "% of full",
        "closed form of the same tank; a straight line between rows errs by 0.21 %",
        Status.COMPUTED,
    ),
    *(
        _sensor_check(
            f"head-{brix:g}",
            "pressure of 1 m",
            f"{brix:g} °Bx, 20 °C",
            _head_kpa(brix),
            kpa,
            0.0005,
            "kPa",
            _HYDROSTATICS,
        )
        for brix, kpa in ((2.0, 9.8651), (8.0, 10.0999))
    ),
    *(
        _sensor_check(
            f"head-water-{brix:g}",
            "level read too high with water's density",
            f"{brix:g} °Bx",
            _water_error_percent(brix),
            percent,
            0.005,
            "%",
            _HYDROSTATICS,
        )
        for brix, percent in ((2.0, 0.78), (8.0, 3.18), (20.0, 8.29))
    ),
    *(
        _sensor_check(
            f"sound-{t:g}", "speed of sound in air", f"{t:g} °C", _speed(t), speed, 0.006, "m/s", _SOUND
        )
        for t, speed in ((-10.0, 325.18), (0.0, 331.30), (10.0, 337.31), (20.0, 343.21))
    ),
    *(
        _sensor_check(
            f"sound-coolprop-{t:g}", "speed of sound in air", f"{t:g} °C", _speed(t), speed, 0.2, "m/s", _AIR
        )
        for t, speed in ((-10.0, 325.32), (0.0, 331.44), (10.0, 337.45), (20.0, 343.34))
    ),
    _sensor_check(
        "echo",
        "echo distance",
        "10 ms, 0 °C",
        lambda: echo_distance_m(0.010, 0.0),
        1.6565,
        0.0001,
        "m",
        _SOUND,
    ),
    _sensor_check(
        "echo-cold",
        "what a sensor set to 20 °C shows of 2.000 m at -5 °C",
        "2.000 m",
        lambda: 2.0**2 / corrected_distance_m(2.0, 20.0, -5.0),
        2.091,
        0.001,
        "m",
        _SOUND,
    ),
    *(
        _sensor_check(
            f"loop-{ma:g}", "loop of 0 to 30 inHg", f"{ma:g} mA", _loop_inhg(ma), inhg, 1e-9, "inHg", _LOOP
        )
        for ma, inhg in ((4.0, 0.0), (8.0, 7.5), (12.0, 15.0), (16.0, 22.5), (20.0, 30.0))
    ),
)
