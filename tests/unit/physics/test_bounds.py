"""The one refusal of impossible numbers."""

from math import inf, nan

import pytest

from shared.errors import InvalidArgument
from shared.physics.bounds import require_within


@pytest.mark.parametrize("value", [nan, inf, -inf, 0.999, 2.001])
def test_what_lies_outside_is_refused_with_its_name_value_and_range(value):
    with pytest.raises(InvalidArgument) as refused:
        require_within("brix", value, 1.0, 2.0)
    assert (refused.value.argument, str(refused.value)) == (
        "brix",
        f"brix is {value!r}; it must be between 1 and 2",
    )
    assert refused.value.value is value


@pytest.mark.parametrize("value", [1, 1.0, 1.5, 2.0])
def test_both_ends_are_inside(value):
    require_within("brix", value, 1.0, 2.0)
