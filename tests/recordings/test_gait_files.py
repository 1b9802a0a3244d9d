"""The gait files of the recordings are fit to be shown: the check has nothing against them."""

import pytest
from support.recordings import gait

from sequencer.base.findings import Severity
from sequencer.check.run import check


@pytest.mark.parametrize("name", ["person", "two_legged_robot", "treadmill", "lower_back"])
def test_the_check_finds_no_error_and_nothing_to_warn_of(name: str) -> None:
    assert [f for f in check(gait(name)) if f.severity is not Severity.NOTE] == []


def test_the_person_has_one_sequence_per_foot_with_the_four_phases() -> None:
    plan = gait("person")
    assert [s.name for s in plan.sequences] == ["left", "right"]
    phases = {tuple(p.name for p in s.phases) for s in plan.sequences}
    assert phases == {("stance", "push_off", "swing", "landing")}


def test_the_robot_has_one_sequence_per_leg_with_stance_and_swing() -> None:
    plan = gait("two_legged_robot")
    assert [s.name for s in plan.sequences] == ["left", "right"]
    assert {tuple(p.name for p in s.phases) for s in plan.sequences} == {("stance", "swing")}
