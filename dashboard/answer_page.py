"""The page behind the link in a text: one alert, "I have it", or quiet for some hours; no login, and nothing else.

Whoever has the code has the text. Opening the page changes nothing, for phones and messengers look at links before
people do; only the button does.
"""

from collections.abc import Callable
from html import escape
from http import HTTPStatus
from typing import Any

from flask import Flask, Response, abort, request

from dashboard import plain
from dashboard.parts import since_words
from dashboard.security import HEADERS, is_own, policy
from dashboard.sources import Sources
from shared.alerts import Alert, AlertState, Priority
from shared.errors import BrokerError, PayloadError
from shared.requests import HOUR_MS, Answer
from shared.store import Text
from shared.words import clock_time

ANSWERABLE_MS = 24 * HOUR_MS
QUIET_H = (1, 4, 12)
EXPIRED = "This link is over. What still asks has sent a newer text, or stands on the pages."


def answer_server(sources: Sources) -> Flask:
    """A server that answers to codes alone: it may listen where the other pages may not."""
    server = Flask(__name__, static_folder=None)

    @server.before_request
    def _only_our_own_forms() -> None:
        if request.method == "POST" and not is_own(request):
            abort(403)

    @server.after_request
    def _headers(answer: Response) -> Response:
        answer.headers.update(HEADERS)
        answer.headers["Content-Security-Policy"] = policy(())
        answer.headers["Cache-Control"] = "no-store"
        return answer

    answer_routes(server, sources)
    return server


def answer_routes(server: Flask, sources: Sources) -> None:
    """The page's two ways: look, and answer."""

    @server.get("/a/<code>")
    def _look(code: str) -> Any:
        return _with_text(sources, code, lambda text: (_page(sources, text), HTTPStatus.OK))

    @server.post("/a/<code>")
    def _say(code: str) -> Any:
        return _with_text(sources, code, lambda text: _answer(sources, text))


def _with_text(sources: Sources, code: str, make: Callable[[Text], tuple[str, HTTPStatus]]) -> Response:
    text = sources.reader.text_by_code(code.upper())
    if text is None or sources.clock() - text.due_ms > ANSWERABLE_MS:
        said, status = plain.message(EXPIRED, sources.farm), HTTPStatus.NOT_FOUND
    else:
        said, status = make(text)
    return Response(said, status=status, mimetype="text/html")


def _alerts(sources: Sources, text: Text) -> list[Alert]:
    known = {alert.key: alert for alert in sources.reader.alerts()}
    return [known[key] for key in (text.key, *text.also) if key in known]


def _page(sources: Sources, text: Text) -> str:
    alerts = _alerts(sources, text)
    asks = any(alert.state in (AlertState.ACTIVE, AlertState.CLEARED) for alert in alerts)
    kind = "ask" if any(alert.priority is Priority.WAKE for alert in alerts) and asks else "ask tell"
    quiet = "".join(f'<button name="quiet_h" value="{hours}">{hours} h</button>' for hours in QUIET_H)
    forms = (
        '<form method="post"><button name="quiet_h" value="0">I have it</button></form>'
        f'<p>Or: I have it, and no texts of it for</p><form method="post">{quiet}</form>'
    )
    body = "".join(_one(sources, alert, "h2" if index else "h1") for index, alert in enumerate(alerts))
    title = alerts[0].sentence if alerts else EXPIRED
    return plain.document(
        f"{title.rstrip('.')} · {sources.farm.name}",
        f'<main><section class="{kind}">{body}{forms if asks else ""}</section></main>',
    )


def _one(sources: Sources, alert: Alert, tag: str) -> str:
    now_ms, farm = sources.clock(), sources.farm
    said = [f"<{tag}>{escape(alert.sentence)}</{tag}>"]
    if alert.advice:
        said.append(f"<p>{escape(alert.advice)}</p>")
    if alert.state is AlertState.ACKNOWLEDGED and alert.acknowledged_ms is not None:
        at = clock_time(alert.acknowledged_ms, farm.zone, now_ms)
        said.append(f"<p>{escape(alert.acknowledged_by or 'Somebody')} has it since {at}.</p>")
    elif alert.state is AlertState.NORMAL:
        said.append("<p>It is over.</p>")
    else:
        said.append(f"<p>{escape(since_words(alert, farm, now_ms))}</p>")
    if alert.is_shelved(now_ms) and alert.shelved_until_ms is not None:
        said.append(f"<p>No texts of it until {clock_time(alert.shelved_until_ms, farm.zone, now_ms)}.</p>")
    return "".join(said)


def _answer(sources: Sources, text: Text) -> tuple[str, HTTPStatus]:
    now_ms = sources.clock()
    try:
        quiet_ms = round(float(request.form.get("quiet_h", "0")) * HOUR_MS)
        asked = Answer(
            f"answer-{text.code}", "whoever has the text", now_ms, code=text.code, quiet_ms=quiet_ms
        )
        sources.publish_request(asked)
    except (BrokerError, PayloadError, ValueError, OverflowError) as error:
        said, status = f"Not taken: {error}. The alert still asks.", HTTPStatus.BAD_GATEWAY
    else:
        said, status = "Sent. It is yours as soon as the page says so.", HTTPStatus.OK
    return plain.message(said, sources.farm, back=f"/a/{text.code}"), status
