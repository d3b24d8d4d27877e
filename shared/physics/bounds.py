"""One way to refuse a number that a formula cannot mean."""

from shared.errors import InvalidArgument


def require_within(argument: str, value: float, low: float, high: float) -> None:
    """Refuse what is not between the two, both included; NaN and the infinities never are.

    Raises:
        InvalidArgument: naming the argument.
    """
    if not low <= value <= high:
        raise InvalidArgument(argument, value, f"between {low:g} and {high:g}")
