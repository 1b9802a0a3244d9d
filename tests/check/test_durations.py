"""How long phases take: the check's figures against runs of the reference executor."""

from itertools import pairwise

import numpy as np
import pytest
from support.commands import REPOSITORY

from sequencer.check.durations import durations, round_ms
from sequencer.executors.reference import ReferenceExecutor
from sequencer.plan.build import load_plan, parse_plan
from sequencer.prove.inputs import followed

STORK = REPOSITORY / "examples" / "stork" / "stork.gait.yaml"
LEG = (REPOSITORY / "tests" / "corpus" / "sound" / "crab-leg.gait.yaml").read_text(encoding="utf-8")


def test_the_storks_phases_take_as_long_in_a_run_as_was_worked_out() -> None:
    """Joints that follow at once and with the noise of the example: within 5 percent and 30 ms."""
    plan = load_plan(STORK)
    phase = ReferenceExecutor(plan).run(followed(plan, 4000).block).phase[:, 0]
    changes = np.flatnonzero(np.diff(phase)) + 1
    taken: dict[int, list[float]] = {}
    for begin, end in pairwise(changes):
        taken.setdefault(int(phase[begin]), []).append((end - begin) * plan.tick_ms)
    found = {d.phase: d for d in durations(plan)}
    compared = 0
    for index, times in taken.items():
        usual, worst = found[index].usual_ms, found[index].worst_ms
        if usual is not None and worst is not None:
            compared += 1
            assert np.median(times) == pytest.approx(usual, rel=0.05, abs=30)
            assert max(times) <= worst
    assert compared == 8


def test_a_round_is_the_sum_of_its_phases() -> None:
    plan = load_plan(STORK)
    found = durations(plan)
    walking = [d.usual_ms for d in found if d.usual_ms is not None]
    assert round_ms(plan, found, 0) == pytest.approx(sum(walking))
    assert len(walking) == 8


def test_by_hand() -> None:
    """40 mm less 3 mm at 60 mm/s; a sample of 10 ms; three in a row, 30 ms; the tick after the entry."""
    plan = parse_plan(LEG)
    lift = next(d for d in durations(plan) if plan.sequences[0].phases[d.phase].name == "lift")
    assert lift.usual_ms == pytest.approx(37 / 60 * 1000 + 10 + 30 + 10)
    assert lift.worst_ms == pytest.approx(37 / 60 * 1000 * 1.1 + 10 + 30)
    assert lift.timeout_ms == 3000


def test_what_is_not_commanded_has_no_time() -> None:
    plan = parse_plan(LEG.replace("{at_target: bend, tolerance: 3 mm}", "{signal: tilt, above: 3 deg}"))
    lift = next(d for d in durations(plan) if plan.sequences[0].phases[d.phase].name == "lift")
    assert lift.usual_ms is None
    assert round_ms(plan, durations(plan), 0) is None
