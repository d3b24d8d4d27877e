"""What pages say: names of places, figures with their units, and the sentence each page opens with.

The headline is written once; page and browser tab both show it. An alert's own sentence comes from its rule.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

from shared.alerts import RANK, Alert, AlertState
from shared.farm import Farm
from shared.farm_parts import PUMP, Sensor
from shared.readings import Quantity
from shared.units import from_si
from shared.words import capitalised, clock_time, duration

MINUS = "\N{MINUS SIGN}"

TANK_CAUTION = (
    "Never go into a tank alone, nor without testing its air; follow your local confined-space rules. "
    "A pump or valve that could start is locked out first."
)
WOODS_CAUTION = (
    "Shut off and lock out the pump, and let the air in, before you open a releaser, trap or vacuum tank. "
    "After wind look up before you look at the line."
)
FIRE_CAUTION = (
    "Never leave a lit evaporator. Keep a carbon monoxide alarm in the sugarhouse and let the fire have fresh"
    " air; a stack hotter than it is listed for is a fire hazard. Your local code and the maker's limits come"
    " first."
)
ADVICE_ONLY = "Lantern advises; it is never the only protection."


class Tone(StrEnum):
    """How loudly something is said; also the class it has in CSS."""

    SOFT = "soft"
    INK = "ink"
    MIND = "mind"
    ACT = "act"


@dataclass(frozen=True, slots=True)
class Note:
    """A few words in one tone."""

    text: str
    tone: Tone = Tone.SOFT


@dataclass(frozen=True, slots=True)
class Headline:
    """What it means and what to do: the sentence, and what stands under it."""

    sentence: str
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Top:
    """What every page says first: which farm, its time, how many alerts ask, and the headline."""

    farm: Farm
    page: str
    clock_words: str
    asking_count: int
    headline: Headline


def tab_title(headline: Headline, farm: Farm) -> str:
    """The browser tab says what the page says."""
    return f"{headline.sentence.rstrip('.')} · {farm.name}"


def number(value: float, decimals: int = 0) -> str:
    """`1,290`, with a real minus sign.

    >>> number(-0.62, 1)
    '−0.6'
    """
    said = f"{abs(value):,.{decimals}f}"
    return f"{MINUS}{said}" if value < 0 and float(said.replace(",", "")) else said


def signed(value: float, decimals: int = 0) -> str:
    """The same, with a plus where it is one."""
    said = number(value, decimals)
    return said if said.startswith(MINUS) or not float(said.replace(",", "")) else f"+{said}"


def tank_name(tank_id: str) -> str:
    """`Lower`."""
    return capitalised(tank_id)


def place_name(farm: Farm, sensor: Sensor) -> str:
    """Where a sensor sits, as people say it: `At the pump`, `Ledge, far end`, `Ledge, 40 ft`, `Lower`."""
    if sensor.line == PUMP:
        return "At the pump"
    if sensor.line is not None:
        return f"{capitalised(sensor.line)}, {end_name(farm, sensor)}"
    if sensor.tank is not None:
        return f"{tank_name(sensor.tank)}, {sensor.quantity.replace('_', ' ').removeprefix('sap ')}"
    return capitalised(sensor.id.replace("-", " "))


def end_name(farm: Farm, sensor: Sensor) -> str:
    """Where on its line a sensor sits: `far end`, `near end`, `1,900 ft`; `pump` at the pump."""
    if sensor.line is None or sensor.line == PUMP:
        return "pump"
    length_m = farm.line_by_id[sensor.line].length_m
    # A sensor within a twentieth of the line is at its end, as people say it.
    if sensor.at_m is None or sensor.at_m >= 0.95 * length_m:
        return "far end"
    if sensor.at_m <= 0.05 * length_m:
        return "near end"
    return f"{number(from_si(sensor.at_m, 'ft'))} ft"


def ordered(alerts: Iterable[Alert], now_ms: int) -> list[Alert]:
    """Alerts as they ask: unanswered before answered, grave before slight, new before old; paused last."""
    return sorted(
        alerts,
        key=lambda alert: (
            alert.is_shelved(now_ms),
            alert.state is not AlertState.ACTIVE,
            not alert.is_active,
            -RANK[alert.priority],
            -(alert.raised_ms or 0),
        ),
    )


def asking(alerts: Iterable[Alert], now_ms: int) -> list[Alert]:
    """Those that nobody has answered and nobody has paused, the gravest first."""
    return [a for a in ordered(alerts, now_ms) if a.state is AlertState.ACTIVE and not a.is_shelved(now_ms)]


def alert_headline(alerts: Sequence[Alert], now_ms: int) -> Headline | None:
    """The gravest alert's own sentence; None where nothing is active."""
    active = [a for a in ordered(alerts, now_ms) if a.is_active and not a.is_shelved(now_ms)]
    if not active:
        return None
    first = active[0]
    lead = first.advice
    if first.state is AlertState.ACKNOWLEDGED:
        lead = f"{first.acknowledged_by} has it. {lead}".strip()
    if first.stale:
        lead = f"Its sensor is silent now, so this may be old. {lead}".strip()
    return Headline(first.sentence, lead)


def nothing_heard(heard_ms: int | None, now_ms: int, zone: ZoneInfo) -> Headline | None:
    """The sentence for a farm that is not being watched; None while it is.

    Ten minutes: twice what the most talkative rule allows a sensor to be silent (our choice).
    """
    if heard_ms is None:
        return Headline(
            "Nothing heard from the farm yet.",
            "Is the collector running? The command lantern check --listen 60 says which sensors speak.",
        )
    silent_s = (now_ms - heard_ms) / 1000
    if silent_s < NOTHING_HEARD_S:
        return None
    return Headline(
        f"Nothing heard for {duration(silent_s)}.",
        f"No sensor has spoken since {clock_time(heard_ms, zone, now_ms)}: look at the collector, the broker"
        " and the power. Nothing below is watched now.",
    )


NOTHING_HEARD_S = 600.0


def belongs(alert: Alert, farm: Farm, quantities: frozenset[Quantity], *, tanks: bool = False) -> bool:
    """Whether an alert is about a sensor of these quantities (or about a tank or line of theirs)."""
    sensor = farm.sensor_by_id.get(alert.subject)
    if sensor is not None:
        return sensor.quantity in quantities or (tanks and sensor.tank is not None)
    if alert.subject in farm.tank_by_id:
        return tanks
    is_line = alert.subject == PUMP or alert.subject in farm.line_by_id
    return Quantity.VACUUM in quantities and is_line
