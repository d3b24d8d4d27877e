import re

import pytest

from collector.simulate.farm_night import simulate
from collector.simulate.story import parse_story
from shared.errors import StoryFileError
from shared.units import INCH_M
from tests.fakes.seasons import START_MS, farm


def mistakes(text):
    with pytest.raises(StoryFileError) as caught:
        parse_story(text)
    return str(caught.value)


EVENT = 'title = "t"\n[[event]]\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title = 7", "title.*valid string"),
        ("nothing = 1", "title.*required"),
        ('title = "t"\nspeed = 3', "speed.*not permitted"),
        ("title = ", "not valid TOML"),
        (EVENT + 'kind = "meteor"\nat_h = 1', "event 1.*meteor.*leak"),
        (EVENT + 'kind = "leak"\nat_h = 1', "event 1 leak line.*required"),
        (EVENT + 'kind = "leak"\nline = "ledge"\nat_h = 1\nat_min = 5', "say the same thing"),
        (EVENT + 'kind = "leak"\nline = "ledge"\nat_h = -1', "at_s.*greater than or equal to 0"),
        (EVENT + 'kind = "leak"\nline = "ledge"\nat_h = "one"', "at_h must be a number"),
        (EVENT + 'kind = "leak"\nline = "ledge"\nat_h = 1\nhole_ft = 2', "hole_m.*0.08"),
        (EVENT + 'kind = "sensor_fault"\nsensor = "air"\nat_h = 1\nfault = "tired"', "stuck.*dropout"),
        (EVENT + 'kind = "sensor_fault"\nsensor = "air"\nat_h = 1\nfault = "drifting"', "needs drift_per_h"),
        (
            EVENT + 'kind = "sensor_fault"\nsensor = "air"\nat_h = 1\nfault = "wrong_unit"\nunit = "bushel"',
            "bushel",
        ),
        ('title = "t"\nstart = 2026-04-06T11:00:00', "offset from UTC"),
        ('title = "t"\n[weather]\nair_f = [[1, 30], [0, 40]]', "hours must rise"),
        ('title = "t"\n[payloads]\nair = "morse"', "json.*bare.*senml"),
    ],
)
def test_a_wrong_story_says_what_is_wrong_and_where(text, said):
    assert re.search(said, mistakes(text), re.DOTALL)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (EVENT + 'kind = "leak"\nline = "moon"\nat_h = 1', r"event 1 \(leak\): line = 'moon'.*ledge"),
        (EVENT + 'kind = "transfer"\ntank = "sea"\nat_h = 1', r"tank = 'sea'.*upper"),
        (EVENT + 'kind = "sensor_fault"\nsensor = "nose"\nat_h = 1\nfault = "stuck"', "sensor = 'nose'"),
        (EVENT + 'kind = "leak"\nline = "ledge"\nplace_ft = 5000\nat_h = 1', "beyond the end of ledge"),
        (EVENT + 'kind = "link_outage"\nsensors = ["nose"]\nat_h = 1', "sensors = 'nose'"),
        ('title = "t"\n[tanks.sea]\nvolume_gal = 3', "tanks.sea"),
        ('title = "t"\n[payloads]\nnose = "bare"', "payloads.nose"),
        ('title = "t"\n[plant]\nreleaser_to = "sea"', "plant.releaser_to = 'sea'"),
    ],
)
def test_a_story_of_another_farm_says_what_this_farm_has(text, said):
    story = parse_story(text)
    with pytest.raises(StoryFileError) as caught:
        simulate(farm(), story, START_MS, 0.1, 1)
    assert re.search(said, str(caught.value), re.DOTALL)


def test_all_mistakes_are_told_at_once():
    told = mistakes(EVENT + 'kind = "leak"\nat_h = 1\n[[event]]\nkind = "boil"\nat_h = "noon"')
    assert "event 1" in told
    assert "event 2" in told


def test_keys_carry_their_unit():
    story = parse_story(
        'title = "t"\nduration_d = 2\n[plant]\ntransfer_gal_h = 1500\n'
        '[[event]]\nkind = "leak"\nline = "ledge"\nhole_in = 0.25\nat_min = 90\nfor_h = 2'
    )
    event = story.events[0]
    assert (event.at_s, event.until_s, event.hole_m) == (5400.0, 12_600.0, 0.25 * INCH_M)
    assert story.duration_s == 172_800.0
    assert story.plant.transfer_m3_s == pytest.approx(1500 * 0.003785411784 / 3600)
