"""The small pictures the server draws itself, as SVG: a tank's contents, and a line's last hours."""

from collections.abc import Sequence
from urllib.parse import quote
from xml.sax.saxutils import quoteattr

from dashboard.tokens import css_variables, ref

WIDTH, HEIGHT = 340, 34
BAR_TOP, BAR_HEIGHT = 4, 16
STYLE_TOKENS = ("ink", "soft", "rule", "fill", "band", "vacuum", "level", "act")

CSS = (
    "path{fill:none;vector-effect:non-scaling-stroke}"
    f".u{{stroke:{ref('soft')};stroke-width:1.3;stroke-dasharray:1 4}}"
    f".s{{stroke:{ref('vacuum')};stroke-width:1.7}}"
    f".b{{stroke:{ref('rule')}}}"
    f".f{{fill:{ref('fill')}}}.w{{fill:{ref('band')}}}"
    f".m{{stroke:{ref('level')};stroke-width:2.5}}"
)
"""How the pictures are coloured; the plain page holds it once for all of them."""


def svg(inner: str, words: str) -> str:
    """A picture for a page that holds CSS and the tokens itself; `words` say what is seen."""
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" preserveAspectRatio="none" role="img"'
        f" aria-label={quoteattr(words)}>{inner}</svg>"
    )


def image_source(inner: str) -> str:
    """The same picture as an image's source; it carries its own colours of day and night."""
    style = css_variables(STYLE_TOKENS) + CSS
    whole = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" preserveAspectRatio="none">'
        f"<style>{style}</style>{inner}</svg>"
    )
    return "data:image/svg+xml," + quote(whole, safe="/:;=,()' ")


def tank_bar(full_fraction: float, *, is_filling: bool) -> str:
    """Contents from the left; what is still to be filled is shaded while it fills."""
    at = round(WIDTH * min(max(full_fraction, 0.0), 1.0))
    room = (
        f'<path class="w" d="M{at} {BAR_TOP}h{WIDTH - at}v{BAR_HEIGHT}H{at}z"/>'
        if is_filling and at < WIDTH
        else ""
    )
    return (
        f'<path class="f" d="M0 {BAR_TOP}h{at}v{BAR_HEIGHT}H0z"/>{room}'
        f'<path class="b" d="M0 {BAR_TOP}h{WIDTH}v{BAR_HEIGHT}H0z"/>'
        f'<path class="m" d="M{at} {BAR_TOP - 2}v{BAR_HEIGHT + 4}"/>'
    )


def sparkline(
    points: Sequence[tuple[int, float | None]],
    from_ms: int,
    to_ms: int,
    y_range: tuple[float, float],
    usual: float | None = None,
) -> str:
    """A line over the time from `from_ms` to `to_ms`, open where nothing was heard, its usual dotted."""
    low, high = y_range
    inside = HEIGHT - 4

    def y(value: float) -> int:
        share = (value - low) / (high - low)
        return 2 + round(inside * (1 - min(max(share, 0.0), 1.0)))

    steps: list[str] = []
    last: tuple[int, int] | None = None
    for at_ms, value in points:
        if value is None:
            last = None
            continue
        spot = (round(WIDTH * (at_ms - from_ms) / (to_ms - from_ms)), y(value))
        if last is None:
            steps.append(f"M{spot[0]} {spot[1]}l0 0")
        elif spot != last:
            # Steps from point to point are shorter than places.
            dx, dy = spot[0] - last[0], spot[1] - last[1]
            steps.append(f" {dx} {dy}")
        last = spot
    dotted = "" if usual is None else f'<path class="u" d="M0 {y(usual)}H{WIDTH}"/>'
    return f'{dotted}<path class="s" d="{"".join(steps)}"/>'
