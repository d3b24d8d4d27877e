"""Keys of the farm file carry their unit; models hold SI.

A model field such as `length_m` may be written `length_ft` or `length_in`: the key's last part names
the unit, so that nobody has to guess what a bare number means.
"""

from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator

from shared.units import DAY_S, HOUR_S, to_si

SPELLINGS: dict[str, dict[str, str]] = {
    "m": {"m": "m", "cm": "cm", "mm": "mm", "in": "in", "ft": "ft"},
    "m3": {"m3": "m3", "l": "l", "gal": "gal"},
    "pa": {"pa": "Pa", "kpa": "kPa", "mbar": "mbar", "psi": "psi", "inhg": "inHg"},
    "c": {"c": "degC", "f": "degF"},
    "m3_s": {"m3_s": "m3/s", "l_min": "l/min", "gal_h": "gal/h", "gal_min": "gal/min", "cfm": "CFM"},
    "fraction": {"fraction": "/", "percent": "%"},
}
"""SI ending of a field -> endings a key may carry -> unit symbol."""

DURATIONS_S = {"s": 1.0, "min": 60.0, "h": HOUR_S, "d": DAY_S}


def spelled(field: str) -> dict[str, str]:
    """Every key that may stand for this SI field, with its unit; empty for a field without a unit."""
    # Longest ending first: flow_m3_s ends in m3_s, not in s.
    for ending in sorted([*SPELLINGS, "s"], key=len, reverse=True):
        if field.endswith(f"_{ending}"):
            stem = field.removesuffix(ending)
            units = {key: key for key in DURATIONS_S} if ending == "s" else SPELLINGS[ending]
            return {stem + key: unit for key, unit in units.items()}
    return {}


def number_in_si(value: float, unit: str) -> float:
    """That number in SI; durations in seconds."""
    return value * DURATIONS_S[unit] if unit in DURATIONS_S else to_si(value, unit)


class Section(BaseModel):
    """One table of the farm file: unknown keys are errors, keys with units become SI fields."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, hide_input_in_errors=False)

    @model_validator(mode="before")
    @classmethod
    def _keys_to_si(cls, table: Any) -> Any:
        if not isinstance(table, dict):
            return table
        taken = dict(table)
        for field in cls.model_fields:
            keys = [key for key in spelled(field) if key in taken]
            if len(keys) > 1:
                raise ValueError(f"{' and '.join(keys)} say the same thing; keep one")
            for key in keys:
                number = taken.pop(key)
                if isinstance(number, bool) or not isinstance(number, int | float):
                    raise ValueError(f"{key} must be a number, found {number!r}")  # noqa: TRY004 - pydantic collects only these
                taken[field] = number_in_si(number, spelled(field)[key])
        return taken
