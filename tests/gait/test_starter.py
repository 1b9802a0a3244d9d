import itertools
from pathlib import Path

import pytest

from sequencer.base.errors import MisuseError
from sequencer.base.findings import Severity
from sequencer.check import check
from sequencer.gait.starter import SENSORS, leg_names, starter, stepping_order
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan

KINDS = [
    (legs, joints, sensors)
    for legs, joints in itertools.product(range(2, 9), [(), ("hip", "knee", "foot"), ("lift",)])
    for sensors in [("joint",), ("joint", "tilt"), SENSORS]
    if not (legs == 2 and len(joints) == 1)
]


def plan_of(folder: Path, **words: object) -> Plan:
    files = starter("crab", **words)  # type: ignore[arg-type]
    (folder / files.machine_name).write_text(files.machine, encoding="utf-8")
    (folder / files.gait_name).write_text(files.gait, encoding="utf-8")
    return load_plan(folder / files.gait_name)


@pytest.mark.parametrize(("legs", "joints", "sensors"), KINDS)
def test_what_is_written_passes_the_check(
    tmp_path: Path, legs: int, joints: tuple[str, ...], sensors: tuple[str, ...]
) -> None:
    findings = check(plan_of(tmp_path, legs=legs, joints=joints, sensors=sensors))
    assert [f for f in findings if f.severity is not Severity.NOTE] == []


@pytest.mark.parametrize(("legs", "joints", "sensors"), KINDS)
def test_its_lines_are_short_enough_to_read(
    legs: int, joints: tuple[str, ...], sensors: tuple[str, ...]
) -> None:
    files = starter("crab", legs=legs, joints=joints, sensors=sensors)
    assert max(map(len, (files.machine + files.gait).splitlines())) <= 130


# S.-M. Song and K. J. Waldron, Machines That Walk (MIT Press 1989), cited from memory: wave gait touch-down
# times, quadruped with duty 3/4: LF 0, RR .25, RF .5, LR .75; hexapod with duty 5/6: L1 0, R3 1/6, R2 1/3,
# R1 1/2, L3 2/3, L2 5/6
def test_legs_step_in_the_order_of_the_wave_gait() -> None:
    assert stepping_order(4) == ("lf", "rh", "rf", "lh")
    assert stepping_order(6) == ("l1", "r3", "r2", "r1", "l3", "l2")


@pytest.mark.parametrize("legs", range(3, 9))
def test_every_leg_steps_once(legs: int) -> None:
    assert sorted(stepping_order(legs)) == sorted(leg_names(legs))
    assert len(set(leg_names(legs))) == legs


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"legs": 1}, "1 legs"),
        ({"legs": 9}, "9 legs"),
        ({"joints": ("lean",)}, "two joints"),
        ({"joints": ("lean", "lean")}, "named twice"),
        ({"joints": ("lean", "class")}, "class"),
        ({"joints": ("lean", "two words")}, "two words"),
        ({"sensors": ("tilt",)}, "timer"),
        ({"sensors": ("joint", "radar")}, "radar"),
    ],
)
def test_a_machine_that_cannot_walk_so_is_refused(words: dict[str, object], message: str) -> None:
    with pytest.raises(MisuseError, match=message):
        starter("crab", **words)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["", "2legs", "a b", "int", "a*/b", "x" * 80, "é"])
def test_a_name_that_cannot_be_used_is_refused(name: str) -> None:
    with pytest.raises(MisuseError):
        starter(name)
