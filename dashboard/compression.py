"""Answers made small for a slow link: Brotli where the browser takes it (over HTTPS), else gzip."""

import gzip
from http import HTTPStatus

import brotli  # type: ignore[import-untyped]  # it has no types of its own
from flask import Response, request

LEAST_BYTES = 400
"""Below it the header costs what the packing saves."""
PACKED = (
    "text/html",
    "text/css",
    "text/plain",
    "text/javascript",
    "application/javascript",
    "application/json",
)


def compress(answer: Response) -> Response:
    """Pack a text answer as its reader allows."""
    accepted = request.accept_encodings
    if (
        answer.mimetype not in PACKED
        or answer.status_code != HTTPStatus.OK
        or "Content-Encoding" in answer.headers
        or not (accepted["br"] or accepted["gzip"])
    ):
        return answer
    answer.direct_passthrough = False
    body = answer.get_data()
    if len(body) < LEAST_BYTES:
        return answer
    if accepted["br"]:
        # 5: about what gzip's best costs in time, and a tenth smaller.
        packed, name = brotli.compress(body, quality=5), "br"
    else:
        packed, name = gzip.compress(body, 6, mtime=0), "gzip"
    answer.set_data(packed)
    answer.headers["Content-Encoding"] = name
    answer.headers.add("Vary", "Accept-Encoding")
    return answer
