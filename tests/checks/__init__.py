"""Every number of ours beside the number someone else gives for it, one place per check.

A module of this package holds `CHECKS`, a tuple of `Check`. The unit tests assert them all
(`tests/unit/physics/test_checks.py`) and `python docs/checks.py` prints them as docs/checks.md, so the
manual and the tests cannot disagree.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from importlib import import_module
from pkgutil import iter_modules


class Status(StrEnum):
    """Where the expected number comes from."""

    PUBLISHED = "published"
    COMPUTED = "computed"
    MEMORY = "from memory"
    TRADE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Check:
    """One number of ours, and what an outside source says it should be."""

    id: str
    what: str
    inputs: str
    ours: Callable[[], float]
    expected: float
    tolerance: float
    """Largest difference allowed, in `unit`; how loose it is says how well the fact is known."""
    unit: str
    source: str
    """The document and table, or for `COMPUTED` the library and call."""
    status: Status
    note: str = ""
    """Why the two differ, where they do; what the check cannot show."""

    def difference(self) -> float:
        """Ours less theirs."""
        return self.ours() - self.expected

    def holds(self) -> bool:
        """The difference is within the tolerance."""
        return abs(self.difference()) <= self.tolerance


def every_check() -> dict[str, tuple[Check, ...]]:
    """The checks of each module of this package, by module name, in alphabetical order."""
    names = sorted(module.name for module in iter_modules(__path__))
    return {name: import_module(f"{__name__}.{name}").CHECKS for name in names}
