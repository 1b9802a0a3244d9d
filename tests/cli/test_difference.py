"""When the two executors disagree, the command says where, and fails."""

from dataclasses import replace

import pytest
from support.commands import STORK, call

import sequencer.api
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.compare import TwinExecutor
from sequencer.plan.tables import Plan


def test_the_first_tick_that_differs_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    def planted(plan: Plan, name: str) -> TwinExecutor:
        """Two readable executors, the second with a timeout that is one tick longer."""
        assert name == "both"
        (sequence,) = plan.sequences
        phases = list(sequence.phases)
        timeout = phases[1].timeout
        assert timeout is not None
        phases[1] = replace(phases[1], timeout=replace(timeout, after_ms=timeout.after_ms + plan.tick_ms))
        other = replace(plan, sequences=(replace(sequence, phases=tuple(phases)),))
        return TwinExecutor(ReferenceExecutor(plan), ReferenceExecutor(other))

    monkeypatch.setattr(sequencer.api, "make_executor", planted)
    fault = ("--fault", "left_leg_roll:limit=11deg")
    done = call("dry-run", STORK, *fault, "--for", "10s", "--executor", "both")
    assert done.returncode == 1
    assert done.stdout == ""
    assert "differ in tick 600: phase of " in done.stderr
    assert "first, this tick:" in done.stderr and "second, this tick:" in done.stderr
    assert "Traceback" not in done.stderr
