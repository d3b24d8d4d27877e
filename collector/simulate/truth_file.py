"""The truth as JSON: tables of columns and rows, short numbers, one line a row."""

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from collector.simulate.truth import Balance, LineTruth, Occurrence, TankTruth, Truth
from shared.instants import instant_text

DIGITS = 5
"""More than any sensor has."""


def truth_text(truth: Truth) -> str:
    """The whole truth, for reading by people and by the scorer."""
    head = {
        "title": truth.title,
        "farm": truth.farm,
        "seed": truth.seed,
        "start": instant_text(truth.start_ms),
        "start_ms": truth.start_ms,
        "end_ms": truth.end_ms,
        "message_count": truth.message_count,
        "duplicate_count": truth.duplicate_count,
        "lost_count": truth.lost_count,
        "sap_by_day_m3": [_short(day) for day in truth.sap_by_day_m3],
        "syrup_m3": _short(truth.syrup_m3),
        "wood_kg": _short(truth.wood_kg),
        "useful_heat_j": _short(truth.useful_heat_j),
        "water": _balance(truth.water),
        "sugar": _balance(truth.sugar),
        "expected": truth.expected,
    }
    lines = [f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    lines.append(f'"firings_ms": {json.dumps(truth.firings_ms)}')
    lines.append(f'"occurrences": {_table(Occurrence, truth.occurrences)}')
    for name, kind, series in (("tanks", TankTruth, truth.tanks), ("lines", LineTruth, truth.lines)):
        tables = ",\n".join(f"{json.dumps(key)}: {_table(kind, rows)}" for key, rows in series.items())
        lines.append(f'"{name}": {{\n{tables}\n}}')
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _balance(balance: Balance | None) -> dict[str, float] | None:
    if balance is None:
        return None
    entries = {field.name: round(getattr(balance, field.name), 3) for field in fields(balance)}
    return {**entries, "error_kg": round(balance.error_kg, 6)}


def _table(kind: type, rows: Sequence[Any]) -> str:
    names = [field.name for field in fields(kind)]
    body = ",\n".join(
        json.dumps([_short(getattr(row, name)) for name in names], separators=(",", ":")) for row in rows
    )
    return f'{{"columns": {json.dumps(names)}, "rows": [\n{body}\n]}}'


def _short(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}")
    return value
