"""Simulated stretches of the invented farm: the farm, stories told in a line, and whole seasons of a tap."""

from functools import cache
from pathlib import Path
from random import Random

from collector.simulate.farm_night import simulate
from collector.simulate.sap import Trees, advance_trees
from collector.simulate.story import parse_story
from collector.simulate.truth import Truth
from collector.simulate.weather import drawn_weather
from collector.simulate.wire import Message
from shared.farm import Farm
from shared.farm_file import parse_farm
from shared.units import DAY_S, GALLON_M3, INHG_PA

SAMPLES = Path(__file__).resolve().parents[2] / "sample_streams"
START_MS = 1_774_180_800_000
"""2026-03-22T12:00:00Z, eight in the morning at the farm."""
MILD = "[weather]\nair_f = [[-30, 40], [-14, 26], [-8, 26], [-5, 40], [24, 42]]\n"
"""Frost before the start, then thawed and flowing throughout."""
STEP_S = 300.0


@cache
def farm() -> Farm:
    return parse_farm((SAMPLES / "juniper-knob.toml").read_text())


@cache
def told(text: str, hours: float = 6.0, seed: int = 1) -> tuple[tuple[Message, ...], Truth]:
    """What the farm said and what was true, under a story."""
    simulation = simulate(farm(), parse_story(f'title = "test"\n{text}'), START_MS, hours / 24, seed)
    return tuple(simulation.messages), simulation.truth


@cache
def season_gal_per_tap(seed: int, vacuum_inhg: float, days: int = 42) -> tuple[float, ...]:
    """Sap of an average tap on each day of a season at a steady vacuum."""
    weather = drawn_weather(
        duration_s=days * DAY_S, elevation_m=442.0, local_hour=0.0, first_day=0.0, rng=Random(seed)
    )
    trees = Trees(taps=1, vigour=1.0, shade_c=0.0)
    by_day = [0.0] * days
    for i in range(-int(DAY_S / STEP_S), int(days * DAY_S / STEP_S)):
        flow = advance_trees(trees, weather.at(i * STEP_S)[0], vacuum_inhg * INHG_PA, STEP_S)
        if i >= 0:
            by_day[int(i * STEP_S // DAY_S)] += flow * STEP_S / GALLON_M3
    return tuple(by_day)
