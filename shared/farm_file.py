"""Reads the text of `farm.toml`; every mistake comes back with its key, its value and how to mend it."""

import difflib
import tomllib
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from shared.errors import FarmFileError, Mistake
from shared.farm import Farm
from shared.farm_units import spelled


def parse_farm(text: str) -> Farm:
    """The farm that this TOML text describes.

    Raises:
        FarmFileError: with all mistakes found.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FarmFileError((Mistake("farm.toml", "", f"not valid TOML: {error}"),)) from error
    head = document.pop("farm", None)
    if not isinstance(head, dict):
        raise FarmFileError(
            (Mistake("[farm]", head, "add a [farm] table with id, name, timezone, elevation_ft"),)
        )
    clash = sorted(set(head) & set(document))
    if clash:
        raise FarmFileError((Mistake(clash[0], document[clash[0]], "stands both in [farm] and outside it"),))
    tree = {**head, **document}
    try:
        return Farm.model_validate(tree)
    except ValidationError as error:
        raise FarmFileError(tuple(_mistake(detail, tree) for detail in error.errors())) from error


def _mistake(detail: ErrorDetails, tree: dict[str, Any]) -> Mistake:
    path = list(detail["loc"])
    value = detail["input"]
    fix = detail["msg"].removeprefix("Value error, ")
    model = _model_at(path[:-1])
    if detail["type"] == "extra_forbidden":
        fix = _unknown_key(str(path[-1]), model)
    elif detail["type"] == "missing":
        path[-1] = _as_written(str(path[-1]))
        value = None
        fix = "is required; add it"
    elif isinstance(value, dict):  # a whole table is no value anybody wants to read back
        value = value.get("id", "")
    else:
        path[-1], value = _in_the_file(path, tree, value)
    return Mistake(_name(path, tree), value, fix)


def _unknown_key(key: str, model: type[BaseModel] | None) -> str:
    if model is None:
        return "unknown key; remove it"
    known: list[str] = []
    for field, facts in model.model_fields.items():
        known += spelled(field) or [facts.alias or field]
    close = difflib.get_close_matches(key, known, n=1)
    return (
        f"unknown key; did you mean {close[0]}?" if close else f"unknown key; known here: {', '.join(known)}"
    )


def _in_the_file(path: list[int | str], tree: dict[str, Any], value: object) -> tuple[int | str, object]:
    """The key and value that the owner wrote where the model saw them in SI."""
    table: Any = tree
    for step in path[:-1]:
        table = table[step]
    written = [key for key in spelled(str(path[-1])) if isinstance(table, dict) and key in table]
    return (written[0], table[written[0]]) if written else (path[-1], value)


def _as_written(field: str) -> str:
    """The key people are asked for: the first trade spelling of an SI field."""
    preferred = ("_ft", "_in", "_gal", "_inhg", "_gal_h", "_f", "_min", "_percent")
    keys = list(spelled(field))
    return next((k for end in preferred for k in keys if k.endswith(end)), field)


def _model_at(path: list[int | str]) -> type[BaseModel] | None:
    """The model that a path of keys and indices leads to."""
    model: type[BaseModel] | None = Farm
    for step in path:
        if isinstance(step, int) or model is None:
            continue
        facts = next((f for n, f in model.model_fields.items() if step in (n, f.alias)), None)
        model = _model_within(facts.annotation) if facts is not None else None
    return model


def _model_within(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for m in map(_model_within, get_args(annotation)) if m is not None), None)


def _name(path: list[int | str], tree: dict[str, Any]) -> str:
    """`tank "lower": diameter_ft` rather than `tank.1.diameter_m`."""
    shown = ""
    at: Any = tree
    for step in path:
        if isinstance(step, int):
            at = at[step] if isinstance(at, list) else None
            name = at.get("id") if isinstance(at, dict) else None
            shown += f' "{name}"' if name else f" number {step + 1}"
        else:
            at = at.get(step) if isinstance(at, dict) else None
            joint = "" if not shown else ": " if shown.endswith('"') else "."
            shown += f"{joint}{step}"
    return shown or "farm.toml"
