"""The map of the code in DEVELOPERS.md is whole: every source file is on it, and each path on it exists.

A path stands in backticks, or in a code block: in full, or indented under its folder.

    shared/
      units.py     trade units to SI
      physics/
        air.py heat.py
"""

import re
from collections.abc import Iterator

from tests.house.source import ROOT, shown, source_files

TOPS = ("collector", "dashboard", "deploy", "docs", "sample_streams", "shared", "tests")
PATH = re.compile(r"[\w.-]+(/[\w.-]+)*/?")
FILE = re.compile(r".*\.(py|md|toml|sql|css|js|service|env|conf|sh|lock)|Makefile|LICENSE")


def looks_like_path(word: str) -> bool:
    return PATH.fullmatch(word) is not None and (word.endswith("/") or FILE.fullmatch(word) is not None)


def paths_on(text: str) -> Iterator[str]:
    for number, part in enumerate(text.split("```")):
        if number % 2:
            yield from _paths_in_block(part)
        else:
            for word in re.findall(r"`([^`\s]+)`", part):
                if word.split("/")[0] in TOPS and looks_like_path(word):
                    yield word.rstrip("/")


def _paths_in_block(block: str) -> Iterator[str]:
    folders: list[tuple[int, str]] = []
    for line in block.splitlines():
        indent = len(line) - len(line.lstrip())
        while folders and folders[-1][0] >= indent:
            folders.pop()
        above = folders[-1][1] if folders else ""
        for word in line.split():
            if not looks_like_path(word):
                break
            yield (above + word).rstrip("/")
            if word.endswith("/"):
                above += word
                folders.append((indent, above))


def on_map() -> set[str]:
    return set(paths_on((ROOT / "DEVELOPERS.md").read_text()))


def test_every_source_file_is_on_the_map():
    # A package's own file is what the map says of its folder.
    files = {shown(path).removesuffix("/__init__.py") for path in source_files() if path.read_text()}
    assert sorted(files - on_map()) == []


def test_each_path_on_the_map_exists():
    assert sorted(path for path in on_map() if not (ROOT / path).exists()) == []


MAP = """See `shared/units.py`, not `lantern/<farm>`.
```
lantern.py  the command line
shared/
  a.py b.py why c.py
  physics/ d.py
    e.py
```
"""


def test_a_map_is_read_as_people_read_it():
    found = ["shared/units.py", "lantern.py", "shared", "shared/a.py", "shared/b.py"]
    assert list(paths_on(MAP)) == [*found, "shared/physics", "shared/physics/d.py", "shared/physics/e.py"]
