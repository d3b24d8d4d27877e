"""Alerts: what asks for somebody, who has what, what was said to whom, and what was refused at the door."""

from collections.abc import Sequence
from dataclasses import dataclass

from dash import Dash
from dash.development.base_component import Component

from dashboard.live import Content, keep, page, place
from dashboard.parts import (
    asking_block,
    caution,
    contact_name,
    element,
    have_it,
    head,
    path_of,
    pause,
    quiet,
    since_words,
)
from dashboard.sources import TEXTS_SHOWN, Sources
from dashboard.standing import facts, top_of
from dashboard.windows import DAY_MS, Window
from dashboard.words import Headline, Tone, Top, alert_headline, asking, number, ordered
from shared.alerts import Alert, AlertState, Cause, Transition
from shared.farm import Farm
from shared.readings import Reject
from shared.store import OutboxRow
from shared.words import clock_time

NAME = "alerts"
HISTORY_MS = 7 * DAY_MS
HISTORY_SHOWN = 60
REJECTS_SHOWN = 20
REJECTS_COUNTED = 1000
PAYLOAD_SHOWN = 120

CAUSE_WORDS = {
    Cause.RAISED: "began",
    Cause.WORSE: "grew worse",
    Cause.ACKNOWLEDGED: "taken by",
    Cause.ACKNOWLEDGEMENT_EXPIRED: "asks again: it lasts",
    Cause.CLEARED: "over",
    Cause.SHELVED: "paused by",
    Cause.UNSHELVED: "pause ended",
    Cause.SUPPRESSED: "something else explains it",
    Cause.UNSUPPRESSED: "stands for itself",
    Cause.STALE: "sensor fell silent",
    Cause.FRESH: "sensor heard again",
    Cause.RULE_REMOVED: "no longer watched",
}

TEXT_STATES = {
    "sent": ("sent", Tone.SOFT),
    "waiting": ("waits its turn", Tone.SOFT),
    "tried": ("not taken yet", Tone.MIND),
    "spared": ("not needed", Tone.SOFT),
    "refused": ("failed", Tone.ACT),
    "expired": ("never got through", Tone.ACT),
}


@dataclass(frozen=True, slots=True)
class View:
    """All that the page shows."""

    top: Top
    farm: Farm
    now_ms: int
    window: Window
    alerts: tuple[Alert, ...]
    history: tuple[Transition, ...]
    texts: tuple[OutboxRow, ...]
    rejects: tuple[Reject, ...]
    reject_count: int


def load(sources: Sources, window: Window) -> View:
    """Ask the store."""
    known = facts(sources)
    now_ms = known.now_ms
    alerts = tuple(ordered(known.alerts, now_ms))
    rejects = sources.reader.rejects(REJECTS_COUNTED)
    return View(
        top_of(known, NAME, headline(alerts, now_ms)),
        sources.farm,
        now_ms,
        window,
        alerts,
        tuple(reversed(sources.reader.transitions(now_ms - HISTORY_MS)))[:HISTORY_SHOWN],
        tuple(sources.reader.outbox(TEXTS_SHOWN)),
        tuple(rejects[:REJECTS_SHOWN]),
        len(rejects),
    )


def headline(alerts: Sequence[Alert], now_ms: int) -> Headline:
    """How many ask, or that none does."""
    open_alerts = asking(alerts, now_ms)
    if len(open_alerts) > 1:
        return Headline(f"{number(len(open_alerts))} alerts ask for somebody.", "The gravest is first.")
    said = alert_headline(alerts, now_ms)
    if said is not None:
        return Headline(said.sentence)
    return Headline("No alert is active.")


def content(view: View) -> Content:
    """What changes with the farm."""
    asks = asking(view.alerts, view.now_ms)
    rest = [a for a in view.alerts if a not in asks and _is_shown(a, view.now_ms)]
    return Content(
        view.top,
        {
            "alerts-head": head(view.top.headline),
            "alerts-asking": [
                asking_block(a, view.farm, view.now_ms, path_of(NAME), may_pause=True) for a in asks
            ],
            "alerts-rest": [_standing(a, view) for a in rest] or [quiet("Nothing else stands open.")],
            "alerts-texts": _texts(view),
            "alerts-history": _history(view),
            "alerts-rejects": _rejects(view),
        },
    )


