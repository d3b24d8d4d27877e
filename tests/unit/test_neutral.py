"""A farm under neutral names; how a whole recording is scrubbed is in test_scrub."""

from pathlib import Path

import pytest

from collector.neutral import farm_text, names_of, neutral_farm_text
from collector.topics import router_of
from shared.farm_file import parse_farm
from tests.fakes.knoll import knoll

SAMPLES = Path(__file__).parents[2] / "sample_streams"


@pytest.fixture(scope="module")
def juniper():
    return parse_farm((SAMPLES / "juniper-knob.toml").read_text())


def test_a_farm_written_as_text_is_read_as_the_same_farm(juniper):
    tree = juniper.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    assert parse_farm(farm_text(tree)) == juniper


@pytest.mark.parametrize("text", ['say "when"', "a\\b", "tab\tline\nend", "Ärger 🔥", ""])
def test_any_text_is_written_so_that_it_is_read_as_it_was(text):
    tree = {"id": "knob", "name": text, "timezone": "UTC", "elevation_m": 1e-7}
    farm = parse_farm(farm_text(tree))
    assert (farm.name, farm.elevation_m) == (text, 1e-7)


def test_parts_are_numbered_in_the_order_of_the_file(juniper):
    names = names_of(juniper)
    assert names.lines["pump"] == "pump"
    assert (names.lines["conductor"], names.lines["ledge"]) == ("line-1", "line-2")
    assert (names.tanks["upper"], names.tanks["permeate"]) == ("tank-1", "tank-4")
    assert names.topics["woods/ledge-far/up"] == "topics/topic-1"
    assert names.topics["lantern/juniper-knob/pump-vacuum"] == "lantern/farm-1/sensor-1"


@pytest.mark.parametrize("farm", [knoll(), parse_farm((SAMPLES / "juniper-knob.toml").read_text())])
def test_the_neutral_farm_listens_to_the_neutral_topics(farm):
    names = names_of(farm)
    neutral = parse_farm(neutral_farm_text(farm, names))
    assert set(router_of(neutral).sensors_by_topic) == {names.topics[farm.topic_of(s)] for s in farm.sensors}
    assert [s.quantity for s in neutral.sensors] == [s.quantity for s in farm.sensors]
    assert [s.calibration for s in neutral.sensors] == [s.calibration for s in farm.sensors]


def test_gateways_are_numbered_and_keep_their_sensors(juniper):
    neutral = parse_farm(neutral_farm_text(juniper, names_of(juniper)))
    (sensors,) = juniper.sensors_by_gateway.values()
    names = names_of(juniper).sensors
    assert [s.id for s in neutral.sensors_by_gateway["gateway-1"]] == [names[s.id] for s in sensors]
    assert list(neutral.sensors_by_gateway) == ["gateway-1"]


def test_nothing_is_left_of_whom_the_farm_tells_when_and_by_what():
    told = """
    [drill]
    every = "sunday"
    at = "17:00"
    [brief]
    at = "18:00"
    contacts = ["owner"]
    [horn]
    topic = "siren/of/somebody"
    [[contact]]
    id = "owner"
    name = "Somebody"
    channel = [{ id = "push", url = "x:" }]
    """
    head = '[farm]\nid = "small"\nname = "Small"\ntimezone = "UTC"\nelevation_ft = 1000\n'
    farm = parse_farm(head + told)
    neutral = parse_farm(neutral_farm_text(farm, names_of(farm)))
    assert neutral == parse_farm(head.replace('"small"', '"farm-1"').replace('"Small"', '"A farm"'))
