"""A farm of four tanks, and nights of their levels as a noisy sensor tells them, seeded."""

import random
from collections.abc import Callable, Mapping
from typing import Any

from shared.estimates.sap_age import SapAge
from shared.estimates.tank_book import TankBook, new_tank_book, observe, sap_in
from shared.farm import Farm
from shared.units import GALLON_M3
from tests.fakes.fills import START_MS

HOUR_MS = 3_600_000
Level = Callable[[float], float]
"""Gallons at an hour since the start."""


def four_tanks(*, drains_to: str | None = "lower", without: str | None = None) -> Farm:
    """Box tanks of 4 m3 with an RO; a thermometer in `upper` only."""
    tanks = [
        {"id": "upper", "holds": "sap", "drains_to": drains_to},
        {"id": "lower", "holds": "sap"},
        {"id": "concentrate", "holds": "concentrate"},
        {"id": "permeate", "holds": "permeate"},
    ]
    box = {"shape": "box", "length_m": 2.0, "width_m": 2.0, "height_m": 1.0, "heel_gal": 5.0}
    kept = [tank | box for tank in tanks if tank["id"] != without]
    for tank in kept:
        if tank.get("drains_to") in (without, None):
            tank.pop("drains_to", None)
    level = {"quantity": "level", "unit": "m"}
    farm: dict[str, Any] = {
        "id": "knob",
        "name": "Juniper Knob",
        "timezone": "America/New_York",
        "elevation_ft": 1450,
        "tank": kept,
        "sensor": [
            *({"id": f"{tank['id']}-level", "tank": tank["id"]} | level for tank in kept),
            {"id": "upper-warmth", "tank": "upper", "quantity": "sap_temperature", "unit": "Cel"},
        ],
    }
    if without is None:
        farm["ro"] = {
            "feed_gal_h": 300,
            "takes_from": ["lower"],
            "concentrate_to": "concentrate",
            "permeate_to": "permeate",
        }
    return Farm.model_validate(farm)


def at_ms(hour: float) -> int:
    """That many hours after the start."""
    return round(START_MS + hour * HOUR_MS)


def play(
    book: TankBook,
    levels: Mapping[str, Level],
    *,
    from_h: float = 0.0,
    hours: float,
    noise_gal: float = 2.0,
    seed: int = 1,
) -> None:
    """Feed a reading a minute of each level, with noise and half-gallon steps, to the book."""
    dice = random.Random(seed)
    for minute in range(round(hours * 60)):
        hour = from_h + minute / 60
        for place, (tank, level_gal) in enumerate(levels.items()):
            seen_gal = round((level_gal(hour) + dice.gauss(0, noise_gal)) * 2) / 2
            observe(book, tank, at_ms(hour) + place * 7000, max(0.0, seen_gal) * GALLON_M3)


def filled_book(gallons: float = 600.0) -> TankBook:
    """`upper` was empty and filled within the hour after the start: at 1.5 h its sap is of known age."""
    book = new_tank_book(four_tanks())
    play(book, {"upper": lambda _: 0.0}, from_h=-1, hours=1)
    play(book, {"upper": lambda hour: min(gallons, gallons * hour)}, hours=1.5)
    return book


def messy_night(seed: int) -> list[tuple[str, int, float]]:
    """Tank, time and volume: a fill of `upper`, foam at 2 h, and at 4 h a transfer of 480 gal to `lower`."""
    dice, said = random.Random(seed), []
    for minute in range(8 * 60):
        hour = minute / 60
        moved = 1200.0 * min(max(hour - 4.0, 0.0), 0.4)
        foam = 60.0 if 2.0 < hour < 2.1 else 0.0
        for tank, gallons in (("upper", 200 + 150 * min(hour, 5) - moved + foam), ("lower", 50 + moved)):
            measured_ms = START_MS + minute * 60_000 + dice.randrange(40_000)
            said.append((tank, measured_ms, max(0.0, gallons + dice.gauss(0, 2)) * GALLON_M3))
    return sorted(said, key=lambda reading: reading[1])


def known_age(book: TankBook, tank: str, hour: float) -> SapAge:
    """The age of the sap in a tank, which must be known."""
    age = sap_in(book, tank, at_ms(hour))
    assert isinstance(age, SapAge), age
    return age


def oldest_h(book: TankBook, tank: str, hour: float) -> float:
    """Age of its oldest sap, in hours."""
    return known_age(book, tank, hour).oldest_s / 3600


def mean_h(book: TankBook, tank: str, hour: float) -> float:
    """Mean age of its sap, in hours."""
    return known_age(book, tank, hour).mean_s / 3600


def gallons_in(book: TankBook, tank: str, hour: float) -> float:
    """Sap in it, in gallons."""
    return known_age(book, tank, hour).volume_m3 / GALLON_M3
