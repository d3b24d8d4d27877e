"""The page behind the link in a text: one alert, one tap, no login, no script, and nothing else behind it."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.answer_page import ANSWERABLE_MS, answer_server
from shared.alerts import AlertState
from shared.store import Text
from tests.fakes.pages import a_night, alert, served

pytestmark = pytest.mark.chromium

CODE = "K7QX3M2TAB"


@pytest.fixture
def address(knob):
    """The address of the answering server alone; the store holds a night and the text that told of it."""
    a_night(knob)
    text = Text(
        alert().key, "1.1", "owner", "push", f"Lower is full. #{CODE}", "long", knob.now_ms, code=CODE
    )
    knob.keep(texts=[text])
    with served(answer_server(knob.sources)) as address:
        yield address


def test_one_tap_takes_it_and_looking_alone_does_not(page, address, knob):
    page.goto(f"{address}/a/{CODE.lower()}")
    expect(page.locator("h1")).to_have_text("Lower is full about 22:10.")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    found = Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
    assert knob.requests == []
    page.get_by_role("button", name="I have it", exact=True).click()
    expect(page.locator("h1")).to_contain_text("Sent.")
    page.get_by_role("link", name="Back").click()
    expect(page.locator("main")).to_contain_text("has it since")
    expect(page.get_by_role("button")).to_have_count(0)
    (asked,) = knob.requests
    assert (asked.id, asked.code, asked.quiet_ms) == (f"answer-{CODE}", CODE, 0)
    assert knob.store.alerts()[0].state is AlertState.ACKNOWLEDGED


def test_quiet_is_one_tap_as_well(page, address, knob):
    page.goto(f"{address}/a/{CODE}")
    page.get_by_role("button", name="4 h").click()
    expect(page.locator("h1")).to_contain_text("Sent.")
    assert knob.requests[0].quiet_ms == 4 * 3_600_000


@pytest.mark.parametrize("path", ["/", "/a/AAAAAAAAAA", "/a/", "/dash/", "/pulse", "/have-it"])
def test_nothing_else_is_answered_there(browser, address, path):
    context = browser.new_context()
    assert context.request.get(f"{address}{path}").status == 404
    context.close()


def test_a_link_is_over_after_a_day(browser, address, knob):
    knob.now_ms += ANSWERABLE_MS + 1
    context = browser.new_context()
    answer = context.request.get(f"{address}/a/{CODE}")
    assert answer.status == 404
    assert "This link is over." in answer.text()
    context.close()


def test_a_form_of_another_site_is_refused(browser, address, knob):
    context = browser.new_context()
    sent = context.request.post(
        f"{address}/a/{CODE}", form={"quiet_h": "0"}, headers={"Origin": "https://elsewhere.example"}
    )
    assert sent.status == 403
    assert knob.requests == []
    context.close()


def test_a_broker_that_is_down_is_said(page, address, knob):
    knob.broker_is_down = True
    page.goto(f"{address}/a/{CODE}")
    page.get_by_role("button", name="I have it", exact=True).click()
    expect(page.locator("h1")).to_contain_text(
        "Not taken: the broker cannot be reached. The alert still asks."
    )
    assert page.wrong.pop().startswith("console: Failed to load resource")