def layout(view: View) -> Component:
    """The whole page."""
    made = content(view)
    return page(
        NAME,
        view.window,
        made,
        [
            place(made, "alerts-head"),
            place(made, "alerts-asking"),
            element("H2", "Taken, paused, or over unseen"),
            place(made, "alerts-rest"),
            element("H2", ["Texts ", element("Small", "newest first")]),
            place(made, "alerts-texts"),
            element("H2", ["History ", element("Small", "last 7 days")]),
            place(made, "alerts-history"),
            element("H2", "Refused messages"),
            place(made, "alerts-rejects"),
            caution("Texts can come late or not at all: carriers, batteries and links fail."),
        ],
    )


def connect(app: Dash, sources: Sources) -> None:
    """Keep an open page true."""
    keep(app, NAME, lambda window: content(load(sources, window)))


def _is_shown(alert: Alert, now_ms: int) -> bool:
    return alert.state is not AlertState.NORMAL or alert.is_shelved(now_ms)


def _standing(alert: Alert, view: View) -> Component:
    said = since_words(alert, view.farm, view.now_ms)
    if alert.is_shelved(view.now_ms) and alert.shelved_until_ms is not None:
        until = clock_time(alert.shelved_until_ms, view.farm.zone, view.now_ms)
        said = f"Paused until {until}: {alert.shelved_reason or 'no reason given'}. {said}"
    unseen = alert.state is AlertState.CLEARED
    word, tone = ("over", Tone.SOFT) if unseen else ("taken", Tone.MIND)
    if alert.is_shelved(view.now_ms):
        word, tone = "paused", Tone.SOFT
    return element(
        "Div",
        [
            element("H3", alert.sentence),
            element("Span", word, f"v {tone.value}"),
            element("P", f"{said} {alert.advice if alert.is_active else ''}".strip()),
            *([have_it(alert, view.farm.contacts, path_of(NAME))] if unseen else []),
            pause(alert, path_of(NAME), is_paused=alert.is_shelved(view.now_ms)),
        ],
        "row state",
    )


def _texts(view: View) -> list[Component]:
    if not view.texts:
        return [quiet("No text has been sent.")]
    entries = []
    for text in view.texts:
        state = "tried" if text.state == "waiting" and text.attempts else text.state
        words, tone = TEXT_STATES.get(state, (state, Tone.SOFT))
        at_ms = text.sent_ms if text.sent_ms is not None else text.created_ms
        tries = f", {text.attempts} tries" if text.attempts > 1 else ""
        reason = f": {text.error}" if text.error else ""
        entries.append(
            element(
                "Li",
                [
                    element("Time", clock_time(at_ms, view.farm.zone, view.now_ms)),
                    element(
                        "Span",
                        [
                            element("Span", words, tone.value),
                            f" to {contact_name(view.farm, text.contact)}, {text.channel}{tries}{reason}",
                        ],
                    ),
                    element("P", text.body),
                ],
            )
        )
    return [element("Ul", entries, "log")]


def _history(view: View) -> list[Component]:
    if not view.history:
        return [quiet("Nothing has happened in the last 7 days.")]
    entries = []
    for change in view.history:
        words = CAUSE_WORDS[change.cause]
        who = f" {contact_name(view.farm, change.by)}" if words.endswith(" by") else ""
        entries.append(
            element(
                "Li",
                [
                    element("Time", clock_time(change.at_ms, view.farm.zone, view.now_ms)),
                    element("Span", [element("B", f"{words}{who}"), f" {change.sentence}"]),
                ],
            )
        )
    return [element("Ul", entries, "log")]


def _rejects(view: View) -> list[Component]:
    if not view.rejects:
        return [quiet("Every message was understood.")]
    count = f"{number(view.reject_count)}{' or more' if view.reject_count >= REJECTS_COUNTED else ''}"
    entries = [
        element(
            "Li",
            [
                element("Time", clock_time(reject.received_ms, view.farm.zone, view.now_ms)),
                element("Span", reject.reason),
                element(
                    "P",
                    [
                        element("Code", reject.topic),
                        " ",
                        element("Code", reject.payload[:PAYLOAD_SHOWN].decode(errors="replace")),
                    ],
                ),
            ],
        )
        for reject in view.rejects
    ]
    verb = "message was" if view.reject_count == 1 else "messages were"
    return [
        element(
            "Details",
            [
                element("Summary", f"{count} {verb} refused and kept; the newest"),
                element("Ul", entries, "log"),
            ],
        )
    ]
