"""What is usual, learnt slowly from good minutes, so that trouble does not become usual in a night.

1. A first median of some tens of minutes.
2. From then on it follows, with a time constant longer than a night, whatever lies near it.
3. What lies far from it teaches nothing; only when it has stayed for days (for hours, if it is better) is it
   taken as a change the owner made.
"""

from dataclasses import dataclass, field
from statistics import median

READY_COUNT = 20
"""Minutes before a usual is told: several of a releaser's dumps, one in 0.5 to 5 min (from memory)."""
FOLLOW_COUNTS = (360, 1440)
"""Minutes of running over which the usual follows: a morning's at first, so that a poor start is mended, a
day's ever after."""
BETTER_STAYS_COUNT = 180
WORSE_STAYS_COUNT = 2 * 1440
"""Minutes of running after which a step is the new usual: hours after a repair, days of running after a loss
(common practice, no source)."""
SHIFT_COUNT = 60
"""Minutes over which the new level of a step is averaged."""
SIGMA_PER_DEVIATION = 1.2533
"""Standard deviation over mean absolute deviation of a normal scatter."""


@dataclass(slots=True)
class Usual:
    """The usual of one sensor as a ratio, its scatter, and what might become the next usual."""

    ratio: float | None = None
    scatter_ratio: float = 0.0
    """Standard deviation of a minute about the usual."""
    first: list[float] = field(default_factory=list)
    learned_count: int = 0
    shift_ratio: float = 0.0
    shift_count: int = 0

    def learn(self, ratio: float, within_ratio: float) -> bool:
        """Take one good minute; whether the usual was set anew by it."""
        if self.ratio is None:
            self.first.append(ratio)
            if len(self.first) == READY_COUNT:
                self.ratio = median(self.first)
                deviations = sum(abs(one - self.ratio) for one in self.first)
                self.scatter_ratio = SIGMA_PER_DEVIATION * deviations / READY_COUNT
                self.first = []
            return self.ratio is not None
        error_ratio = ratio - self.ratio
        if abs(error_ratio) > within_ratio:
            return self._consider(ratio, error_ratio)
        least, most = FOLLOW_COUNTS
        self.learned_count += 1
        self.ratio += error_ratio / min(max(self.learned_count, least), most)
        self.scatter_ratio += (SIGMA_PER_DEVIATION * abs(error_ratio) - self.scatter_ratio) / least
        self.shift_count = 0
        return False

    def _consider(self, ratio: float, error_ratio: float) -> bool:
        assert self.ratio is not None
        if (self.shift_ratio > self.ratio) != (error_ratio > 0):
            self.shift_count = 0  # the other way than what was considered so far
        self.shift_count += 1
        self.shift_ratio += (ratio - self.shift_ratio) / min(self.shift_count, SHIFT_COUNT)
        if self.shift_count < (BETTER_STAYS_COUNT if error_ratio > 0 else WORSE_STAYS_COUNT):
            return False
        self.ratio = self.shift_ratio
        self.learned_count = self.shift_count = 0
        return True
