"""What the estimates cost per reading: `python tests/benchmarks/estimators.py [STREAM]` prints a table.

A recorded stream of the demo farm is decoded and folded as the collector does it; once in each minute of
event time every question is asked, as rules and pages do. Costs are spread over all readings. The bar is
0.2 ms per reading for all estimates together; decoding and a bare dict update stand beside them.
"""

import gzip
import sys
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from time import thread_time

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from collector.intake import Memory, take_in  # noqa: E402 - run as a script, before it is installed
from collector.topics import router_of  # noqa: E402
from shared.estimates.isolation import isolation_test  # noqa: E402
from shared.estimates.outlook import brim, outlook  # noqa: E402
from shared.estimates.picture import (  # noqa: E402
    Picture,
    dump_picture,
    fire_view,
    new_picture,
    observe,
    stuck_view,
    tank_view,
    vacuum_view,
)
from shared.estimates.sensor_peers import drift  # noqa: E402
from shared.estimates.tank_loss import tank_loss  # noqa: E402
from shared.estimates.woods_views import suspects  # noqa: E402
from shared.farm import Farm  # noqa: E402
from shared.farm_file import parse_farm  # noqa: E402
from shared.readings import Quantity, Reading  # noqa: E402
from shared.streams import read_stream  # noqa: E402
from shared.units import HOUR_S, INHG_PA  # noqa: E402

STREAM = ROOT / "sample_streams/demo-night.jsonl.gz"
FARM_FILE = ROOT / "sample_streams/juniper-knob.toml"
MINUTE_MS = 60_000
DRIFT_MINUTES = 30
"""As often as its rule is judged."""
BAR_US = 200.0


@dataclass
class Costs:
    """Processor seconds and calls of each step, in the order they were first met."""

    spent_s: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    calls: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    @contextmanager
    def of(self, step: str, calls: int = 1) -> Iterator[None]:
        start_s = thread_time()
        yield
        self.spent_s[step] += thread_time() - start_s
        self.calls[step] += calls


def decoded(farm: Farm, stream: Path, costs: Costs) -> list[Reading]:
    router, memory = router_of(farm), Memory()
    with gzip.open(stream, "rt") as lines:
        messages = list(read_stream(lines))
    with costs.of("decode a message", len(messages)):
        taken = [take_in(router, memory, m.topic, m.payload, m.at_ms) for m in messages]
    return [reading for each in taken for reading in each.readings]


def bare(readings: list[Reading], costs: Costs) -> None:
    latest: dict[str, tuple[int, float]] = {}
    with costs.of("a bare dict update", len(readings)):
        for reading in readings:
            latest[reading.sensor] = (reading.measured_ms, reading.value)


def folded(farm: Farm, readings: list[Reading], costs: Costs) -> Picture:
    picture = new_picture(farm)
    next_ms = readings[0].received_ms + MINUTE_MS
    quantity_of = {sensor.id: sensor.quantity for sensor in farm.sensors}
    for reading in readings:
        while reading.received_ms >= next_ms:
            ask(farm, picture, next_ms, costs)
            next_ms += MINUTE_MS
        with costs.of(f"observe {quantity_of[reading.sensor]}"):
            observe(picture, farm, reading)
    return picture


def ask(farm: Farm, picture: Picture, now_ms: int, costs: Costs) -> None:
    vacuums = farm.sensors_of(Quantity.VACUUM)
    with costs.of("ask vacuum lost", len(vacuums)):
        for sensor in vacuums:
            vacuum_view(picture, sensor.id, now_ms)
    with costs.of("ask leaks"):
        suspects(picture, farm, now_ms)
    with costs.of("ask tanks: flow, time to full, age", len(farm.tanks)):
        for tank in farm.tanks:
            tank_view(picture, farm, tank.id, now_ms)
    with costs.of("ask fire"):
        fire_view(picture, farm, now_ms)
    with costs.of("ask sensors: stuck", len(farm.sensors)):
        for sensor in farm.sensors:
            stuck_view(picture, farm, sensor, HOUR_S)
    if now_ms // MINUTE_MS % DRIFT_MINUTES == 0:
        with costs.of("ask sensors: drifting", len(vacuums)):
            for sensor in vacuums:
                drift(picture.health, farm, sensor, INHG_PA)
    with costs.of("ask outlook: what cannot be helped"):
        outlook(picture, farm, 3 * HOUR_S, now_ms)
    with costs.of("ask tanks: at the brim, losing", len(farm.tanks)):
        for tank in farm.tanks:
            brim(picture, farm, tank.id, now_ms)
            tank_loss(picture, farm, tank.id, now_ms)


def a_valve_closes(costs: Costs) -> None:
    """Asked for by hand, not once a minute: ten minutes of a gauge every five seconds."""
    fading = [
        (second * 1000, (24 - 0.4 * second / 60) * INHG_PA + second % 3 * 20.0) for second in range(0, 600, 5)
    ]
    with costs.of("an isolation test"):
        isolation_test(fading, 0.4, 96_000.0)


def table(farm: Farm, readings: list[Reading], costs: Costs, picture: Picture) -> Iterator[str]:
    minutes = (readings[-1].received_ms - readings[0].received_ms) / MINUTE_MS
    yield f"{len(readings)} readings of {len(farm.sensors)} sensors in {minutes / 60:.1f} h"
    yield f"the picture takes {len(dump_picture(picture))} bytes, packed"
    yield f"{'step':38}{'calls':>9}{'µs a call':>11}{'µs a reading':>14}"
    for step in costs.spent_s:
        spent_us, calls = costs.spent_s[step] * 1e6, costs.calls[step]
        yield f"{step:38}{calls:9}{spent_us / calls:11.1f}{spent_us / len(readings):14.2f}"
    estimates_s = [spent for step, spent in costs.spent_s.items() if step.startswith(("observe", "ask"))]
    total_us = sum(estimates_s) * 1e6 / len(readings)
    yield f"{'all estimates together':38}{'':20}{total_us:14.2f}   (bar {BAR_US:.0f})"


if __name__ == "__main__":
    juniper_knob = parse_farm(FARM_FILE.read_text())
    spent = Costs()
    heard = decoded(juniper_knob, Path(sys.argv[1]) if len(sys.argv) > 1 else STREAM, spent)
    bare(heard, spent)
    known = folded(juniper_knob, heard, spent)
    a_valve_closes(spent)
    sys.stdout.writelines(f"{line}\n" for line in table(juniper_knob, heard, spent, known))
