"""A person's walk, told by threshold guards from foot-mounted sensors, against motion capture.

Thresholds were chosen on person A and are judged on person B, whose sensors sit differently.
"""

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from support.recordings import EXECUTORS, FEET, FOLDER, TIP_RATES, Segmented, gait, segment
from support.segmentation import table
from support.walks import person_a_matches, person_b, whole_strides

PERSON_A, PERSON_B = FOLDER / "person_a.csv", FOLDER / "person_b.csv"
SAMPLE_MS = 1000 / 204.8
LEAST_RECALL, LEAST_PRECISION = 0.98, 0.95
MOST_MEDIAN_MS = max(10, 1.5 * SAMPLE_MS)


def walk(executor: str, recording: Path = PERSON_A, machine: str | None = None) -> Segmented:
    return segment(gait("person", machine), EXECUTORS[executor], recording, TIP_RATES)


def good(got: Segmented) -> bool:
    contacts, toe_offs = person_a_matches(got)
    timely = contacts.median_ms <= MOST_MEDIAN_MS
    found = min(contacts.recall, toe_offs.recall) >= LEAST_RECALL
    return timely and found and min(contacts.precision, toe_offs.precision) >= LEAST_PRECISION


@pytest.mark.parametrize("executor", EXECUTORS)
def test_contacts_of_person_a_are_found_close_to_motion_capture(
    executor: str, print_table: Callable[[str], None]
) -> None:
    got = walk(executor)
    lines = []
    for name, feet in (("left foot", FEET[:1]), ("right foot", FEET[1:]), ("both feet", FEET)):
        contacts, toe_offs = person_a_matches(got, feet=feet)
        lines += [(f"{name}, contact", contacts), (f"{name}, toe-off", toe_offs)]
    print_table(table(f"person A, 204.8 Hz, {executor}", lines))
    contacts, toe_offs = person_a_matches(got)
    assert contacts.referenced == 59
    assert contacts.recall >= LEAST_RECALL
    assert contacts.median_ms <= MOST_MEDIAN_MS
    assert good(got)


@pytest.mark.parametrize("executor", EXECUTORS)
def test_every_referenced_stride_of_person_b_is_found(
    executor: str, print_table: Callable[[str], None]
) -> None:
    whole = whole_strides(walk(executor, PERSON_B))
    print_table(f"person B, 102.4 Hz, {executor}: {len(whole)} of {len(person_b())} referenced strides found")
    assert whole == list(person_b())


@pytest.mark.parametrize("executor", EXECUTORS)
def test_strides_of_person_b_last_as_long_as_referenced(executor: str) -> None:
    """The borders are not contacts; but from one contact to the next is a stride, too."""
    got = walk(executor, PERSON_B)
    compared = 0
    for (foot, start, end), (other, next_start, next_end) in zip(person_b(), person_b()[1:], strict=False):
        if foot != other or end != next_start:
            continue
        landings = got.entered_s[foot, "landing"]
        period = np.diff(landings[(landings > start) & (landings < next_end)])
        assert period == pytest.approx([next_end - next_start], rel=0.05)
        compared += 1
    assert compared == 6


@pytest.mark.parametrize("recording", [PERSON_A, PERSON_B], ids=["A", "B"])
def test_the_executors_agree_in_every_tick(recording: Path) -> None:
    phases = [walk(executor, recording).phase for executor in EXECUTORS]
    assert len(phases[0]) > 19_000
    assert np.array_equal(*phases)


def test_a_sensor_that_reads_toe_up_as_positive_takes_the_other_machine_file(tmp_path: Path) -> None:
    lines = PERSON_A.read_text(encoding="utf-8").splitlines()
    names = lines[0].split(",")
    at = [names.index(column) for column in TIP_RATES.values()]
    turned = [lines[0]]
    for line in lines[1:]:
        cells = line.split(",")
        for i in at:
            cells[i] = repr(-float(cells[i]))
        turned.append(",".join(cells))
    path = tmp_path / "turned.csv"
    path.write_text("\n".join(turned), encoding="utf-8")
    as_recorded, as_turned = walk("reference"), walk("reference", path, "person_toe_up.machine.yaml")
    assert np.array_equal(as_recorded.phase, as_turned.phase)


# -- faults planted on purpose: the same judgement must not pass -------------------------------------------


def with_parameter(name: str, value: float) -> Segmented:
    plan = gait("person")
    parameters = [dataclasses.replace(p, value=value) if p.name == name else p for p in plan.parameters]
    assert parameters != list(plan.parameters)
    changed = dataclasses.replace(plan, parameters=tuple(parameters))
    return segment(changed, EXECUTORS["reference"], PERSON_A, TIP_RATES)


def test_the_judgement_passes_without_a_fault() -> None:
    assert good(walk("reference"))


def test_a_turned_sign_is_noticed() -> None:
    assert not good(walk("reference", machine="person_toe_up.machine.yaml"))


@pytest.mark.parametrize(("name", "value"), [("touch", -60.0), ("touch", 60.0), ("toe_up", 250.0)])
def test_a_wrong_threshold_is_noticed(name: str, value: float) -> None:
    assert not good(with_parameter(name, value))


def test_events_that_come_late_are_noticed() -> None:
    got = walk("reference")
    late = {key: times + 0.03 for key, times in got.entered_s.items()}
    assert not good(Segmented(got.phase, late))
