"""Loops and outputs in the plan as text."""

from support.commands import STORK

from sequencer.plan.build import load_plan
from sequencer.show.plans import plan_text


def test_loops_and_outputs_are_told_in_words() -> None:
    lines = [" ".join(line.split()) for line in plan_text(load_plan(STORK)).splitlines()]
    assert (
        "balance body_roll 0 deg -2 to 2 deg left_tilt * 1, right_tilt * 1 in standing, centre_1, centre_2"
        in lines
    )
    tilt = (
        "right_tilt right_leg_roll lean - 2 deg + balance -4 to 4 deg right_hip * 1, right_ankle * 1 always"
    )
    assert tilt in lines
    assert "left_hip left_hip_pot lean + left_tilt -1 to 1 left_hip_motor always" in lines
    motor = "left_knee_motor -1 to 1 0.08 a tick full scale at 6.6 V of battery; cut under 9.6 V for 1 s"
    stall = "beyond 0.45 for 1.5 s while left_knee moves less than 2 mm"
    assert f"{motor} {stall}" in lines
    assert "the outputs go off at the end; left_knee_motor, right_knee_motor may sink" in lines


def test_a_machine_without_motors_has_no_such_tables() -> None:
    from support.gaits import plan_of

    assert not {"loops", "outputs"} & set(plan_text(plan_of()).splitlines())
