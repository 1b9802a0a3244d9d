"""Faults planted into the generated code: the proof must find each of them on every controller."""

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from support.commands import STORK
from support.feature_plans import feature_plans
from support.planted import one_ulp_up
from support.prove import EVERY, differences, plant, random_cases

from sequencer.generate.render import generate
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import controller
from sequencer.prove.inputs import Trace, first_ticks, random_traces, recorded
from sequencer.prove.report import Row
from sequencer.prove.run import prove
from sequencer.trace.blocks import FRESH_VALUE, RESET, TickBlock, empty_block


@pytest.fixture(scope="module")
def holds() -> tuple[Plan, list[Trace]]:
    """A walk with thresholds of 5 and 4 and holds of 300 ms and of 3 samples, and random inputs."""
    plan = feature_plans()["holds"]
    return plan, list(random_traces(plan, 4, 1500))


def row(case: tuple[Plan, list[Trace]], name: str, *flags: str) -> Row:
    plan, traces = case
    return prove(plan, traces, [controller(name)], flags=flags).rows[0]


@pytest.mark.parametrize("name", EVERY)
def test_without_a_fault_all_is_equal(holds: tuple[Plan, list[Trace]], name: str) -> None:
    done = row(holds, name)
    assert (done.outcome, done.differing, done.first, done.ticks) == ("equal", 0, None, 2 * 4 * 1500)


