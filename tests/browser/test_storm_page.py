"""The storm's page on the night that a limb opened the ledge: read, touched and followed at phone and desk size."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.app import build
from dashboard.sources import Sources
from shared.alerts import Alert, AlertState, Priority
from shared.estimates.picture import dump_picture, new_picture
from shared.instants import instant_ms
from shared.store import Memory, Record
from tests.fakes.heard_rows import filled_store
from tests.fakes.pages import served
from tests.fakes.seasons import farm

pytestmark = pytest.mark.chromium

MORNING_MS = instant_ms("2026-04-03T08:30:00Z")
"""Half past four: the limb is still on the line."""
LEAST_TARGET_PX = 48
SMALL_TARGETS = """() => [...document.querySelectorAll('a, button, select')]
    .map(e => [e.textContent.slice(0, 30), e.getBoundingClientRect()])
    .filter(([_, box]) => box.width && (box.width < 47.5 || box.height < 47.5))
    .map(([text, box]) => `${text} ${box.width}x${box.height}`)"""
MOST_BYTES = 11_000
"""Of the page and its answers once the shell is cached: what a satellite link carries in half a second."""


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    made = filled_store(tmp_path_factory.mktemp("storm") / "farm.sqlite", "windstorm-ledge", MORNING_MS)
    lost = Alert(
        "vacuum_lost",
        "ledge",
        state=AlertState.ACTIVE,
        priority=Priority.WAKE,
        sentence="Ledge is 6.5 inHg below its usual since 02:10.",
        episode=1,
        raised_ms=MORNING_MS - 8_000_000,
    )
    # As of a collector that has seen it all: the page then folds nothing anew.
    memory = Memory(10**9, 0, MORNING_MS, dump_picture(new_picture(farm())), b"")
    made.record(Record(memory, (lost,)))
    yield made
    made.close()


@pytest.fixture(scope="module")
def address(store):
    """The pages at half past four, over the store that the collector writes."""
    sources = Sources(store, farm(), lambda: MORNING_MS, lambda _request: None)
    with served(build(sources)) as address:
        yield address


def opened(page, address, query=""):
    page.goto(f"{address}/dash/woods/storm{query}")
    expect(page.locator("table.storm")).to_be_visible()
    return page


def test_the_line_to_walk_comes_first_and_the_page_fits(page, address):
    opened(page, address)
    expect(page.locator("h1")).to_have_text("Walk first: ledge 390 to 1,750 ft from the pump, or ledge-top.")
    expect(page.locator("#storm-head .lead")).to_contain_text(
        "Ledge fell 6.6 inHg at 02:10 and is still down."
    )
    expect(page.locator("nav [aria-current]")).to_have_text("Woods")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate(SMALL_TARGETS) == []
    found = Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []


def test_each_line_stands_before_during_and_after_and_only_the_ledge_asks(page, address):
    opened(page, address)
    far = page.locator("table.storm tr", has_text="Ledge, far end").locator("td")
    assert far.all_inner_texts() == ["Ledge, far end", "23.3", "16.7", "16.8"]
    asking = page.locator("table.storm tr", has=page.locator("td.act")).all_inner_texts()
    assert [re.split(r"\t|\n", row)[0] for row in asking] == ["Ledge, near end", "Ledge, far end"]
    expect(page.locator("table.storm")).to_contain_text("▼ 6.5 · fell 02:10 · lost 7 gal (4 to 11)")


def test_the_time_is_chosen_from_a_list_and_stays_in_the_address(page, address):
    opened(page, address)
    page.locator("select[name=from]").select_option("2026-04-02T22:00")
    page.locator("select[name=to]").select_option("2026-04-03T02:00")
    page.get_by_role("button", name="Show").click()
    expect(page).to_have_url(re.compile(r"from=2026-04-02T22%3A00&to=2026-04-03T02%3A00$"))
    expect(page.locator("h1")).to_have_text("No line fell.")
    expect(page.locator("main > p").first).to_have_text("Thu 2 Apr 22:00 to Fri 3 Apr 02:00")


def test_a_preset_is_one_touch(page, address):
    opened(page, address)
    page.get_by_role("link", name="12 h").click()
    expect(page.locator(".windows [aria-current]")).to_have_text("12 h")
    expect(page.locator("main > p").first).to_have_text("Thu 2 Apr 16:30 to Fri 3 Apr 04:30")


def test_a_time_that_is_none_is_said_with_how_to_say_it(page, address):
    page.goto(f"{address}/dash/woods/storm?from=<b>soon</b>")
    expect(page.locator("h1")).to_have_text("That time cannot be shown.")
    expect(page.locator(".lead")).to_contain_text("From is '<b>soon</b>'; it must be")
    expect(page.locator("table.storm")).to_have_count(0)


@pytest.mark.parametrize("path", ["/dash/woods", "/dash/alerts"])
def test_it_is_one_touch_away_from_the_woods_and_from_a_vacuum_alert(page, address, path):
    page.goto(f"{address}{path}")
    page.get_by_role("link", name=re.compile("efore, during and after, line by line")).click()
    expect(page.locator("table.storm")).to_be_visible()


def test_it_is_small_enough_for_a_satellite_link(page, address):
    opened(page, address)
    session, sizes = page.context.new_cdp_session(page), []
    session.send("Network.enable")
    session.on("Network.loadingFinished", lambda told: sizes.append(told["encodedDataLength"]))
    opened(page, address)
    page.wait_for_load_state("networkidle")
    assert sum(sizes) < MOST_BYTES
