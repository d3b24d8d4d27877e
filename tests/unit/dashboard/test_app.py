import gzip
import re

import pytest

from dashboard.app import PAGES, build, serve
from dashboard.parts import PAGE_NAMES, path_of
from dashboard.windows import WINDOWS
from shared.alerts import AlertState
from shared.errors import SettingsError
from shared.settings import Settings
from tests.fakes.pages import T0, Knob, a_night, alert

PATHS = ["/", *(path_of(name) for name in PAGES)]
ORIGIN = {"Origin": "http://localhost"}


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """Of a farm that no test changes."""
    knob = Knob(tmp_path_factory.mktemp("farm") / "farm.sqlite")
    a_night(knob)
    yield build(knob.sources).test_client()
    knob.close()


@pytest.fixture
def asking_client(knob):
    knob.keep(alert())
    return build(knob.sources).test_client()


@pytest.mark.parametrize("path", PATHS)
def test_a_page_is_answered(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    assert '<html lang="en">' in answer.text


@pytest.mark.parametrize("path", ["/nothing", "/dash/nothing", "/dash/woods/", "/dash/_nothing"])
def test_what_is_not_there_is_said_not_to_be_there(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_forbids_foreign_scripts_frames_and_sniffing(client, path):
    headers = client.get(path).headers
    scripts = re.search(r"script-src ([^;]*)", headers["Content-Security-Policy"])
    assert scripts is not None
    assert all(source == "'self'" or source.startswith("'sha256-") for source in scripts[1].split())
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_another_sites_name_for_this_machine_is_refused(client):
    assert client.get("/", headers={"Host": "rebound.example"}).status_code == 400


def test_dash_runs_without_its_developers_tools(client):
    config = client.get("/dash/").text
    assert '"ui":false' in config
    assert '"hot_reload"' not in config


def have_it(client, by="owner", key="tank_nearly_full/lower", **more):
    headers = {"Accept": "text/plain", **ORIGIN} | more.pop("headers", {})
    return client.post(f"/have-it?alert={key}&back=/dash/alerts", data={"by": by}, headers=headers)


def test_i_have_it_is_asked_of_the_collector_in_that_persons_name(asking_client, knob):
    assert have_it(asking_client).status_code == 200
    (request,) = knob.requests
    assert (request.alert, request.by, request.asked_ms) == ("tank_nearly_full/lower", "Wren Tolliver", T0)
    assert knob.store.alerts()[0].state is AlertState.ACKNOWLEDGED


def test_a_stranger_is_not_taken_for_a_contact(asking_client, knob):
    have_it(asking_client, by="mallory")
    assert knob.requests[0].by == "Somebody at the page"


def test_a_broker_that_is_down_is_said_and_the_alert_still_asks(asking_client, knob):
    knob.broker_is_down = True
    answer = have_it(asking_client)
    assert answer.status_code == 502
    assert "the broker cannot be reached" in answer.text
    assert knob.store.alerts()[0].state is AlertState.ACTIVE


def test_an_alert_that_nobody_knows_is_not_asked_about(asking_client, knob):
    assert have_it(asking_client, key="made/up").status_code == 404
    assert knob.requests == []


@pytest.mark.parametrize("origin", [None, "http://elsewhere.example", "null"])
def test_a_form_on_another_site_cannot_take_an_alert(asking_client, knob, origin):
    headers = {"Origin": origin} if origin else {}
    answer = asking_client.post(
        "/have-it?alert=tank_nearly_full/lower", data={"by": "owner"}, headers=headers
    )
    assert answer.status_code == 403
    assert knob.requests == []


def test_without_script_one_comes_back_to_the_page(asking_client):
    answer = have_it(asking_client, headers={"Accept": "text/html"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/dash/alerts")


def test_nobody_is_sent_to_another_site(asking_client):
    answer = asking_client.post(
        "/have-it?alert=tank_nearly_full/lower&back=https://elsewhere.example/",
        data={"by": "owner"},
        headers=ORIGIN,
    )
    assert answer.headers["Location"] == "/"


def test_the_pulse_is_short_and_never_kept(client):
    answer = client.get("/pulse")
    assert len(answer.data) < 40
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("encoding", ["gzip", "br"])
def test_an_answer_is_packed_as_its_reader_allows(client, encoding):
    answer = client.get("/", headers={"Accept-Encoding": encoding})
    assert answer.headers["Content-Encoding"] == encoding
    if encoding == "gzip":
        assert b"Juniper Knob" in gzip.decompress(answer.data)


def test_a_reader_that_takes_no_packing_gets_none(client):
    assert "Content-Encoding" not in client.get("/", headers={"Accept-Encoding": "identity"}).headers


def test_the_plain_page_is_at_most_three_kilobytes(client):
    assert len(client.get("/", headers={"Accept-Encoding": "br"}).data) <= 3000


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("is_night", [True, False], ids=["night", "empty"])
def test_a_page_opens_with_one_sentence_which_is_the_tabs_too(knob, name, is_night):
    if is_night:
        a_night(knob)
    page = PAGES[name]
    view = page.load(knob.sources, WINDOWS[1])
    said = str(page.layout(view).to_plotly_json())
    assert view.top.headline.sentence.endswith(".")
    assert said.count("H1(") == 1
    assert f"H1('{view.top.headline.sentence}')" in said.replace('"', "'")


@pytest.mark.parametrize("window", WINDOWS, ids=lambda window: window.key)
@pytest.mark.parametrize("name", ["woods", "tanks", "fire"])
def test_every_window_can_be_drawn(knob, name, window):
    knob.say("stack", 70.0, "degF")
    made = PAGES[name].content(PAGES[name].load(knob.sources, window))
    assert all(figure["layout"]["xaxis"]["range"] for figure in made.charts.values())


def test_the_navigation_names_every_page():
    assert list(PAGE_NAMES) == list(PAGES)


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.20"])
def test_pages_without_a_login_are_served_to_this_machine_only(knob, host):
    with pytest.raises(SettingsError, match="no login"):
        serve(knob.sources, Settings(listen_host=host))


def test_the_app_can_be_built_twice_in_one_process(knob):
    assert build(knob.sources) is not build(knob.sources)


def test_a_name_with_markup_is_only_a_name(knob):
    a_night(knob)
    knob.keep(alert(sentence="<script>alert(1)</script> is full."))
    assert "<script>alert" not in build(knob.sources).test_client().get("/").text
