"""Codes that answer a text: whoever has the code has the text, and may answer for that alert and no other; pure."""

import base64
import hashlib
import hmac
from dataclasses import dataclass

CODE_LENGTH = 10
"""Base32 digits, 50 bits: too many to guess, few enough to type."""


@dataclass(frozen=True, slots=True)
class Answering:
    """What codes are signed with, and the address before them where the owner has one."""

    secret: bytes
    link: str = ""


def code_for(secret: bytes, key: str, event: str, contact: str) -> str:
    """The code of one text: HMAC-SHA-256 (RFC 2104) over what it is about, in Base32 (RFC 4648), cut short."""
    said = f"{key}\n{event}\n{contact}".encode()
    digest = hmac.new(secret, said, hashlib.sha256).digest()
    return base64.b32encode(digest).decode()[:CODE_LENGTH]
