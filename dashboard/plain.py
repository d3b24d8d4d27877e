"""The plain page at /: everything that matters in one answer of about three kilobytes, no script needed.

The same view as the page Tonight, written as HTML by hand; a phone on a bad link reads it in one round trip.
"""

from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from html import escape
from importlib.resources import files
from urllib.parse import urlencode

from dashboard import drawn
from dashboard.night import age_words, night, steady_names, steady_words
from dashboard.parts import PAGE_NAMES, path_of, since_words
from dashboard.sources import Sources
from dashboard.tank_rows import TankRow
from dashboard.tokens import css_variables
from dashboard.words import ADVICE_ONLY, Note, Tone, number, tab_title
from shared.alerts import Alert, Priority
from shared.estimates.brief_words import Line
from shared.farm import Farm

SCRIPT = (
    "setInterval(async()=>{if(!document.hidden)try{const t=await(await fetch('/')).text(),"
    "d=new DOMParser().parseFromString(t,'text/html');document.title=d.title;"
    "document.body.innerHTML=d.body.innerHTML}catch{document.querySelector('header').textContent="
    "'No answer from the farm: this is old.'}},60000)"
)
"""Once a minute the page is asked for anew; scrolled as it is, and silent when nobody looks."""
SCRIPT_HASH = "'sha256-" + b64encode(sha256(SCRIPT.encode()).digest()).decode() + "'"
TOKENS = ("paper", "ink", "soft", "rule", "act", "on-act", "mind", "fill", "band", "vacuum", "level")

CSS = css_variables(TOKENS) + files("dashboard").joinpath("assets/plain.css").read_text() + drawn.CSS


def page(sources: Sources) -> str:
    """The whole page."""
    view = night(sources)
    farm = view.farm
    shown = view.asks[:1] if view.asks and view.asks[0].sentence == view.top.headline.sentence else ()
    head = "" if shown else _head(view.top.headline.sentence, view.top.headline.lead)
    links = "".join(f'<a href="{path_of(key)}">{name}</a>' for key, name in PAGE_NAMES.items())
    body = [
        f"<header><span>{escape(farm.name)}</span><span>{escape(view.top.clock_words)}</span></header><main>",
        head,
        *(_ask(a, farm, view.now_ms, "h1" if shown and a is shown[0] else "h2") for a in view.asks),
        "<h2>Before morning</h2>",
        *(_before(line) for line in view.before_morning),
        "<h2>Tanks</h2>",
        *(_tank(tank) for tank in view.tanks),
        "<h2>Vacuum, last 12 h <small>(dots: its usual)</small></h2>",
        *(
            _row(
                row.name,
                f"{number(row.vacuum_inhg or 0.0, 1)} <small>inHg</small>",
                row.notes,
                drawn.svg(view.pictures[row.sensor.id], "the last 12 hours"),
            )
            for row in view.vacuum
        ),
        _row(steady_names(view.steady), "", (Note(steady_words(view.steady)),)) if view.steady else "",
        "<h2>Fire</h2>",
        _row(
            "Stack",
            "<small>unknown</small>"
            if view.fire.stack_f is None
            else f"{number(view.fire.stack_f)} <small>°F</small>",
            (Note(view.fire.sentence.rstrip("."), view.fire.tone), *view.fire.notes),
        ),
        "<h2>Not watched</h2>" if view.unwatched else "",
        *(
            _row(item.name, f"<small>{escape(item.silence)}</small>", (Note(item.consequence),))
            for item in view.unwatched
        ),
        f"</main><footer>{escape(age_words(view))} {ADVICE_ONLY}<br>{links}</footer>",
    ]
    return document(tab_title(view.top.headline, farm), "".join(body), f"<script>{SCRIPT}</script>")


def message(said: str, farm: Farm, back: str = "/") -> str:
    """A page that says one thing, for a browser without script."""
    body = f'<main>{_head(said, "")}<p><a href="{escape(back)}">Back</a></p></main>'
    return document(f"{said.rstrip('.')} · {farm.name}", body)


def document(title: str, body: str, script: str = "") -> str:
    """A whole page of its own, with the plain page's look."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        # Without an icon of its own the browser asks for one on each visit.
        f'<link rel="icon" href="data:,"><title>{escape(title)}</title><style>{CSS}</style>{script}</head>'
        f"<body>{body}</body></html>"
    )


def _head(sentence: str, lead: str) -> str:
    return f"<h1>{escape(sentence)}</h1>" + (f"<p>{escape(lead)}</p>" if lead else "")


def _ask(alert: Alert, farm: Farm, now_ms: int, tag: str) -> str:
    query = escape(urlencode({"alert": alert.key, "back": "/"}))
    names = [(c.id, f"I have it <small>{escape(c.name.split()[0])}</small>") for c in farm.contacts]
    if len(names) < 2:  # noqa: PLR2004 - nobody else could be meant
        names = [(names[0][0] if names else "", "I have it")]
    buttons = "".join(f'<button name="by" value="{escape(who)}">{words}</button>' for who, words in names)
    advice = f"<p>{escape(alert.advice)}</p>" if alert.advice else ""
    kind = "ask" if alert.priority is Priority.WAKE else "ask tell"
    return (
        f'<section class="{kind}"><{tag}>{escape(alert.sentence)}</{tag}>{advice}'
        f"<p>{escape(since_words(alert, farm, now_ms))}</p>"
        f'<form method="post" action="/have-it?{query}">{buttons}</form></section>'
    )


def _stack(stack_f: float | None) -> str:
    return "<small>unknown</small>" if stack_f is None else f"{number(stack_f)} <small>°F</small>"


def _before(line: Line) -> str:
    value = escape(line.value)
    if line.asks:
        value = f'<i class="a">{value}</i>'
    elif not line.is_known:
        value = f"<small>{value}</small>"
    return _row(line.name, value, map(Note, line.notes))


def _tank(tank: TankRow) -> str:
    if tank.volume_gal is None or tank.full_fraction is None:
        return _row(tank.name, f"<small>{escape(tank.silence)}</small>", tank.notes)
    bar = drawn.tank_bar(tank.full_fraction, is_filling=tank.fill is not None)
    return _row(
        tank.name,
        f"{number(tank.volume_gal)} <small>of {number(tank.capacity_gal)} gal</small>",
        tank.notes,
        drawn.svg(bar, f"{number(100 * tank.full_fraction)} percent full"),
    )


def _row(name: str, value: str, notes: Iterable[Note], picture: str = "") -> str:
    said = " · ".join(_note(note) for note in notes if note.text)
    words = f"<p>{said}</p>" if said else ""
    return f'<div class="row"><span>{escape(name)}</span><span class="v">{value}</span>{picture}{words}</div>'


def _note(note: Note) -> str:
    if note.tone is Tone.ACT:
        return f'<i class="a">{escape(note.text)}</i>'
    return f"<i>{escape(note.text)}</i>" if note.tone is Tone.MIND else escape(note.text)
