"""Writes docs/settings.md and docs/rules.md from the code; with --check says whether they are current."""

import inspect
import sys
from importlib import import_module
from pathlib import Path

from collector.check import tuned
from collector.rules import RULES
from shared.settings import Settings
from shared.tuning import Rules

HERE = Path(__file__).parent


def settings_page() -> str:
    """Every setting, from its own declaration."""
    rows = [
        f"| `LANTERN_{name.upper()}` | {field.description} | {'' if field.default is None else f'`{field.default}`'} |"
        for name, field in Settings.model_fields.items()
    ]
    return "\n".join(
        [
            "# Settings",
            "",
            "What this machine is; what the farm is stands in `farm.toml`. All come from the environment; the command",
            "line's `--farm`, `--store`, `--broker` and `--port` go before it. Written by `docs/reference.py`.",
            "",
            "| variable | what it is | default |",
            "|---|---|---|",
            *rows,
            "",
        ]
    )


def rules_page() -> str:
    """Every rule, from its module's and its tuning's docstrings and defaults."""
    parts = [
        "# Rules",
        "",
        "What can wake, tell or note. A rule is tuned in `[rules.NAME]` for the farm, and in a sensor's or tank's own",
        "`rules.NAME` there; `enabled = false` turns it off. Written by `docs/reference.py`.",
        "",
    ]
    rules = Rules()
    for rule in RULES:
        module = import_module(rule.judge.__module__)
        section = getattr(rules, rule.id)
        parts += [f"## {rule.id}", "", inspect.cleandoc(module.__doc__ or ""), ""]
        parts += [inspect.cleandoc(type(section).__doc__ or "").partition("\n\n")[2], ""]
        parts += [f"Default: {tuned(section)}.", ""]
    return "\n".join(parts)


PAGES = {"settings.md": settings_page, "rules.md": rules_page}


def main() -> int:
    """Write the pages, or with --check compare them; 1 when one is out of date."""
    stale = [name for name, page in PAGES.items() if not _is_current(HERE / name, page())]
    if "--check" in sys.argv:
        for name in stale:
            print(f"docs/{name} is out of date: run python docs/reference.py")
        return int(bool(stale))
    for name in stale:
        (HERE / name).write_text(PAGES[name]())
    return 0


def _is_current(path: Path, page: str) -> bool:
    return path.exists() and path.read_text() == page


if __name__ == "__main__":
    sys.exit(main())
