"""What the page Alerts says of each text: taken, still tried, spared because another says it, never taken."""

import pytest

from dashboard.pages.alerts import content, load
from dashboard.windows import DEFAULT
from shared.store import Text
from tests.fakes.pages import T0


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        (lambda store, _: store.mark_sent(1, T0), ["sent", " to Wren Tolliver, phone"]),
        (lambda _store, _: None, ["waits its turn", " to Wren Tolliver, phone"]),
        (
            lambda store, retry_ms: store.mark_failed([1], T0, error="no link", retry_ms=retry_ms),
            ["not taken yet", " to Wren Tolliver, phone: no link"],
        ),
        (
            lambda store, _: store.mark_spared([(1, "newer text 2 says it")]),
            ["not needed", " to Wren Tolliver, phone: newer text 2 says it"],
        ),
        (
            lambda store, _: store.mark_expired([(1, "no link")]),
            ["never got through", " to Wren Tolliver, phone: no link"],
        ),
        (
            lambda store, _: store.mark_failed([1], T0, error="no such channel", retry_ms=None),
            ["failed", " to Wren Tolliver, phone: no such channel"],
        ),
    ],
)
def test_how_a_text_stands_is_said_with_its_reason(knob, mark, said):
    knob.keep(texts=[Text("tank_nearly_full/lower", "1.1", "owner", "phone", "short", "long", T0)])
    mark(knob.store, T0 + 60_000)
    shown = str(
        [part.to_plotly_json() for part in content(load(knob.sources, DEFAULT)).words["alerts-texts"]]
    )
    assert all(words in shown for words in said), shown
