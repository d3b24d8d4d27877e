"""A figure that sources disagree on stays three figures: the least, the usual and the most."""

from dataclasses import dataclass

from shared.errors import InvalidArgument


@dataclass(frozen=True, slots=True)
class Contested:
    """The lowest and highest that a source gives, and the one we use where only one can be shown.

    Not a measure of chance: `shared.readings.Band` is that.

    Raises:
        InvalidArgument: the usual does not lie between the two, or one of them is not a number.
    """

    low: float
    usual: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.usual <= self.high:
            raise InvalidArgument("usual", self.usual, f"between {self.low} and {self.high}")
