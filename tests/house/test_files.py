"""A file stays small enough to be read, and its name says what it holds."""

import pytest

from tests.house.source import PACKAGES, ROOT, shown, source_files

MOST_LINES = 300
SAY_NOTHING = {
    "base",
    "common",
    "data",
    "handler",
    "helpers",
    "info",
    "manager",
    "misc",
    "processor",
    "utils",
}


@pytest.mark.parametrize("path", source_files(), ids=shown)
def test_a_source_file_is_under_300_lines(path):
    count = len(path.read_text().splitlines())
    assert count < MOST_LINES


def test_no_file_or_folder_has_a_name_that_says_nothing():
    paths = [
        path
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if "__pycache__" not in path.parts
    ]
    words = {shown(path): set(path.stem.lower().split("_")) for path in paths}
    assert len(words) > 50
    assert [name for name, parts in words.items() if parts & SAY_NOTHING] == []
