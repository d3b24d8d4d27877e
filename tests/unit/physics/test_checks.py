"""Every number beside the outside number for it: the table printed as docs/checks.md."""

import pytest

from tests.checks import Check, Status, every_check

CHECKS = [check for checks in every_check().values() for check in checks]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.id)
def test_ours_is_within_tolerance_of_theirs(check: Check):
    assert check.holds(), f"{check.what}: ours {check.ours()}, theirs {check.expected} {check.unit}"


def test_no_two_checks_share_an_id():
    assert len({check.id for check in CHECKS}) == len(CHECKS)


def test_every_check_names_its_source_and_a_tolerance():
    assert [check.id for check in CHECKS if not check.source or check.tolerance <= 0] == []


def test_a_wrong_number_fails_its_check():
    wrong = Check("wrong", "a length", "", lambda: 1.02, 1.0, 0.01, "m", "by hand", Status.COMPUTED)
    assert not wrong.holds()
