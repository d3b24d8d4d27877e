import pytest

from tests.fakes.pages import Knob


@pytest.fixture
def knob(tmp_path):
    made = Knob(tmp_path / "farm.sqlite")
    yield made
    made.close()
