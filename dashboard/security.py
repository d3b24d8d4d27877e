"""What every answer carries so that a browser runs our own pages only, and what is not answered."""

from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

from flask import Flask, Request, Response, abort, request

HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}

LOOPBACK = ("127.0.0.1", "localhost", "[::1]", "::1")

DASH_ROUTES = ("/dash/_dash", "/dash/assets/", "/dash/_reload-hash", "/dash/_favicon.ico")


def policy(script_hashes: Sequence[str]) -> str:
    """The content security policy: our own scripts, and Dash's inline ones by their hashes.

    Plotly writes `<style>` elements while it draws, so style elements are allowed; style attributes are not.
    """
    scripts = " ".join(["'self'", *script_hashes])
    return (
        f"default-src 'none'; script-src {scripts}; style-src-elem 'self' 'unsafe-inline';"
        " style-src-attr 'none'; img-src 'self' data:; connect-src 'self'; form-action 'self';"
        " base-uri 'none'; frame-ancestors 'none'"
    )


def is_own(sent: Request) -> bool:
    """Whether a form was sent from one of our own pages: browsers always name the origin of a POST."""
    origin = urlsplit(sent.headers.get("Origin", ""))
    return origin.netloc != "" and origin.netloc == sent.host


def secure(server: Flask, known_paths: Sequence[str], script_hashes: Callable[[str], Sequence[str]]) -> None:
    """Put the headers on every answer, and answer only what is ours; `script_hashes` are those of a path.

    Only loopback names are answered to: another site's name that leads here (DNS rebinding) is refused.
    """
    server.config["TRUSTED_HOSTS"] = list(LOOPBACK)

    @server.before_request
    def _only_what_is_ours() -> None:
        path = request.path
        # Dash answers every path under its own with a page; a wrong link has to be seen to be wrong.
        if path.startswith("/dash") and path not in known_paths and not path.startswith(DASH_ROUTES):
            abort(404)
        if request.method == "POST" and not is_own(request):
            abort(403)

    @server.after_request
    def _headers(answer: Response) -> Response:
        answer.headers.update(HEADERS)
        is_page = answer.mimetype == "text/html"
        answer.headers["Content-Security-Policy"] = policy(script_hashes(request.path) if is_page else ())
        if "Cache-Control" not in answer.headers:
            answer.headers["Cache-Control"] = "no-store"
        return answer
