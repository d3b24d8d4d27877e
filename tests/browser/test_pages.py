"""Each page at phone and desk size: it draws, it can be read and touched, it stays true by itself."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.app import PAGES
from dashboard.parts import path_of
from dashboard.tokens import TOKENS
from shared.alerts import AlertState
from tests.fakes.pages import alert

pytestmark = pytest.mark.chromium

CHARTS = {"tonight": 0, "woods": 6, "tanks": 4, "fire": 1, "alerts": 0}
"""Lines by distance and one chart a watched line; one a tank; the stack."""
LEAST_TARGET_PX = 48

SMALL_TARGETS = """() => [...document.querySelectorAll('a, button, summary')]
    .map(e => [e.textContent, e.getBoundingClientRect()])
    .filter(([_, box]) => box.width && (box.width < LEAST - 0.5 || box.height < LEAST - 0.5))
    .map(([text, box]) => `${text} ${box.width}x${box.height}`)""".replace("LEAST", str(LEAST_TARGET_PX))


def opened(page, address, name):
    page.goto(f"{address}{path_of(name)}")
    expect(page.locator("h1")).to_be_visible()
    lines = page.locator(".scatterlayer path.js-line")
    for _ in range(CHARTS[name]):
        lines.first.wait_for(state="attached")
    return page


@pytest.mark.parametrize("name", PAGES)
def test_a_page_draws_reads_and_fits(page, address, name):
    opened(page, address, name)
    expect(page.locator(".js-plotly-plot")).to_have_count(CHARTS[name])
    sentence = page.locator("h1").inner_text()
    expect(page).to_have_title(f"{sentence.rstrip('.')} · Juniper Knob")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.locator("html").get_attribute("lang") == "en"
    found = Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []


def test_a_new_reading_appears_by_itself(page, address, knob):
    opened(page, address, "fire")
    row = page.locator("#fire-now")
    expect(row).to_contain_text("70")
    before = page.locator(".scatterlayer path.js-line").first.get_attribute("d")
    knob.now_ms += 60_000
    knob.say("stack", 612.0, "degF")
    expect(row).to_contain_text("612")
    expect(page.locator(".js-plotly-plot")).to_contain_text("612 °F")
    expect(page.locator(".scatterlayer path.js-line").first).not_to_have_attribute("d", before)


def test_the_sentence_and_the_tab_change_together(page, address, knob):
    opened(page, address, "tonight")
    knob.keep(alert("vacuum_lost", "ledge", "Ledge is 6.1 inHg below its usual.", raised_ms=knob.now_ms + 1))
    expect(page.locator("h1")).to_have_text("Ledge is 6.1 inHg below its usual.")
    expect(page).to_have_title("Ledge is 6.1 inHg below its usual · Juniper Knob")


@pytest.mark.parametrize("name", ["tonight", "alerts"])
def test_i_have_it_is_sent_and_seen_to_be_taken(page, address, knob, name):
    opened(page, address, name)
    page.get_by_role("button", name="I have it Wren").click()
    expect(page.locator("#said")).to_contain_text("Sent.")
    expect(page.get_by_role("button", name="I have it Wren")).to_have_count(0)
    expect(page.locator("main")).to_contain_text("Wren Tolliver has it")
    assert knob.store.alerts()[0].state is AlertState.ACKNOWLEDGED
    assert len(knob.requests) == 1


def test_an_alert_is_paused_with_a_reason_and_let_go_on_again(page, address, knob):
    opened(page, address, "alerts")
    page.get_by_text("No texts of it for a while").first.click()
    page.get_by_role("button", name="4 h", exact=True).click()
    assert knob.requests == []  # the browser asks for the reason first
    page.get_by_label("Why").fill("the transfer is running")
    page.get_by_role("button", name="4 h", exact=True).click()
    expect(page.locator("#said")).to_contain_text("Sent.")
    expect(page.locator("main")).to_contain_text("the transfer is running")
    assert knob.store.alerts()[0].shelved_until_ms == knob.now_ms + 4 * 3_600_000
    page.get_by_role("button", name="Let its texts go on").click()
    expect(page.get_by_role("button", name="Let its texts go on")).to_have_count(0)
    assert knob.store.alerts()[0].shelved_until_ms is None


def test_a_broker_that_is_down_is_said_at_the_button(page, address, knob):
    knob.broker_is_down = True
    opened(page, address, "tonight")
    page.get_by_role("button", name="I have it Wren").click()
    expect(page.locator("#said")).to_contain_text("Not taken: the broker cannot be reached")
    expect(page.get_by_role("button", name="I have it Wren")).to_be_visible()
    assert page.wrong.pop().startswith(
        "console: Failed to load resource: the server responded with a status of 502"
    )


def test_a_lost_link_is_said_and_taken_back(page, address):
    opened(page, address, "tonight")
    page.context.set_offline(True)
    expect(page.locator("#link")).to_contain_text("No answer from the farm")
    page.context.set_offline(False)
    expect(page.locator("#link")).to_be_empty()
    assert all("ERR_INTERNET_DISCONNECTED" in said for said in page.wrong)
    page.wrong.clear()


def test_a_window_is_chosen_by_touch_and_kept_while_the_page_lives(page, address, knob):
    opened(page, address, "fire")
    page.get_by_role("link", name="7 d").click()
    expect(page).to_have_url(re.compile(r"window=7d$"))
    expect(page.locator(".windows [aria-current]")).to_have_text("7 d")
    expect(page.locator(".xtick text").first).to_contain_text(re.compile("Mon|Tue|Wed|Thu|Fri|Sat|Sun"))
    knob.now_ms += 60_000
    knob.say("stack", 613.0, "degF")
    expect(page.locator("#fire-now")).to_contain_text("613")
    expect(page.locator(".xtick text").first).to_contain_text(re.compile("Mon|Tue|Wed|Thu|Fri|Sat|Sun"))


def test_charts_follow_day_and_night(page, address):
    page.emulate_media(color_scheme="light")
    opened(page, address, "fire")
    day, night = (tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5)) for colour in TOKENS["stack"])
    line = page.locator(".scatterlayer path.js-line").first
    expect(line).to_have_css("stroke", f"rgb{day}")
    page.emulate_media(color_scheme="dark")
    expect(line).to_have_css("stroke", f"rgb{night}")


def test_pages_are_turned_without_loading_everything_anew(page, address):
    opened(page, address, "tonight")
    page.evaluate("window.kept = true")
    page.get_by_role("navigation").get_by_role("link", name="Tanks").click()
    expect(page.locator("#tanks-head h1")).to_be_visible()
    expect(page.locator("nav [aria-current]")).to_have_text("Tanks")
    assert page.evaluate("window.kept")


def test_a_finger_on_a_chart_moves_the_page(browser, playwright, address):
    phone = dict(playwright.devices["Pixel 7"])
    del phone["default_browser_type"]
    context = browser.new_context(**phone)
    page = context.new_page()
    opened(page, address, "tanks")
    box = page.locator(".js-plotly-plot .nsewdrag").first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    finger = context.new_cdp_session(page)
    for kind, points in [
        ("touchStart", [{"x": x, "y": y}]),
        *(("touchMove", [{"x": x, "y": y - 20 * step}]) for step in range(1, 16)),
        ("touchEnd", []),
    ]:
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    expect(page.locator("h1")).not_to_be_in_viewport()
    context.close()


def test_the_plain_page_needs_no_script(browser, address, knob):
    context = browser.new_context(java_script_enabled=False, viewport={"width": 380, "height": 800})
    page = context.new_page()
    page.goto(f"{address}/")
    expect(page.locator("h1")).to_have_text("Lower is full about 22:10.")
    page.get_by_role("button", name="I have it Abel").click()
    expect(page).to_have_url(f"{address}/")
    expect(page.get_by_role("button", name="I have it Abel")).to_have_count(0)
    assert knob.requests[0].by == "Abel Quist"
    context.close()


def test_the_plain_page_can_be_read_and_touched(page, address):
    page.goto(f"{address}/")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate(SMALL_TARGETS) == []
    found = Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []


def test_the_plain_page_stays_true_where_there_is_script(page, address, knob):
    page.clock.install()
    page.goto(f"{address}/")
    knob.keep(alert(sentence="Lower is full about 21:50."))
    page.clock.fast_forward(61_000)
    expect(page.locator("h1")).to_have_text("Lower is full about 21:50.")
    expect(page).to_have_title("Lower is full about 21:50 · Juniper Knob")
