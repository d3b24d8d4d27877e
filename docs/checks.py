"""Writes checks.md: each number of ours beside the outside number for it. Run: python docs/checks.py.

With `--check` nothing is written; it exits 1 when checks.md is out of date.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from tests.checks import Check, Status, every_check  # noqa: E402

INTRODUCTION = """\
# Checks

Each number Lantern computes beside a number from outside the project, as the tests assert it.
Written by `python docs/checks.py`; change `tests/checks/`, not this page.

The status says what the outside number is worth: **published** (read in the named source), **computed**
(with the named library or by hand from a published formula), **from memory** (not seen in a document: check
it before you lean on it) and **common practice, no source** (said in the trade; the tolerance shows how
loosely). Where ours and theirs part, the note says so and why.
"""
HEADER = "| quantity | inputs | ours | theirs | difference | tolerance | unit | source | status | note |"


def page() -> str:
    """The whole of checks.md."""
    return "\n".join([INTRODUCTION, *_summary(), *_sections()]) + "\n"


def _summary() -> Iterator[str]:
    checks = [check for group in every_check().values() for check in group]
    counts = ", ".join(f"{sum(c.status is status for c in checks)} {status.value}" for status in Status)
    failing = [check.id for check in checks if not check.holds()]
    yield f"{len(checks)} checks: {counts}. {len(checks) - len(failing)} hold."
    if failing:
        yield f"**Out of tolerance: {', '.join(failing)}.**"


def _sections() -> Iterator[str]:
    for name, checks in every_check().items():
        yield f"\n## {name.replace('_', ' ').capitalize()}\n"
        yield HEADER
        yield "|---|---|---:|---:|---:|---:|---|---|---|---|"
        yield from map(_row, checks)


def _row(check: Check) -> str:
    cells = (
        check.what,
        check.inputs,
        f"{check.ours():.5g}",
        f"{check.expected:.5g}",
        _difference(check),
        f"{check.tolerance:.3g}",
        check.unit,
        check.source,
        check.status.value,
        check.note,
    )
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |"


def _difference(check: Check) -> str:
    """Nothing where the tolerance makes it noise, so that machines agree on the page."""
    difference = check.difference()
    return "0" if abs(difference) < check.tolerance * 1e-2 else f"{difference:.2g}"


def main() -> int:
    """Write the page, or with `--check` say whether it is up to date."""
    target = HERE / "checks.md"
    if "--check" in sys.argv[1:]:
        current = target.exists() and target.read_text(encoding="utf-8") == page()
        if not current:
            print("docs/checks.md is out of date: run python docs/checks.py")
        return 0 if current else 1
    target.write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