FAULTS = {
    "a threshold that is off by one unit in the last place": (r"\b5\.0F", "5.0000005F"),
    "a hold one tick long": (r">= ms\b", "> ms"),
    "one fresh sample more": (r">= samples\b", "> samples"),
    "a timeout one tick late": (r"limit = 5000UL?", "limit = 5001UL"),
}


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize(("old", "new"), FAULTS.values(), ids=FAULTS)
def test_a_fault_is_found_on_every_controller(
    holds: tuple[Plan, list[Trace]], name: str, old: str, new: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant(monkeypatch, lambda text: re.sub(old, new, text))
    done = row(holds, name)
    assert done.outcome == "differs"
    assert done.first is not None and done.differing > 0
    assert not done.first.watched, "it shows in what the code does, not only in margins"
    assert "first, this tick:" in done.first.difference.states


@pytest.mark.parametrize("name", EVERY)
def test_state_that_begin_forgets_is_found(
    holds: tuple[Plan, list[Trace]], name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Programs start on memory that is not clean; on clean memory nobody would notice."""
    plant(monkeypatch, lambda text: re.sub(r"s\.seen\[i\] = 0U;", "", text))
    assert row(holds, name).outcome == "differs"


def test_a_program_that_hangs_or_crashes_is_not_equal(
    holds: tuple[Plan, list[Trace]], monkeypatch: pytest.MonkeyPatch
) -> None:
    trap = "void reset(State& s) { static_cast<void>(s); __builtin_trap(); }"
    plant(monkeypatch, lambda text: re.sub(r"void reset\(State& s\) {[^}]*}", trap, text))
    for name in ("host", "atmega2560", "cortex-m3"):
        done = row(holds, name)
        assert (done.outcome, done.first) == ("failed", None), name
        assert done.reason


# -- loops and outputs --------------------------------------------------------------------------------------

IN_DRIVES = {
    "a gain": r"multiplied\(([0-9.e-]+F), e\);  // kp",
    "an integral's coefficient": r"multiplied\(([0-9.e-]+F), e\)\) \+",
    "the supply's full scale": r"\b(6\.6F)",
}


@pytest.fixture(scope="module")
def stork() -> tuple[Plan, list[Trace]]:
    """The stork on the first seconds of a recorded walk."""
    plan = load_plan(STORK)
    return plan, [first_ticks(recorded(str(STORK.parent / "recordings" / "walk.csv"), plan), 1000)]


@pytest.mark.parametrize("name", ["host", "atmega2560", "cortex-m3", "cortex-m4f"])
@pytest.mark.parametrize("pattern", IN_DRIVES.values(), ids=IN_DRIVES)
def test_one_unit_in_the_last_place_of_a_loop_is_found(
    stork: tuple[Plan, list[Trace]], name: str, pattern: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def change(text: str) -> str:
        return re.sub(pattern, lambda m: m[0].replace(m[1], one_ulp_up(m[1])), text)

    plant(monkeypatch, change, "_loops")
    done = row(stork, name)
    assert done.outcome == "differs"
    assert done.first is not None and not done.first.watched
    assert done.first.difference.field.startswith(("loop of ", "output of "))


@pytest.mark.parametrize("name", ["atmega2560", "cortex-m4f"])
def test_a_wrong_state_of_an_output_is_found(
    stork: tuple[Plan, list[Trace]], name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, _ = stork
    plant(monkeypatch, lambda text: text.replace("OutputState::off", "OutputState::cut"), "_loops")
    done = row((plan, list(random_traces(plan, 2, 1000))), name)
    assert done.outcome == "differs" and done.first is not None
    assert done.first.difference.field.startswith("output_state of ")


def _stuck(plan: Plan) -> TickBlock:
    """A joint far from its setpoint that does not move: its motor stalls, and after a reset again."""
    block = empty_block(600, len(plan.signals))
    block.now[:] = np.arange(600) * plan.tick_ms
    block.raw[:], block.fresh[:] = (-20.0, 12.0), FRESH_VALUE
    block.control[300] = RESET
    return block


@cache
def feature(name: str) -> tuple[Plan, list[Trace]]:
    """A walk of one feature and the inputs on which its faults must show."""
    plan = feature_plans()[name]
    if name == "outputs":
        return plan, [Trace("stuck", _stuck(plan)), *random_traces(plan, 4, 1500)]
    return plan, list(random_traces(plan, 12, 1500))


@cache
def as_generated(name: str, controller_name: str) -> str:
    """What the proof says of the walk before a fault is planted, asked once for all faults."""
    return row(feature(name), controller_name).outcome


A_TICK_LATE = {
    "a stall": r"(stood_since\[\w+\]\)) >= ms",
    "a supply under its least value": r"(under_since\[\w+\]\)) >= ms",
}


@pytest.mark.parametrize("name", ["host", "atmega2560", "cortex-m3", "cortex-m4f"])
@pytest.mark.parametrize("pattern", A_TICK_LATE.values(), ids=A_TICK_LATE)
def test_an_output_that_is_cut_a_tick_late_is_found(
    name: str, pattern: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert as_generated("outputs", name) == "equal"
    plant(monkeypatch, lambda text: re.sub(pattern, r"\1 > ms", text), "_loops")
    done = row(feature("outputs"), name)
    assert done.outcome == "differs" and done.first is not None
    assert done.first.difference.field.startswith(("output of ", "output_state of "))


# -- numbers that parameters give, and single steps ----------------------------------------------------------

IN_LIVE = {
    "a gain that a parameter gives": (
        "named_numbers", "_loops", r"(m\.parameter\[parameter_hip_kp\]), e\)", r"\1 * 1.0000001F, e)",
    ),
    "a zero that a parameter gives": (
        "named_numbers", "", r"- (s\.parameter\[parameter_tilt_zero\])", r"- (\1 * 1.0000001F)",
    ),
    "a step that nobody takes": ("helping", "", r"\(in_single_steps \| single_step\)", "in_single_steps"),
    "a timeout one tick late while somebody helps": ("helping", "", r"limit = 900U", "limit = 901U"),
}  # fmt: skip


@pytest.mark.parametrize("name", ["host", "atmega2560", "cortex-m3", "cortex-m4f"])
@pytest.mark.parametrize(("plan", "part", "old", "new"), IN_LIVE.values(), ids=IN_LIVE)
def test_a_fault_in_what_is_trimmed_or_helped_is_found(
    plan: str, part: str, old: str, new: str, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert as_generated(plan, name) == "equal"
    plant(monkeypatch, lambda text: re.sub(old, new, text), part)
    done = row(feature(plan), name)
    assert done.outcome == "differs"
    assert done.first is not None and not done.first.watched


# -- fused multiply-add: the controller with a float unit has it, and compilers like to use it ---------------

FUSED = "-ffp-contract=fast"


def test_the_source_itself_forbids_contraction(tmp_path: Path) -> None:
    assert differences("cortex-m4f", random_cases("fused", 10, 500), tmp_path, FUSED) == []


def test_without_the_stored_product_contraction_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same sources with the product not stored: the same test must then find a difference."""
    cases = random_cases("fused", 10, 500)
    with_product = [c for c in cases if "stored" in generate(c.plan)[f"{c.plan.name}.cpp"]]
    plant(monkeypatch, lambda text: text.replace("const volatile float stored", "const float stored"))
    assert differences("cortex-m4f", with_product, tmp_path, FUSED) != []
