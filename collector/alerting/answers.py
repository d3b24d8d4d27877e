"""Answers to texts: whoever has a text's code may answer for what it tells, and for nothing else; pure.

    signed when written (HMAC) -> remembered while it may be answered -> taken once -> acknowledged, or shelved

However an answer comes (short link, remote broker, push service, command line) it is the same request.
"""

import base64
import hashlib
import hmac
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from shared.errors import PayloadError
from shared.requests import HOUR_MS, LONGEST_SHELF_MS, Answer
from shared.store import Text

CODE_LENGTH = 10
"""Base32 digits, 50 bits: too many to guess, few enough to type."""
ANSWERABLE_MS = 24 * HOUR_MS
"""So long a text may be answered: after it the text is history, and so is its code."""
_SAID = re.compile(rf"^\W*([A-Z2-7]{{{CODE_LENGTH}}})(?:\s+quiet\s+(\d+(?:\.\d+)?)\s*h?)?\W*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Answering:
    """What codes are signed with, and the address before them where the owner has one."""

    secret: bytes
    link: str = ""


@dataclass(frozen=True, slots=True)
class Answerable:
    """What one code answers for: these alerts, by that contact."""

    keys: tuple[str, ...]
    contact: str
    asked_ms: int
    used: bool = False


def code_for(secret: bytes, key: str, event: str, contact: str) -> str:
    """The code of one text: HMAC-SHA-256 (RFC 2104) over what it is about, in Base32 (RFC 4648), cut short."""
    said = f"{key}\n{event}\n{contact}".encode()
    digest = hmac.new(secret, said, hashlib.sha256).digest()
    return base64.b32encode(digest).decode()[:CODE_LENGTH]


def remember(answerable: dict[str, Answerable], texts: Iterable[Text], now_ms: int) -> None:
    """Keep what the codes of new texts answer for, and forget those whose time is over."""
    for code in [code for code, one in answerable.items() if now_ms - one.asked_ms > ANSWERABLE_MS]:
        del answerable[code]
    for text in texts:
        if text.code:
            answerable[text.code] = Answerable((text.key, *text.also), text.contact, now_ms)


def take(answerable: dict[str, Answerable], answer: Answer) -> Answerable | None:
    """What is answered; None where the code is unknown, too old, or was used before."""
    one = answerable.get(answer.code)
    if one is None or one.used or answer.asked_ms - one.asked_ms > ANSWERABLE_MS:
        return None
    answerable[answer.code] = replace(one, used=True)
    return one


def answer_of(said: str, at_ms: int) -> Answer:
    """What somebody typed or tapped: the code alone, or `CODE quiet 4` for four hours without texts of it.

    The request's id is the code: the same answer by two ways, or told again after a lost link, is one.

    Raises:
        PayloadError: it is no answer.
    """
    match = _SAID.match(said.strip())
    if match is None:
        raise PayloadError("an answer is the code of a text, or the code and: quiet 4 (hours)")
    quiet_ms = round(float(match[2] or 0) * HOUR_MS)
    if quiet_ms > LONGEST_SHELF_MS:
        raise PayloadError("quiet lasts 24 hours at most")
    code = match[1].upper()
    return Answer(f"answer-{code}", "whoever has the text", at_ms, code=code, quiet_ms=quiet_ms)
