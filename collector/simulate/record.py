"""Keeps the truth while the night goes by: samples every few minutes, and each thing that happens."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from collector.simulate.liquids import Liquid, book
from collector.simulate.night import Night
from collector.simulate.story_events import Boil, Event, Leak, LimbDown, ReleaserStuck, RoRun, Transfer
from collector.simulate.tanks import oldest_s
from collector.simulate.truth import Balance, LineTruth, Occurrence, TankTruth, Truth
from collector.simulate.woods import choke_ratio, choked_air_m3_s
from shared.farm_parts import PUMP
from shared.physics.sap import SYRUP_BRIX, sucrose_density_kg_m3
from shared.units import DAY_S, HOUR_S

SAMPLE_S = 600.0
LONG_S = 3 * DAY_S
LONG_SAMPLE_S = 3600.0
"""A long stream is sampled by the hour, so that its truth stays smaller than itself."""
RUNS_OVER_FRACTION = 0.9999
LEAST_RISE_M3_S = 1e-7
"""A gallon in ten hours: slower than that a tank stands."""

Doing = tuple[str, str]
"""(kind, subject)."""


@dataclass(slots=True)
class Recorder:
    """What was seen last, to tell when it changed."""

    next_s: float = 0.0
    volumes_m3: dict[str, float] = field(default_factory=dict)
    since: dict[Doing, tuple[float, dict[str, float]]] = field(default_factory=dict)
    """For what is still going on: when it began and what its meters showed."""
    firings_count: int = 0
    day: int = 0
    before_today_m3: float = 0.0


def note(recorder: Recorder, truth: Truth, night: Night, now_s: float) -> None:
    """Look at the farm after a step."""
    doing, since = _doing(night), recorder.since
    if doing != since.keys():
        for what in doing - since.keys():
            since[what] = now_s, _meters(night, what)
        for what in sorted(since.keys() - doing):
            _ended(recorder, truth, night, what, now_s)
    firings_s = night.crew.fire.firings_s
    for at_s in firings_s[recorder.firings_count :]:
        truth.firings_ms.append(truth.at_ms(at_s))
    recorder.firings_count = len(firings_s)
    day = int((night.start_hour * HOUR_S + now_s) // DAY_S)
    if day != recorder.day:
        recorder.day = day
        _end_day(recorder, truth, night)
    if now_s >= recorder.next_s:
        sample_s = SAMPLE_S if truth.end_ms - truth.start_ms <= LONG_S * 1000 else LONG_SAMPLE_S
        _sample_tanks(recorder, truth, night, now_s, sample_s)
        _sample_lines(truth, night, now_s)
        recorder.next_s += sample_s


def close_books(recorder: Recorder, truth: Truth, night: Night, end_s: float) -> None:
    """Everything that is only known at the end."""
    crew, g = night.crew, night.gathering
    for what in sorted(recorder.since):
        _ended(recorder, truth, night, what, end_s)
    for event in night.story.events:
        # What the crew does is told by what it did.
        if event.at_s < end_s and not isinstance(event, Transfer | RoRun | Boil):
            truth.occurrences.append(_told(truth, night, event, end_s))
    truth.occurrences.sort(key=lambda o: (o.from_ms, o.kind, o.subject))
    _end_day(recorder, truth, night)
    stored = _summed((g.chamber, *(v.held for v in night.vessels.values())))
    spilled = _summed((g.on_the_ground, *(v.spilled for v in night.vessels.values())))

    def books(of: Callable[[Liquid], float], evaporated_kg: float) -> Balance:
        return Balance(
            at_start_kg=of(night.at_start),
            sap_in_kg=of(g.given),
            stored_kg=of(stored),
            permeate_poured_kg=of(crew.permeate_poured),
            evaporated_kg=evaporated_kg,
            syrup_kg=of(crew.syrup),
            spilled_kg=of(spilled),
            washed_kg=of(crew.washed),
        )

    truth.water = books(lambda liquid: liquid.water_kg, crew.evaporated_kg)
    truth.sugar = books(lambda liquid: liquid.sugar_kg, 0.0)
    truth.useful_heat_j, truth.wood_kg = crew.useful_heat_j, crew.fire.wood_kg
    truth.syrup_m3 = crew.syrup.kg / sucrose_density_kg_m3(SYRUP_BRIX)
    truth.boiled_brix = crew.boil_feed.brix
    truth.expected = [item.model_dump(mode="json") for item in night.story.expect]


def _doing(night: Night) -> set[Doing]:
    crew, g = night.crew, night.gathering
    doing = {("transfer", tank) for tank in crew.transferring} | {("frozen", line) for line in g.frozen}
    doing |= {("full", tank) for tank, v in night.vessels.items() if v.full_fraction > RUNS_OVER_FRACTION}
    for what, is_on in (
        (("ro_run", "ro"), crew.ro_on),
        (("boil", "evaporator"), crew.boiling),
        (("pump_running", PUMP), g.pump_on),
    ):
        if is_on:
            doing.add(what)
    return doing


def _meters(night: Night, what: Doing) -> dict[str, float]:
    """What counts up while such a thing goes on."""
    crew = night.crew
    match what:
        case ("transfer", tank):
            return {"moved_m3": crew.moved_m3.get(tank, 0.0)}
        case ("ro_run", _):
            return {"feed_kg": crew.ro_feed.kg}
        case ("boil", _):
            return {
                "evaporated_kg": crew.evaporated_kg,
                "syrup_kg": crew.syrup.kg,
                "wood_kg": crew.fire.wood_kg,
                "firings_count": float(len(crew.fire.firings_s)),
            }
        case ("full", tank):
            return {"spilled_kg": night.vessels[tank].spilled.kg}
        case _:
            return {}


def _ended(recorder: Recorder, truth: Truth, night: Night, what: Doing, now_s: float) -> None:
    from_s, before = recorder.since.pop(what)
    amounts = {name: value - before[name] for name, value in _meters(night, what).items()}
    truth.occurrences.append(Occurrence(*what, truth.at_ms(from_s), truth.at_ms(now_s), amounts))


def _told(truth: Truth, night: Night, event: Event, end_s: float) -> Occurrence:
    facts = event.model_dump(mode="json", exclude={"kind", "at_s", "for_s"})
    subject = next((facts[key] for key in ("line", "tank", "sensor") if facts.get(key) is not None), "farm")
    amounts = {
        name: float(value)
        for name, value in facts.items()
        if isinstance(value, int | float) and not isinstance(value, bool)
    }
    if isinstance(event, Leak | LimbDown | ReleaserStuck):
        air_c, station_pa = night.weather.at(event.at_s)
        amounts["choked_m3_s"] = choked_air_m3_s(event.hole_m, station_pa, air_c)
    kind = facts.get("fault", event.kind)
    until_s = min(event.until_s, end_s)
    return Occurrence(kind, subject, truth.at_ms(event.at_s), truth.at_ms(until_s), amounts)


def _end_day(recorder: Recorder, truth: Truth, night: Night) -> None:
    given_m3 = night.gathering.given_m3
    truth.sap_by_day_m3.append(given_m3 - recorder.before_today_m3)
    recorder.before_today_m3 = given_m3


def _sample_tanks(recorder: Recorder, truth: Truth, night: Night, now_s: float, sample_s: float) -> None:
    at_ms = truth.at_ms(now_s)
    for tank, v in night.vessels.items():
        volume = v.volume_m3
        rate = (volume - recorder.volumes_m3.get(tank, volume)) / sample_s
        recorder.volumes_m3[tank] = volume
        to_full_s = (v.capacity_m3 - volume) / rate if rate > LEAST_RISE_M3_S else None
        truth.tanks.setdefault(tank, []).append(
            TankTruth(at_ms, volume, oldest_s(v, now_s), rate, to_full_s, v.temperature_c, v.held.brix)
        )


def _sample_lines(truth: Truth, night: Night, now_s: float) -> None:
    g, woods, station_pa = night.gathering, night.gathering.woods, night.moment.station_pa
    leaks_m3_s: dict[str, float] = {}
    for hole in woods.holes:
        line = woods.line[hole.node]
        passes_m3_s = hole.choked_m3_s * choke_ratio(woods.pressure_pa[hole.node] / station_pa)
        leaks_m3_s[line] = leaks_m3_s.get(line, 0.0) + passes_m3_s
    for line, nodes in woods.nodes.items():
        truth.lines.setdefault(line, []).append(
            LineTruth(
                truth.at_ms(now_s),
                leaks_m3_s.get(line, 0.0),
                station_pa - woods.pressure_pa[nodes[0]],
                station_pa - woods.pressure_pa[nodes[-1]],
                g.flow_m3_s.get(line, 0.0),
                line in g.frozen,
            )
        )


def _summed(accounts: Iterable[Liquid]) -> Liquid:
    total = Liquid()
    for account in accounts:
        book(total, account)
    return total
