"""Air through holes, the isolation test, the gas space of tubing, and what a pump makes of a leak."""

from functools import partial

from shared.physics.air import pump_down_s, pump_free_air_m3_s, steady_vacuum_pa, vented_pressure_pa
from shared.physics.leak_test import (
    CHOKED_RATIO,
    hole_free_air_m3_s,
    leak_free_air_m3_s,
    leak_mol_s,
    tubing_gas_volume_m3,
)
from shared.units import FOOT_M, GALLON_M3, INCH_M, INHG_PA, from_si, to_si
from tests.checks import Check, Status

CHILDS = "Childs, Cornell, 2011 tubing and taphole sanitation research, slides"
CFR = "US EPA, 40 CFR 1065.644, worked example"
PER_INCH = (
    (15.0, 6.7, 0.05, "hand: 1/(29.92 − 15)", Status.COMPUTED, ""),
    (17.5, 8.0, 0.2, CHILDS, Status.PUBLISHED, "The published flat 8 % is right here and only here."),
    (20.0, 10.1, 0.05, "hand: 1/(29.92 − 20)", Status.COMPUTED, ""),
    (25.0, 20.3, 0.05, "hand: 1/(29.92 − 25)", Status.COMPUTED, "At high vacuum an inch costs a fifth."),
)
FOOT3_M3 = FOOT_M**3
STANDARD_PA = 29.92 * INHG_PA


def _inhg(pressure_pa: float) -> float:
    return from_si(pressure_pa, "inHg")


def _cfm(flow_m3_s: float) -> float:
    return from_si(flow_m3_s, "CFM")


def _cfr_mol_s() -> float:
    return leak_mol_s(0.002, 25_300, 50_600, 70, start_temperature_c=20, end_temperature_c=20)


def _sixteenths_cfm(count: float, discharge_ratio: float) -> float:
    return _cfm(hole_free_air_m3_s(count * INCH_M / 16, 101_325.0, 85_000.0, discharge_ratio=discharge_ratio))


def _farm_volume_m3() -> float:
    runs_ft_in = ((2000, 1.049), (3000, 0.824), (12_000, 5 / 16))
    runs_m = [(feet * FOOT_M, bore_in * INCH_M) for feet, bore_in in runs_ft_in]
    return tubing_gas_volume_m3(runs_m, headspace_m3=30 * GALLON_M3)


def _hundred_ft_gal(bore_in: float) -> float:
    return tubing_gas_volume_m3([(100 * FOOT_M, bore_in * INCH_M)]) / GALLON_M3


def _capacity_lost_percent(from_inhg: float) -> float:
    before, after = (
        pump_free_air_m3_s(1.0, vacuum_inhg * INHG_PA, STANDARD_PA)
        for vacuum_inhg in (from_inhg, from_inhg + 1.0)
    )
    return 100 * (1.0 - after / before)


def _vented_pa() -> float:
    return vented_pressure_pa(33.5 * FOOT3_M3, 4.92 * INHG_PA, 10 * GALLON_M3, STANDARD_PA)


