"""The source files of Lantern, for the house rules that read them."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGES = ("collector", "dashboard", "shared")


def source_files() -> list[Path]:
    """Every Python file that is shipped."""
    files = [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]
    return [ROOT / "lantern.py", *files]


def shown(path: Path) -> str:
    """As people name it: from the top of the checkout."""
    return path.relative_to(ROOT).as_posix()


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(), filename=str(path))
