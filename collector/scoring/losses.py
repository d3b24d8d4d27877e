"""What vacuum a line truly lost, sample by sample, against what it truly had while nothing was wrong."""

from bisect import bisect_right
from dataclasses import dataclass
from statistics import median

from collector.simulate.truth import LineTruth, Occurrence, Truth
from shared.farm import Farm
from shared.farm_parts import PUMP

TAKES_VACUUM = ("leak", "limb_down", "valve_closed", "pump_stop", "releaser_stuck")
SETTLE_MS = 30 * 60_000
"""After a thaw, a start of the pump or the end of a trouble vacuum is still coming back."""
USUAL_COUNT = 6
"""Samples (an hour of running with nothing wrong) before anybody could know what is usual."""


@dataclass(frozen=True, slots=True)
class Loss:
    """A line at one sample; None: frozen, at rest, or no usual known yet."""

    at_ms: int
    pa: float | None


@dataclass(frozen=True, slots=True)
class Losses:
    """Of every line its far end's loss; of `pump` the loss at the pump."""

    by_subject: dict[str, tuple[Loss, ...]]

    def taken_by(self, subject: str, trouble: Occurrence) -> tuple[Loss, ...]:
        """What one trouble took while it lasted, beyond what was lost when it began."""
        every = self.by_subject.get(subject, ())
        earlier = [
            loss.pa for loss in every if 0 < trouble.from_ms - loss.at_ms <= SETTLE_MS and loss.pa is not None
        ]
        before_pa = max(0.0, earlier[-1]) if earlier else 0.0
        return tuple(
            Loss(loss.at_ms, loss.pa - before_pa)
            for loss in every
            if trouble.from_ms <= loss.at_ms <= trouble.to_ms and loss.pa is not None
        )

    def worst_pa(self, subject: str, from_ms: int, to_ms: int) -> float | None:
        """The greatest loss within a time; None where nothing is known."""
        known = [
            loss.pa
            for loss in self.by_subject.get(subject, ())
            if from_ms <= loss.at_ms <= to_ms and loss.pa is not None
        ]
        return max(known, default=None)


def losses_of(farm: Farm, truth: Truth) -> Losses:
    """The losses of a whole night."""
    found: dict[str, tuple[Loss, ...]] = {}
    for line in farm.lines:
        rows = truth.lines.get(line.id, [])
        open_ms = _open_times(farm, truth, line.id)
        found[line.id] = _losses(truth, rows, [row.far_vacuum_pa for row in rows], open_ms)
        if line.parent == PUMP and PUMP not in found:
            # What the pump makes is seen at the joint of a line that hangs on it, ice or no ice.
            anywhere_ms = sorted(set().union(*(_open_times(farm, truth, each.id) for each in _tapped(farm))))
            found[PUMP] = _losses(truth, rows, [row.near_vacuum_pa for row in rows], set(anywhere_ms))
    return Losses(found)


def _tapped(farm: Farm) -> list:  # type: ignore[type-arg]
    return [line for line in farm.lines if line.taps]


def _open_times(farm: Farm, truth: Truth, line_id: str) -> set[int]:
    """Samples at which neither that line nor any between it and the pump has been frozen for a while."""
    frozen_ms: list[int] = []
    at_ms = [row.at_ms for row in truth.lines.get(line_id, [])]
    name = line_id
    while name != PUMP:
        frozen_ms += [row.at_ms for row in truth.lines.get(name, []) if row.frozen]
        name = farm.line_by_id[name].parent
    frozen_ms.sort()
    open_ms = set()
    for at in at_ms:
        last = bisect_right(frozen_ms, at)
        if last == 0 or at - frozen_ms[last - 1] > SETTLE_MS:
            open_ms.add(at)
    return open_ms


def _losses(
    truth: Truth, rows: list[LineTruth], vacuums_pa: list[float], open_ms: set[int]
) -> tuple[Loss, ...]:
    resting = _resting(truth)
    troubles = [(o.from_ms, o.to_ms) for o in truth.occurrences if o.kind in TAKES_VACUUM]
    usual_pa: list[float] = []
    found = []
    for row, vacuum_pa in zip(rows, vacuums_pa, strict=True):
        wrong = any(a <= row.at_ms <= b + SETTLE_MS for a, b in troubles)
        if row.at_ms not in open_ms or any(a <= row.at_ms <= b + SETTLE_MS for a, b in resting):
            found.append(Loss(row.at_ms, None))
            continue
        if not wrong:
            usual_pa.append(vacuum_pa)
        known = len(usual_pa) >= USUAL_COUNT
        found.append(Loss(row.at_ms, median(usual_pa) - vacuum_pa if known else None))
    return tuple(found)


def _resting(truth: Truth) -> list[tuple[int, int]]:
    """When the pump rests because its thermostat says so, not because it has stopped."""
    runs = sorted((o.from_ms, o.to_ms) for o in truth.occurrences if o.kind == "pump_running")
    stops = [(o.from_ms, o.to_ms) for o in truth.occurrences if o.kind == "pump_stop"]
    gaps, so_far = [], truth.start_ms
    for begin, end in runs:
        gaps.append((so_far, begin))
        so_far = end
    gaps.append((so_far, truth.end_ms))
    return [
        (a, b)
        for a, b in gaps
        if b - a > 60_000 and not any(c - 60_000 <= a < d for c, d in stops)  # noqa: PLR2004 - a step or two
    ]
