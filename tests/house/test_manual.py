"""The manual keeps up with the code: settings, rules, figures and paths."""

import subprocess
import sys

import pytest

from collector.rules import RULES
from shared.settings import Settings
from tests.house.source import ROOT


def manual() -> str:
    return "\n".join(
        path.read_text() for path in [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    )


def test_the_manual_names_every_setting():
    text = manual()
    names = [f"LANTERN_{name.upper()}" for name in Settings.model_fields]
    assert [name for name in names if f"`{name}`" not in text] == []


def test_the_manual_names_every_rule():
    text = manual()
    assert [rule.id for rule in RULES if rule.id not in text] == []


def test_every_rule_has_a_night():
    nights = "\n".join(path.read_text() for path in sorted((ROOT / "tests/nights").glob("test_*.py")))
    assert [rule.id for rule in RULES if f'"{rule.id}"' not in nights] == []


@pytest.mark.parametrize("writer", ["checks.py", "reference.py"])
def test_pages_written_from_the_code_are_current(writer):
    command = [sys.executable, "-m", f"docs.{writer.removesuffix('.py')}", "--check"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
