"""The words of a sensor's message: text, numbers, switches and places in JSON; pure.

What cannot be read raises PayloadError with a reason that is kept beside the original bytes.
"""

import json
import math
import re
from typing import Any, Final

from shared.errors import PayloadError

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
"""What counts as a number in text; Python's own float() also takes '1_0', 'inf' and other scripts' digits."""
_INDEX = re.compile(r"0|[1-9]\d{0,8}", re.ASCII)

_ON = frozenset({"on", "true", "running", "yes"})
_OFF = frozenset({"off", "false", "stopped", "no"})

ABSENT: Final = object()
"""What `pointed_at` answers where nothing stands, since null may stand there."""


def document_of(payload: bytes) -> Any:
    """The JSON value a payload holds; text that is no JSON is itself, without the white space round it.

    Raises:
        PayloadError: no UTF-8, nothing in it, or nested too deeply to be a sensor's.
    """
    try:
        text = payload.decode("utf-8").strip()
    except UnicodeDecodeError:
        raise PayloadError("not UTF-8 text") from None
    if not text:
        raise PayloadError("empty")
    try:
        return json.loads(text)
    except RecursionError:
        raise PayloadError("JSON nested too deeply") from None
    except ValueError:
        if text[0] in "{[":
            raise PayloadError("broken JSON") from None
        return text


def number_of(value: object) -> float:
    """A finite number, written as one or as text.

    Raises:
        PayloadError: null, a truth value, a word such as 'unavailable', NaN, anything else.
    """
    if isinstance(value, str):
        text = value.strip()
        if not _NUMBER.fullmatch(text):
            raise PayloadError(f"{value[:40]!r} is no number")
        number = float(text)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
    else:
        raise PayloadError(f"{_shown(value)} is no number")
    if not math.isfinite(number):
        raise PayloadError("not a finite number")
    return number


def switch_of(value: object) -> bool | None:
    """Whether a value says on or off in words or as a truth value; None where it says neither."""
    if isinstance(value, bool):
        return value
    if isinstance(value, str):
        word = value.strip().lower()
        return True if word in _ON else False if word in _OFF else None
    return None


def pointed_at(document: Any, pointer: str) -> Any:
    """What stands at a JSON Pointer (RFC 6901), or ABSENT."""
    here = document
    for token in pointer.split("/")[1:]:
        key = token.replace("~1", "/").replace("~0", "~")
        if isinstance(here, dict) and key in here:
            here = here[key]
        elif isinstance(here, list) and _INDEX.fullmatch(key) and int(key) < len(here):
            here = here[int(key)]
        else:
            return ABSENT
    return here


def _shown(value: object) -> str:
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case dict():
            return "an object"
        case list():
            return "an array"
        case _:
            return f"{value!r:.40}"
