"""A night brief of an invented farm in which all is well; tests change what they are about."""

from shared.estimates.brief import NightBrief
from shared.estimates.deadlines import LatestStart, Plan, Starts, Trouble
from shared.estimates.frost import Frost, Turn
from shared.estimates.picture import TankView
from shared.estimates.sap_age import SapAge
from shared.estimates.tank_flow import FillTime, NotFilling, TankFlow
from shared.readings import Band
from shared.units import GALLON_M3
from tests.fakes.seasons import farm

HOUR_MS = 3_600_000
NOW = 1_774_299_600_000
"""2026-03-23 17:00 in New York."""
MORNING = NOW + 15 * HOUR_MS


def flow(net_gal_h, volume_m3=1.0):
    net = net_gal_h * GALLON_M3 / 3600
    return TankFlow(Band(net - 1e-6, net, net + 1e-6), volume_m3, 0.01, NOW, NOW, 0.2)


def tank(name="lower", **more):
    facts = {
        "tank_id": name,
        "capacity_m3": 1600 * GALLON_M3,
        "volume_m3": 1290 * GALLON_M3,
        "measured_ms": NOW,
        "flow": flow(0.0),
        "time_to_full": NotFilling(0.0),
        "age": SapAge(4.9, 9 * 3600.0, 3600.0, None, None, at_least=False),
    }
    return TankView(**(facts | more))


def filling(low_h, middle_h, high_h):
    """A tank that fills in so many hours."""
    high_s = None if high_h is None else high_h * 3600
    return {"flow": flow(142), "time_to_full": FillTime(low_h * 3600, middle_h * 3600, high_s)}


def start(hours, trouble=Trouble.SPILL, name="lower"):
    return LatestStart(hours * 3600, trouble, name, (hours + 1) * 3600)


def plan(middle=None, strong=None, weak=None):
    middle = middle or Starts(None, None)
    return Plan(weak or middle, middle, strong or middle)


MILD = Frost(4.0, 0.02, None, None, Band(0.6, 1.5, 2.4))
COLD = Frost(
    4.0, 0.97, Turn(20_000.0, 24_000.0, 30_000.0), Turn(54_000.0, 57_600.0, 63_000.0), Band(-6.0, -4.0, -2.0)
)


def brief(**more):
    facts = {
        "farm": farm(),
        "now_ms": NOW,
        "morning_ms": MORNING,
        "heard_ms": NOW - 5000,
        "tanks": tuple(tank(each.id) for each in farm().tanks),
        "plan": plan(),
        "hold_limit_s": 86_400.0,
        "frost": MILD,
        "needs": (),
        "gaps": (),
        "asking": (),
        "taken": (),
        "running": (),
        "proven_ms": NOW - HOUR_MS,
    }
    return NightBrief(**(facts | more))
