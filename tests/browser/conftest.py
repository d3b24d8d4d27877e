"""Pages in Debian's Chromium, at the size of a phone and of a desk, over a real store on a loopback port."""

import os
import shutil

import pytest
from playwright.sync_api import expect

from dashboard.app import build
from tests.fakes.pages import Knob, a_night, served

CHROMIUM = "/usr/bin/chromium"
PATIENCE_MS = 30_000
"""A page is there within a second or two; a busy machine may need many more."""
expect.set_options(timeout=PATIENCE_MS)
DESK = {"viewport": {"width": 1100, "height": 800}}


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    if shutil.which(CHROMIUM) is None and not os.environ.get("CI"):
        pytest.skip("needs Debian's package chromium")
    return browser_type_launch_args | {"executable_path": CHROMIUM, "args": ["--no-sandbox"]}


@pytest.fixture
def knob(tmp_path):
    made = Knob(tmp_path / "farm.sqlite")
    yield made
    made.close()


@pytest.fixture
def address(knob):
    """The address of the pages; the store holds a night."""
    a_night(knob)
    with served(build(knob.sources)) as address:
        yield address


@pytest.fixture(params=["phone", "desk"])
def size(request, playwright):
    if request.param == "desk":
        return DESK
    phone = dict(playwright.devices["Pixel 7"])
    del phone["default_browser_type"]
    return phone


@pytest.fixture
def page(browser, size, address):
    """A page that fails its test on any error, and on any request to anybody else."""
    context = browser.new_context(**size)
    context.set_default_timeout(PATIENCE_MS)
    opened = context.new_page()
    wrong = []
    opened.on("pageerror", lambda error: wrong.append(f"error: {error}"))
    opened.on("console", lambda said: wrong.append(f"console: {said.text}") if said.type == "error" else None)
    opened.on(
        "request",
        lambda asked: (
            None if asked.url.startswith((address, "data:")) else wrong.append(f"asked {asked.url}")
        ),
    )
    opened.wrong = wrong
    yield opened
    context.close()
    assert wrong == []
