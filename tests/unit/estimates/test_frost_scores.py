"""The frost of the night held against two climates in which it is known: how often right, and how often in its band.

At five in the afternoon, from a thermometer that is 0.3 °C unsure, shows half degrees of Fahrenheit, and is heard
every five minutes but for a tenth of the time.
"""

from dataclasses import dataclass
from functools import cache
from random import Random

import pytest

from collector.simulate.weather import drawn_weather
from shared.estimates.frost import MAY_CHANCE, AirHistory, Frost, frost, observe_air
from shared.units import from_si, to_si
from tests.fakes.rough_weather import rough_air_c

DAYS = 20
SEEDS = range(50)
SLOT_S = 900
ASKED_H = 17


def simulated_air_c(days, seed):
    weather = drawn_weather(
        duration_s=days * 86_400, elevation_m=442.0, local_hour=0.0, first_day=10.0, rng=Random(seed)
    )
    return [weather.at(slot * SLOT_S + SLOT_S / 2)[0] for slot in range(days * 96)]


CLIMATES = {"simulated": simulated_air_c, "rough": rough_air_c}


@dataclass
class Score:
    nights: int = 0
    right: int = 0
    frozen: int = 0
    inside: int = 0
    before: int = 0
    thawed: int = 0
    thaw_inside: int = 0
    chances: tuple = ()

    def note(self, found, air_c):
        """`air_c`: what the air did from now on."""
        freezes = next((i for i, true_c in enumerate(air_c) if true_c <= 0), None)
        self.nights += 1
        self.right += (found.chance >= 0.5) is (freezes is not None)
        self.chances += ((found.chance, freezes is not None),)
        if freezes is None or found.freezes is None:
            return
        at_s = freezes * SLOT_S
        self.frozen += 1
        self.before += at_s < found.freezes.low_s - SLOT_S / 2
        self.inside += found.freezes.low_s - SLOT_S / 2 <= at_s <= found.freezes.high_s + SLOT_S / 2
        thaws = next((i for i, c in enumerate(air_c) if i > freezes and min(air_c[i : i + 4]) > 0), None)
        if thaws is not None and found.thaws is not None:
            self.thawed += 1
            high_s = found.thaws.high_s or 86_400
            self.thaw_inside += found.thaws.low_s - SLOT_S <= thaws * SLOT_S <= high_s + SLOT_S


@cache
def score(climate):
    scored = Score()
    for seed in SEEDS:
        dice, history = Random(1000 + seed), AirHistory()
        air_c = CLIMATES[climate](DAYS, seed)
        for step in range(DAYS * 288):
            slot = step // 3
            now_ms = step * 300_000
            if dice.random() > 0.1:
                shown_f = round(2 * from_si(air_c[slot] + dice.gauss(0.0, 0.3), "degF")) / 2
                observe_air(history, now_ms, to_si(shown_f, "degF"))
            # From the fifth day on four days are known.
            if slot >= 4 * 96 and slot < (DAYS - 1) * 96 and step % 288 == ASKED_H * 12 and air_c[slot] > 0:
                found = frost(history, now_ms)
                assert isinstance(found, Frost)
                scored.note(found, air_c[slot : slot + 96])
    return scored


@pytest.mark.parametrize(("climate", "least"), [("simulated", 0.78), ("rough", 0.71)])
def test_whether_it_freezes_tonight_is_mostly_right(climate, least):
    """Measured: 0.84 and 0.78 of the nights; saying each time what is commoner is right in 0.68 and 0.66."""
    scored = score(climate)
    assert scored.nights > 400
    assert scored.right / scored.nights > least
    froze = sum(did for _, did in scored.chances)
    assert scored.right > max(froze, scored.nights - froze) + 0.05 * scored.nights


@pytest.mark.parametrize("climate", CLIMATES)
def test_four_freezes_of_five_come_within_their_band(climate):
    """Measured: 0.85 and 0.81; before it 0.08 and 0.07."""
    scored = score(climate)
    assert scored.frozen > 300
    assert 0.74 < scored.inside / scored.frozen < 0.93
    assert scored.before / scored.frozen < 0.16
    after = 1 - (scored.inside + scored.before) / scored.frozen
    assert after < 0.18


@pytest.mark.parametrize("climate", CLIMATES)
def test_most_thaws_come_within_their_band(climate):
    """Measured: 0.86 and 0.79."""
    scored = score(climate)
    assert scored.thawed > 250
    assert scored.thaw_inside / scored.thawed > 0.7


@pytest.mark.parametrize("climate", CLIMATES)
def test_a_chance_is_about_what_it_says(climate):
    """Of the nights said to freeze with a chance in one fifth of the scale, about so many did; at worst 0.20 off."""
    for fifth in range(5):
        froze = [did for chance, did in score(climate).chances if min(int(chance * 5), 4) == fifth]
        assert len(froze) > 40
        assert abs(sum(froze) / len(froze) - (fifth + 0.5) / 5) < 0.27, fifth


@pytest.mark.parametrize("climate", CLIMATES)
def test_no_freeze_expected_is_seldom_wrong(climate):
    """Measured: 0.03 and 0.15 froze all the same."""
    froze = [did for chance, did in score(climate).chances if chance < MAY_CHANCE]
    assert len(froze) > 30
    assert sum(froze) / len(froze) < 0.25
