"""A robot's walk, told from the springs in its shanks, against its contact signal.

Thresholds were chosen on the left leg and are judged on the right one.
"""

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from support.recordings import EXECUTORS, FOLDER, Segmented, gait, segment
from support.segmentation import table
from support.walks import crossings, robot_matches

RECORDING = FOLDER / "two_legged_robot.csv"
MAPPING = {f"{leg}_shank_spring": f"{leg}_shank_spring_deg" for leg in ("left", "right")}


def walk(executor: str, **parameters: float) -> Segmented:
    plan = gait("two_legged_robot")
    values = {p.name: p.value for p in plan.parameters} | parameters
    changed = tuple(dataclasses.replace(p, value=values[p.name]) for p in plan.parameters)
    return segment(dataclasses.replace(plan, parameters=changed), EXECUTORS[executor], RECORDING, MAPPING)


def good(got: Segmented) -> bool:
    return all(m.recall == 1 and m.precision == 1 for m in robot_matches(got, "right"))


@pytest.mark.parametrize("executor", EXECUTORS)
def test_every_touch_and_lift_of_the_right_leg_is_found_within_20_ms(
    executor: str, print_table: Callable[[str], None]
) -> None:
    got = walk(executor)
    lines = []
    for leg, use in (("left", "tuned on"), ("right", "judged on")):
        touches, lifts = robot_matches(got, leg)
        lines += [(f"{leg} leg ({use}), touch", touches), (f"{leg} leg ({use}), lift", lifts)]
    print_table(table(f"two-legged robot, 500 Hz, {executor}", lines))
    touches, lifts = robot_matches(got, "right")
    assert (touches.referenced, lifts.referenced) == (17, 18)
    assert (touches.recall, lifts.recall) == (1, 1)
    assert (touches.precision, lifts.precision) == (1, 1)
    assert good(got)


def test_the_executors_agree_in_every_tick() -> None:
    phases = [walk(executor).phase for executor in EXECUTORS]
    assert len(phases[0]) > 4_900
    assert np.array_equal(*phases)


@pytest.mark.parametrize(("loaded", "free"), [(-1.0, -1.0), (-1.2, -1.0), (-1.1, -1.1), (-1.1, -0.95)])
def test_the_thresholds_stand_amid_a_range_that_does_as_well(loaded: float, free: float) -> None:
    got = walk("reference", loaded=loaded, free=free)
    for leg in ("left", "right"):
        assert [m.recall for m in robot_matches(got, leg)] == [1, 1]


@pytest.mark.parametrize(
    "fault", [{"loaded": -2.3}, {"loaded": -0.5}, {"free": -0.3}, {"free": -2.0}], ids=str
)
def test_a_wrong_threshold_is_noticed(fault: dict[str, float]) -> None:
    assert not good(walk("reference", **fault))


def test_a_contact_signal_crosses_one_half_at_the_sample_that_is_beyond() -> None:
    touches, lifts = crossings(np.array([0.0, 0.1, 0.2, 0.3]), np.array([0.0, 0.6, 1.0, 0.5]))
    assert (touches.tolist(), lifts.tolist()) == ([0.1], [0.3])
