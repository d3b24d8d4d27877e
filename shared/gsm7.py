"""Fits a text into one GSM-7 message of 160 characters, so that it is one message on any phone.

One character outside the alphabet turns the whole message into UCS-2, 70 characters a part.
Source: 3GPP TS 23.038, section 6.2.1 (default alphabet and its extension table).
"""

LIMIT = 160

ALPHABET = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = frozenset("^{}\\[~]|€")
"""Each of these costs two characters."""

SPOKEN = {"°": "", "–": "-", "—": "-", "−": "-", "’": "'", "‘": "'", "“": '"', "”": '"', "…": "...", "×": "x"}


def length(text: str) -> int:
    """Septets the text takes."""
    return sum(2 if character in EXTENSION else 1 for character in text)


def fit(text: str, limit: int = LIMIT) -> str:
    """The text in the GSM-7 alphabet, cut after a whole word where it is too long."""
    spoken = "".join(SPOKEN.get(c, c) for c in text)
    plain = "".join(c if c in ALPHABET or c in EXTENSION else "?" for c in spoken)
    if length(plain) <= limit:
        return plain
    kept = ""
    for word in plain.split(" "):
        longer = f"{kept} {word}" if kept else word
        if length(longer) > limit - 3:
            break
        kept = longer
    if not kept:  # a single word longer than a message
        kept = plain[: (limit - 3) // 2]
    return kept.rstrip(" ,.;:-") + "..."
