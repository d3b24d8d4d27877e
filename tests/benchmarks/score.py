"""How fast nights are simulated and watched, one process: messages per second of each.

    python tests/benchmarks/score.py [NIGHTS] [SEED]

Marking is left out of both: it takes milliseconds. The score itself: `lantern score`.
"""

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from collector.scoring.dice import draw, slowed  # noqa: E402 - run as a script
from collector.scoring.listening import listen  # noqa: E402
from collector.simulate.farm_night import simulate  # noqa: E402
from shared.farm_file import parse_farm  # noqa: E402


def main(nights: int, seed: int) -> None:
    farm = slowed(parse_farm((ROOT / "sample_streams" / "juniper-knob.toml").read_text("utf-8")))
    spent = {"simulated": [0.0, 0.0], "watched": [0.0, 0.0]}
    count = 0
    for each in range(seed * 1000, seed * 1000 + nights):
        drawn = draw(farm, each)
        at = _clocks()
        messages = [
            (m.t_ms, m.topic, m.payload.encode())
            for m in simulate(farm, drawn.story, drawn.start_ms, drawn.days, each).messages
        ]
        made = _clocks()
        listen(farm, messages)
        done = _clocks()
        count += len(messages)
        for what, before, after in (("simulated", at, made), ("watched", made, done)):
            spent[what] = [s + b - a for s, a, b in zip(spent[what], before, after, strict=True)]
    print(f"{nights} nights, {count:,} messages")
    for what, (wall_s, cpu_s) in spent.items():
        print(f"{what}: {count / wall_s:,.0f} messages/s, {count / cpu_s:,.0f} per CPU second")


def _clocks() -> tuple[float, float]:
    return time.monotonic(), time.process_time()


if __name__ == "__main__":
    main(*(int(word) for word in (*sys.argv[1:], *("20", "1")[len(sys.argv) - 1 :])))