LEAKS = (
    Check(
        "leak-cfr",
        "vacuum-decay leak rate",
        "2 L, 25.3 to 50.6 kPa in 70 s, 293.15 K",
        lambda: _cfr_mol_s() * 1e4,
        2.9657,
        1e-4,
        "1e-4 mol/s",
        CFR,
        Status.PUBLISHED,
        "Inputs as printed; the printed answer is rounded to 0.00030 mol/s.",
    ),
    Check(
        "leak-cfr-cfm",
        "the same as free air",
        "at 293.15 K, 101,325 Pa",
        lambda: _cfm(leak_free_air_m3_s(0.002, 25_300 / 70, 101_325.0)),
        0.015116,
        1.5e-5,
        "CFM",
        f"{CFR}, by the ideal gas law",
        Status.PUBLISHED,
    ),
    Check(
        "leak-50ft3",
        "leak from a rise",
        "50 ft³, 5 inHg in 2 min, 29.9213 inHg",
        lambda: _cfm(leak_free_air_m3_s(50 * FOOT3_M3, 5 * INHG_PA / 120, 29.9213 * INHG_PA)),
        4.178,
        0.005,
        "CFM",
        "hand: 50 × 5/29.9213 / 2",
        Status.COMPUTED,
    ),
    Check(
        "leak-farm",
        "leak from a rise",
        "33.515 ft³, 3 inHg in 1 min, 29.9213 inHg",
        lambda: _cfm(leak_free_air_m3_s(_farm_volume_m3(), 3 * INHG_PA / 60, 29.9213 * INHG_PA)),
        3.360,
        0.0034,
        "CFM",
        "hand: 33.515 × 3/29.9213",
        Status.COMPUTED,
    ),
    Check(
        "leak-choked",
        "critical pressure ratio of air",
        "gamma 1.4",
        lambda: CHOKED_RATIO,
        0.52828,
        1e-5,
        "",
        "isentropic flow tables; fluids 1.3, P_critical_flow(1, 1.4)",
        Status.PUBLISHED,
    ),
    Check(
        "leak-choked-vacuum",
        "vacuum above which a hole is choked",
        "29.92 inHg",
        lambda: 29.92 * (1 - CHOKED_RATIO),
        14.11,
        0.01,
        "inHg",
        "hand: 29.92 × (1 − 0.52828)",
        Status.COMPUTED,
    ),
    *(
        Check(
            f"leak-hole-{name}",
            "free air through a choked hole",
            f"{size} in, Cd {discharge_ratio}, 101,325 Pa, 20 °C",
            partial(_sixteenths_cfm, count, discharge_ratio),
            expected,
            0.01 * expected,
            "CFM",
            "hand: isentropic nozzle, 0.5787 × speed of sound × area × Cd",
            Status.COMPUTED,
        )
        for name, size, count, discharge_ratio, expected in (
            ("thirtysecond", "1/32", 0.5, 0.61, 0.127),
            ("sixteenth", "1/16", 1, 0.61, 0.508),
            ("sixteenth-nozzle", "1/16", 1, 1.0, 0.833),
            ("eighth", "1/8", 2, 0.61, 2.033),
        )
    ),
    Check(
        "leak-volume-farm",
        "gas space of a system",
        "2000 ft of 1.049 in, 3000 of 0.824, 12,000 of 5/16, 30 gal",
        lambda: _farm_volume_m3() / FOOT3_M3,
        33.515,
        0.005,
        "ft³",
        "hand: π/4 D² L",
        Status.COMPUTED,
    ),
    *(
        Check(
            f"leak-volume-{name}",
            "gas space of 100 ft of tubing",
            f"bore {bore} in",
            partial(_hundred_ft_gal, bore),
            expected,
            0.001,
            "gal",
            "hand: π/4 D² L, 231 in³ to the gallon",
            Status.COMPUTED,
        )
        for name, bore, expected in (
            ("316", 3 / 16, 0.143),
            ("516", 5 / 16, 0.398),
            ("34", 0.75, 2.295),
            ("1", 1.049, 4.490),
        )
    ),
)

PUMPS = (
    Check(
        "pump-down",
        "pump-down time",
        "33.5 ft³, 20 ACFM, 29.92 to 4.92 inHg absolute",
        lambda: pump_down_s(33.5 * FOOT3_M3, to_si(20, "CFM"), STANDARD_PA, 4.92 * INHG_PA) / 60,
        3.02,
        0.02,
        "min",
        "hand: (V/S) ln(P1/P2)",
        Status.COMPUTED,
    ),
    Check(
        "pump-steady",
        "vacuum a pump holds against a leak",
        "5 CFM free air, 40 ACFM, 29.92 inHg",
        lambda: _inhg(steady_vacuum_pa(5, 40, STANDARD_PA)),
        26.18,
        0.02,
        "inHg",
        "hand: 29.92 × (1 − 5/40)",
        Status.COMPUTED,
    ),
    Check(
        "pump-sag",
        "sag when a vented releaser opens again",
        "33.5 ft³ at 4.92 inHg absolute, 10 gal vented",
        lambda: _inhg(_vented_pa()) - 4.92,
        0.96,
        0.02,
        "inHg",
        "hand: Boyle's law",
        Status.COMPUTED,
    ),
    *(
        Check(
            f"pump-per-inch-{from_inhg:g}",
            "free-air capacity lost per extra inch",
            f"{from_inhg:g} to {from_inhg + 1:g} inHg at 29.92, constant ACFM",
            partial(_capacity_lost_percent, from_inhg),
            expected,
            tolerance,
            "%",
            source,
            status,
            note,
        )
        for from_inhg, expected, tolerance, source, status, note in PER_INCH
    ),
)

CHECKS: tuple[Check, ...] = (*LEAKS, *PUMPS)
