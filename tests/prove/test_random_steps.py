"""Random gaits in whole steps on emulated controllers: the same as the reference, to the last bit."""

import re
from pathlib import Path

import pytest
from support.effort import many
from support.prove import EVERY, differences, plant, random_cases
from support.random_steps import steps_drives_plan, steps_plan
from support.whole_stork import whole_stork

from sequencer.plan.tables import Plan
from sequencer.plan.whole_steps import steps_of
from sequencer.prove.controllers import controller
from sequencer.prove.inputs import Trace, random_traces
from sequencer.prove.report import Row
from sequencer.prove.run import prove

TICKS, TOGETHER = 1000, 10
BOTH = ("atmega2560", "cortex-m3")


@pytest.mark.parametrize("share", range(many(3, 6)))
@pytest.mark.parametrize("name", BOTH)
def test_random_gaits_in_steps_agree_on_8_and_32_bits(name: str, share: int, tmp_path: Path) -> None:
    cases = random_cases(f"steps/{share}", TOGETHER, TICKS, steps_plan)
    assert differences(name, cases, tmp_path) == [], f"share {share} on {name}"


@pytest.mark.parametrize("name", ["host", "atmega2560", "cortex-m4f"])
def test_random_gaits_in_steps_agree_as_they_are_generated(name: str, tmp_path: Path) -> None:
    cases = random_cases("steps/plain", TOGETHER, TICKS, steps_plan)
    assert differences(name, cases, tmp_path, watched=False) == []


@pytest.mark.parametrize("watched", [False, True])
@pytest.mark.parametrize("name", ["atmega2560", "cortex-m3", "cortex-m4f"])
def test_random_loops_around_steps_agree(name: str, watched: bool, tmp_path: Path) -> None:
    cases = random_cases("steps/drives", 6, TICKS, steps_drives_plan)
    assert differences(name, cases, tmp_path, watched=watched) == []


# -- planted faults ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stork(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, list[Trace]]:
    plan = whole_stork(tmp_path_factory.mktemp("stork"))
    return plan, list(random_traces(plan, many(2, 6), 2000))


def row(case: tuple[Plan, list[Trace]], name: str) -> Row:
    return prove(*case, [controller(name)]).rows[0]


@pytest.mark.parametrize("name", EVERY)
def test_the_stork_in_steps_is_equal_everywhere(stork: tuple[Plan, list[Trace]], name: str) -> None:
    done = row(stork, name)
    assert (done.outcome, done.differing) == ("equal", 0), done


FAULTS = {
    "a threshold that is off by one step": (r"-{limit}, {limit}\)", "-{limit}, {more})"),
    "a step of the ramp that is one too long": (r"step = {step};", "step = {step} + 1;"),
    "a signal lost a millisecond early": (r"silence > 100UL?", "silence >= 100UL"),
    "one fresh sample more": (r">= samples\b", "> samples"),
    "a scale whose multiplier is off by one": (r"32379 \*", "32380 *"),
}


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize(("old", "new"), FAULTS.values(), ids=FAULTS)
def test_a_fault_is_found_on_every_controller(
    stork: tuple[Plan, list[Trace]], name: str, old: str, new: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, _ = stork
    assert plan.fixed is not None
    limit = steps_of(25.0, plan.fixed.signals[2])  # of body_roll
    rate = plan.setpoints[0].rate
    assert rate is not None
    step = steps_of(rate.step, plan.fixed.setpoints[0])
    there, wrong = (text.format(limit=limit, more=limit + 1, step=step) for text in (old, new))
    plant(monkeypatch, lambda text: re.sub(there, wrong, text))
    done = row(stork, name)
    assert done.outcome == "differs"
    assert done.first is not None and not done.first.watched
