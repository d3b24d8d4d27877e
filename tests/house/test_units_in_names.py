"""A number in shared/physics carries its unit in its name: in, out and in what is stored."""

import ast
from collections.abc import Iterator

import pytest

from tests.house.source import ROOT, shown, tree

PRESSURE = ("pa", "pa_s", "inhg")
SPACE = ("m", "m2", "m3", "m_s", "m3_s")
OTHER = ("s", "c", "j", "j_kg", "j_m3", "kg_m3", "mol_s", "a", "brix", "ratio", "fraction", "count")
UNITS = (*PRESSURE, *SPACE, *OTHER, "si")
"""`si`: the SI unit of whatever that sensor measures."""
EXCUSED = {
    ("bounds.py", "require_within", "value"): "any number",
    ("bounds.py", "require_within", "low"): "any number",
    ("bounds.py", "require_within", "high"): "any number",
    ("contested.py", "Contested", "low"): "of whatever is contested",
    ("contested.py", "Contested", "usual"): "of whatever is contested",
    ("contested.py", "Contested", "high"): "of whatever is contested",
    ("curves.py", "curve_at", "x"): "mathematics",
    ("fire.py", "siegert_loss_fraction", "siegert"): "a factor known by that name",
    ("fire.py", "stack_loss", "siegert"): "a factor known by that name",
    ("sap.py", "rule_sap_per_syrup_ratio", "rule"): "the rule of 86 is 86",
    ("sap.py", "relative_spoilage_rate", "return"): "a rate over another",
}
NUMBERS = {"float", "int", "float | None", "int | None"}


def carries_unit(name: str) -> bool:
    return any(name == unit or name.endswith(f"_{unit}") for unit in UNITS)


def numbers(module: ast.Module) -> Iterator[tuple[str, str, str]]:
    """Owner, role and name of each number in a public signature or dataclass."""
    for node in module.body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        if isinstance(node, ast.ClassDef):
            for field in node.body:
                if isinstance(field, ast.AnnAssign) and ast.unparse(field.annotation) in NUMBERS:
                    yield node.name, ast.unparse(field.target), ast.unparse(field.target)
            continue
        for argument in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs):
            if argument.annotation is not None and ast.unparse(argument.annotation) in NUMBERS:
                yield node.name, argument.arg, argument.arg
        if node.returns is not None and ast.unparse(node.returns) in NUMBERS:
            yield node.name, "return", node.name


def unnamed() -> dict[tuple[str, str, str], str]:
    found = {}
    for path in sorted((ROOT / "shared/physics").rglob("*.py")):
        for owner, role, name in numbers(tree(path)):
            if not carries_unit(name):
                found[path.name, owner, role] = f"{shown(path)}: {owner}: {name}"
    return found


def test_every_number_in_physics_carries_its_unit():
    assert [where for key, where in unnamed().items() if key not in EXCUSED] == []


def test_no_excuse_is_left_over():
    assert set(EXCUSED) - set(unnamed()) == set()


@pytest.mark.parametrize(
    "source",
    [
        "def area(side_m: float) -> float: ...",
        "def area_m2(side: float) -> float: ...",
        "class A:\n    side: float",
    ],
)
def test_a_number_without_unit_would_be_seen(source):
    assert [name for _, _, name in numbers(ast.parse(source)) if not carries_unit(name)] != []
