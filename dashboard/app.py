"""Composition root of the dashboard: one Flask server with the plain page at / and Dash's pages under /dash/.

browser -> waitress -> security -> plain page | Dash page -> load -> layout
the page's script -> /pulse -> (news) -> the page's parts anew
"I have it" -> /have-it -> request to the broker -> collector -> store -> the page sees it
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from http import HTTPStatus
from importlib.resources import files
from types import ModuleType
from typing import Any
from uuid import uuid4

import dash
import waitress  # type: ignore[import-untyped]  # it has no types of its own
from dash import Dash, dcc
from dash.development.base_component import Component
from flask import Flask, Response, redirect, request

from dashboard import live, plain
from dashboard.answer_page import answer_routes, answer_server
from dashboard.compression import compress
from dashboard.pages import alerts, fire, storm, tanks, tonight, woods
from dashboard.parts import PAGE_NAMES, STORM, element, path_of
from dashboard.security import LOOPBACK, secure
from dashboard.sources import Sources
from dashboard.tokens import css_variables
from dashboard.windows import Window, window_named
from dashboard.words import tab_title
from shared.errors import BrokerError, PayloadError, SettingsError
from shared.requests import HOUR_MS, Acknowledge, Shelve, Unshelve
from shared.settings import Settings

PAGES: Mapping[str, ModuleType] = {
    "tonight": tonight,
    "woods": woods,
    "tanks": tanks,
    "fire": fire,
    "alerts": alerts,
}
"""Every page: add a module here, and its name to PAGE_NAMES."""

THREADS = 6
ANSWER_THREADS = 2
UNKNOWN_ALERT = "That alert is not known here. Load the page again."
"""A page open on each of a few phones; answers are short."""

LARGEST_REQUEST_BYTES = 100_000
"""A form with a name in it, or the state of a page; nothing we ask for is larger."""

INDEX = """<!doctype html>
<html lang="en"><head>{%metas%}<meta name="viewport" content="width=device-width,initial-scale=1">
<title>{%title%}</title><link rel="icon" href="data:,"><style>STYLE</style>{%css%}</head>
<body><noscript><p>These pages need JavaScript; <a href="/">the plain page</a> does not.</p></noscript>
{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body></html>"""


def build(sources: Sources) -> Flask:
    """The whole server, ready to be served; may be built more than once in one process."""
    server = Flask("dashboard")
    style = css_variables() + files("dashboard").joinpath("assets/lantern.css").read_text()
    app = Dash(
        "dashboard",
        server=server,  # type: ignore[arg-type]  # its hint forgets what its docstring says
        url_base_pathname="/dash/",
        use_pages=True,
        pages_folder="",
        assets_ignore=r".*\.css$",  # it stands in the page itself: one request less on a slow link
        index_string=INDEX.replace("STYLE", style),
        suppress_callback_exceptions=True,  # a page's parts are there while the page is
        title=sources.farm.name,
        update_title="",
    )
    dash.page_registry.clear()
    for order, (name, page) in enumerate(PAGES.items()):
        _register(name, PAGE_NAMES[name], page, order, sources, _window)
        page.connect(app, sources)
    _register(STORM, "Storm", storm, len(PAGES), sources, storm.asked)
    storm.connect(app, sources)
    app.layout = _shell
    live.colour_charts(app)
    _routes(server, sources)

    def script_hashes(path: str) -> Sequence[str]:
        return app.csp_hashes() if path.startswith("/dash") else (plain.SCRIPT_HASH,)

    secure(server, [path_of(name) for name in (*PAGES, STORM)], script_hashes)
    server.after_request(compress)
    return server


def serve(sources: Sources, settings: Settings) -> None:
    """Serve until stopped.

    Raises:
        SettingsError: the address is not loopback; pages have no login, so nothing else may reach them.
    """
    if settings.listen_host not in LOOPBACK:
        raise SettingsError(
            f"listen_host is {settings.listen_host!r}: pages have no login, so they listen on 127.0.0.1 only;"
            " reach them from elsewhere through a tunnel (ssh -L)"
        )
    if settings.answer_host is not None:
        answers = waitress.create_server(
            answer_server(sources),
            host=settings.answer_host,
            port=settings.answer_port,
            threads=ANSWER_THREADS,
            ident=None,
            max_request_body_size=LARGEST_REQUEST_BYTES,
        )
        threading.Thread(target=answers.run, name="answers", daemon=True).start()
    waitress.serve(
        build(sources),
        host=settings.listen_host,
        port=settings.listen_port,
        threads=THREADS,
        ident=None,
        max_request_body_size=LARGEST_REQUEST_BYTES,
    )


def _register(
    name: str,
    words: str,
    page: ModuleType,
    order: int,
    sources: Sources,
    asked: Callable[[Mapping[str, object]], Any],
) -> None:
    """Dash's own function is untyped, and takes layout and title as closures; `asked` reads an address's query."""

    def layout(**query: object) -> Component:
        made: Component = page.layout(page.load(sources, asked(query)))
        return made

    def title(**query: object) -> str:
        return tab_title(page.load(sources, asked(query)).top.headline, sources.farm)

    path = "/" if name == "tonight" else f"/{name}"
    dash.register_page(  # type: ignore[no-untyped-call]
        f"dashboard.pages.{name}", path=path, name=words, order=order, title=title, layout=layout
    )


def _window(query: Mapping[str, object]) -> Window:
    window = query.get("window")
    return window_named(window if isinstance(window, str) else None)


def _shell() -> Component:
    return element(
        "Div",
        [
            dcc.Store(id="pulse"),
            dcc.Store(id="scheme"),
            dash.page_container,
            element("P", "", id="said", role="status"),
            element("P", "", id="link", role="status"),
        ],
    )


def _routes(server: Flask, sources: Sources) -> None:
    @server.get("/")
    def _plain_page() -> Response:
        return Response(plain.page(sources), mimetype="text/html")

    answer_routes(server, sources)

    @server.get("/pulse")
    def _pulse() -> Response:
        return Response(sources.pulse(), mimetype="text/plain")

    @server.post("/have-it")
    def _have_it() -> Any:
        return told(*_acknowledge(sources, request.args.get("alert", ""), request.form.get("by", "")))

    @server.post("/pause")
    def _paused() -> Any:
        hours, reason = request.form.get("hours", ""), request.form.get("reason", "")
        return told(*_pause(sources, request.args.get("alert", ""), hours, reason))

    def told(said: str, status: HTTPStatus) -> Any:
        if "text/plain" in request.headers.get("Accept", ""):
            return Response(said, status=status, mimetype="text/plain")
        if status is not HTTPStatus.OK:
            return Response(plain.message(said, sources.farm), status=status, mimetype="text/html")
        back = request.args.get("back", "/")
        return redirect(back if back in ("/", *map(path_of, PAGES)) else "/", code=303)


def _pause(sources: Sources, key: str, hours: str, reason: str) -> tuple[str, HTTPStatus]:
    """Ask the collector to send no texts of an alert for some hours, or to send them again (0)."""
    if key not in {alert.key for alert in sources.reader.alerts()}:
        return UNKNOWN_ALERT, HTTPStatus.NOT_FOUND
    now_ms = sources.clock()
    asked = (uuid4().hex, "Somebody at the page", now_ms)
    try:
        until_ms = now_ms + round(float(hours) * HOUR_MS)
        shelve = Shelve(*asked, alert=key, until_ms=until_ms, reason=reason)
        sources.publish_request(Unshelve(*asked, alert=key) if until_ms == now_ms else shelve)
    except (BrokerError, PayloadError, ValueError, OverflowError) as error:
        return f"Not taken: {error}. Texts go on.", HTTPStatus.BAD_GATEWAY
    return "Sent. It holds as soon as the page says so.", HTTPStatus.OK


def _acknowledge(sources: Sources, key: str, contact_id: str) -> tuple[str, HTTPStatus]:
    """Ask the collector, and say in words what came of it."""
    if key not in {alert.key for alert in sources.reader.alerts()}:
        return UNKNOWN_ALERT, HTTPStatus.NOT_FOUND
    contact = next((c for c in sources.farm.contacts if c.id == contact_id), None)
    by = contact.name if contact else "Somebody at the page"
    try:
        sources.publish_request(Acknowledge(uuid4().hex, by, sources.clock(), alert=key))
    except (BrokerError, PayloadError) as error:
        return f"Not taken: {error}. The alert still asks.", HTTPStatus.BAD_GATEWAY
    return "Sent. It is yours as soon as the page says so.", HTTPStatus.OK
