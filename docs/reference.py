"""Writes docs/settings.md, docs/rules.md and the map in DEVELOPERS.md from the code; --check only compares."""

import ast
import inspect
import sys
from importlib import import_module
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from collector.check import tuned  # noqa: E402 - run as a script, before it is installed
from collector.rules import RULES  # noqa: E402
from shared.settings import Settings  # noqa: E402
from shared.tuning import Rules  # noqa: E402


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


def developers_page() -> str:
    """DEVELOPERS.md with its map of the code brought up to date."""
    text = (HERE.parent / "DEVELOPERS.md").read_text()
    before, _, rest = text.partition(MAP_BEGINS)
    return f"{before}{MAP_BEGINS}\n```\n{_map()}```\n{MAP_ENDS}{rest.partition(MAP_ENDS)[2]}"


MAP_BEGINS = "<!-- map: written by docs/reference.py from the first line of each file -->"
MAP_ENDS = "<!-- end of map -->"


def _map() -> str:
    root = HERE.parent
    lines = [f"{'lantern.py':36}{_promise(root / 'lantern.py')}"]
    for side in ("shared", "collector", "dashboard"):
        for folder in sorted({path.parent for path in (root / side).rglob("*.py")}):
            depth = len(folder.relative_to(root).parts)
            lines.append(f"{'  ' * (depth - 1) + folder.name + '/':36}{_promise(folder / '__init__.py')}")
            modules = (path for path in sorted(folder.glob("*.py")) if path.name != "__init__.py")
            lines += (f"{'  ' * depth + path.name:36}{_promise(path)}" for path in modules)
    return "".join(f"{line}\n" for line in lines)


def _promise(path: Path) -> str:
    """The first sentence of a file's docstring."""
    docstring = ast.get_docstring(ast.parse(path.read_text())) or ""
    return " ".join(docstring.partition("\n\n")[0].split())


PAGES = {
    HERE / "settings.md": settings_page,
    HERE / "rules.md": rules_page,
    HERE.parent / "DEVELOPERS.md": developers_page,
}


def main() -> int:
    """Write the pages, or with --check compare them; 1 when one is out of date."""
    stale = [path for path, page in PAGES.items() if not path.exists() or path.read_text() != page()]
    if "--check" in sys.argv:
        for path in stale:
            print(f"{path.name} is out of date: run python docs/reference.py")
        return int(bool(stale))
    for path in stale:
        path.write_text(PAGES[path]())
    return 0


if __name__ == "__main__":
    sys.exit(main())
