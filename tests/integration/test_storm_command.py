"""`lantern storm` as an owner types it the morning after, on the store that the windstorm left."""

import json

import pytest

from lantern import main
from shared.instants import instant_ms
from shared.units import GALLON_M3
from tests.fakes.heard_rows import filled_store
from tests.fakes.sides import ROOT

FARM = str(ROOT / "sample_streams/juniper-knob.toml")
LIMB_MS = instant_ms("2026-04-03T06:10:00Z")
MORNING_MS = instant_ms("2026-04-03T08:30:00Z")
"""Half past four: the limb is still on the line."""


@pytest.fixture(scope="module")
def store_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("storm") / "farm.sqlite"
    filled_store(path, "windstorm-ledge", MORNING_MS).close()
    return path


@pytest.fixture
def storm(store_file, monkeypatch, capsys):
    """Runs the command at half past four; its exit code and what it said."""
    monkeypatch.setenv("LANTERN_PACE", json.dumps([[0, MORNING_MS, 0.0]]))
    monkeypatch.setenv("COLUMNS", "150")

    def run(*arguments):
        code = main(["storm", "--farm", FARM, "--store", str(store_file), *arguments])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_the_line_to_walk_is_the_first_thing_said(storm):
    code, said, _ = storm()
    assert code == 0
    lines = [line.rstrip() for line in said.splitlines() if line.strip()]
    assert lines[0] == "Juniper Knob, Fri 3 Apr 01:09 to 04:30"
    assert lines[1] == "Walk first: ledge 390 to 1,750 ft from the pump, or ledge-top."
    assert lines[2].startswith(
        "Ledge fell 6.6 inHg at 02:10 and is still down. 99 in 100 that the leak is there."
    )
    assert any(
        line.startswith("99 in 100  ledge 390 to 1,750 ft from the pump, or ledge-top") for line in lines[3:6]
    )


def test_every_line_stands_before_during_and_after(storm):
    _, said, _ = storm()
    (far,) = [line.split() for line in said.splitlines() if line.startswith("ledge-far ")]
    assert far[:8] == ["ledge-far", "23.3", "16.7", "16.7", "16.8", "-6.5", "02:10", "down"]


def test_the_cost_is_told_with_its_band_and_what_it_rests_on(storm):
    _, said, _ = storm()
    words = " ".join(said.split())
    assert (
        "Sap lost so far by less vacuum: 12 gal (8 to 19); as it stands 112 gal (73 to 177) a day." in words
    )
    assert "Reckoned by what ran into the tanks; at last 0.5 gal a tap and day." in words


def test_a_named_time_is_taken(storm):
    code, said, _ = storm("--from", "22:00", "--to", "2026-04-03 02:00")
    assert code == 0
    assert said.startswith("Juniper Knob, Thu 2 Apr 22:00 to Fri 3 Apr 02:00")


def test_json_holds_the_whole_review_in_si(storm):
    _, said, _ = storm("--json")
    review = json.loads(said)
    assert [row["sensor"] for row in review["sensors"]][:3] == ["pump-vacuum", "ledge-near", "ledge-far"]
    trouble = review["troubles"][0]
    assert abs(trouble["onset"]["at_ms"] - LIMB_MS) <= 120_000
    assert (trouble["outcome"], trouble["suspects"][0]["line"]) == ("down", "ledge")
    assert review["sap_lost_m3"]["usual"] / GALLON_M3 == pytest.approx(12, abs=1)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (
            ["--from", "yesterday"],
            "lantern storm: --from is 'yesterday'; it must be a time of the farm's clock",
        ),
        (["--to", "24:00"], "lantern storm: --to is '24:00'; it must be"),
        (["--from", "2h", "--to", "3h"], "lantern storm: --from is '1 h after to'; it must be before to"),
    ],
)
def test_a_wrong_time_names_its_option_and_the_fix(storm, arguments, says):
    code, _, said = storm(*arguments)
    assert code == 1
    assert said.startswith(says)


def test_without_a_store_it_says_so(capsys, tmp_path):
    assert main(["storm", "--farm", FARM, "--store", str(tmp_path / "none.sqlite")]) == 1
    assert "no store at" in capsys.readouterr().err
