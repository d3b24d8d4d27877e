"""Every error of the tree in shared/errors.py is raised somewhere, and somewhere a test sees it raised."""

import ast
from pathlib import Path

import pytest

from shared import errors
from tests.house.source import ROOT, source_files, tree

RAISED_AS_SOMETHING_NARROWER = {"LanternError", "FileError"}


def error_names() -> list[str]:
    return [
        name
        for name, each in vars(errors).items()
        if isinstance(each, type) and issubclass(each, errors.LanternError)
    ]


def raised_in(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Raise) and node.exc is not None:
            error = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            names.add(ast.unparse(error).rpartition(".")[2])
    return names


def named_in(path: Path) -> set[str]:
    """Names used, not merely imported: what a test expects, or raises itself to see what comes of it."""
    return {node.id for node in ast.walk(tree(path)) if isinstance(node, ast.Name)}


@pytest.mark.parametrize("name", sorted(set(error_names()) - RAISED_AS_SOMETHING_NARROWER))
def test_an_error_is_raised_and_tested(name):
    raised = set().union(*(raised_in(path) for path in source_files()))
    tested = set().union(*(named_in(path) for path in (ROOT / "tests").rglob("test_*.py")))
    assert name in raised
    assert name in tested


def test_the_tree_in_the_docstring_names_every_error():
    assert errors.__doc__ is not None
    assert [name for name in error_names() if name not in errors.__doc__] == []
