"""Faults planted into the generated code: the proof must find each of them on every controller."""

import re
from pathlib import Path

import pytest
from support.feature_plans import feature_plans
from support.prove import EVERY, differences, plant, random_cases

from sequencer.generate.render import generate
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import controller
from sequencer.prove.inputs import Trace, random_traces
from sequencer.prove.report import Row
from sequencer.prove.run import prove


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
