from math import nan

import pytest

from shared.errors import InvalidArgument
from shared.physics.contested import Contested


@pytest.mark.parametrize("figures", [(2, 1, 3), (1, 4, 3), (nan, 1, 3), (1, nan, 3), (1, 2, nan)])
def test_a_band_out_of_order_is_refused(figures):
    with pytest.raises(InvalidArgument) as refusal:
        Contested(*figures)
    assert refusal.value.argument == "usual"
    assert refusal.value.value is figures[1]
    assert str(refusal.value).endswith(f"must be between {figures[0]} and {figures[2]}")


def test_a_band_may_be_a_single_figure():
    assert Contested(1, 1, 1).usual == 1
