"""A farm with an RO and an evaporator, whose tanks hold what a night says, in gallons by the hour."""

from collector.evaluator import Changes
from collector.people import on_request
from shared.requests import LogKind, WriteLog
from tests.fakes.night import KNOLL, Night, calm, wobble

HOUSE = f"""{KNOLL}
[[tank]]
id = "concentrate"
shape = "box"
length_ft = 6
width_ft = 3
height_ft = 3
holds = "concentrate"
[[tank]]
id = "permeate"
shape = "box"
length_ft = 8
width_ft = 4
height_ft = 3
holds = "permeate"
[[sensor]]
id = "concentrate-level"
quantity = "level"
unit = "ft"
tank = "concentrate"
interval_s = 60
[[sensor]]
id = "permeate-level"
quantity = "level"
unit = "ft"
tank = "permeate"
interval_s = 60
[[sensor]]
id = "stack"
quantity = "stack_temperature"
unit = "degF"
interval_s = 30
[ro]
feed_gal_h = 500
takes_from = ["upper"]
concentrate_to = "concentrate"
permeate_to = "permeate"
concentrate_brix = 12
[evaporator]
water_gal_h = 90
takes_from = "concentrate"
"""
"""Upper holds 1,496 gal, lower 1,583, concentrate 404, permeate 718; concentrate is a sixth of its feed."""

GAL_A_FT = {"upper": 374.03, "lower": 287.88, "concentrate": 134.65, "permeate": 239.38}
FEED, CONCENTRATE, PERMEATE = 500.0, 80.0, 420.0
"""What the RO takes and gives, gal/h."""


def house(farm_text: str = HOUSE, **gallons: object) -> Night:
    """A calm night there; each tank holds 300 gal, or what a function of the hour says; None: it is not heard."""
    night = calm(Night(farm_text))
    for seed, (tank, gal_a_ft) in enumerate(GAL_A_FT.items(), 4):
        held = gallons.get(tank, 300.0)

        def level(hour, held=held, gal_a_ft=gal_a_ft, seed=seed):
            now = held(hour) if callable(held) else held
            return None if now is None else max(0.0, now / gal_a_ft + 0.03 * wobble(hour, seed))

        night.show[f"{tank}-level"] = level
    night.show["stack"] = lambda hour: 40.0 + 5 * wobble(hour, 9)
    return night


def between(hour: float, begin: float, end: float) -> float:
    """How many hours of that stretch have gone by."""
    return max(0.0, min(hour, end) - begin)


def news(night: Night, rule: str) -> list[tuple[float, str, str]]:
    """(hour, subject, text) of what the owner was told by that rule, what is over left out; none of it was cut."""
    told = [each for each in night.texts(rule) if not each[2].startswith("Over: ")]
    assert [body for _, _, body in told if "..." in body or len(body) > 160] == []
    return told


def write(night: Night, kind: LogKind, *, tank: str | None = None, hours_ago: float = 0.0) -> None:
    """Somebody writes it into the log."""
    entry = WriteLog(
        id=f"log{night.at_s}{kind}",
        by="Wren",
        asked_ms=night.now_ms,
        entry=kind,
        happened_ms=night.now_ms - round(hours_ago * 3_600_000),
        tank=tank,
    )
    on_request(night.watch, night.plan, entry, Changes())
