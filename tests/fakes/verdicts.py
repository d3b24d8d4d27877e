"""Whether a suspect is the truth of a seeded night, and how far its probabilities can be trusted."""

from collections.abc import Sequence
from dataclasses import dataclass

from shared.estimates.suspects import Cause, Suspect
from tests.fakes.woods_nights import Night

BIN_COUNT = 10


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was said of one night, and what of it was so."""

    kind: str
    said: float
    right: bool
    rank: int
    suspect: Suspect


def is_true(night: Night, suspect: Suspect) -> bool:
    """The suspect names the night's cause, on the piece of line where it is or on a line that joins it."""
    inside = suspect.line == night.line and suspect.from_m <= night.at_m <= suspect.to_m
    if night.kind == "leak":
        return suspect.cause.is_leak and (inside or night.line in suspect.joining)
    if night.kind == "frozen":
        return suspect.cause is Cause.FROZEN and (inside or night.line in suspect.joining)
    if night.kind == "sensor":
        return suspect.cause is Cause.SENSOR and suspect.sensors[:1] == (night.line,)
    return suspect.cause.value == night.kind


def verdict_on(night: Night, suspects: Sequence[Suspect]) -> Verdict:
    """What was said first, whether it is so, and where the truth stands in the list."""
    truths = [is_true(night, suspect) for suspect in suspects]
    rank = truths.index(True) + 1 if True in truths else len(truths) + 1
    return Verdict(night.kind, suspects[0].probability, truths[0], rank, suspects[0])


def calibration_error(verdicts: Sequence[Verdict]) -> float:
    """Expected calibration error in ten bins (Naeini, Cooper and Hauskrecht 2015)."""
    error = 0.0
    for number in range(BIN_COUNT):
        one = [v for v in verdicts if min(BIN_COUNT - 1, int(v.said * BIN_COUNT)) == number]
        error += abs(sum(v.said for v in one) - sum(v.right for v in one)) / len(verdicts)
    return error


def share_right(verdicts: Sequence[Verdict]) -> float:
    """How often the first suspect was the truth."""
    return sum(v.right for v in verdicts) / len(verdicts)
