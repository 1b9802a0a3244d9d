"""Runs of small plans by hand, recorded with all their ticks."""

from collections.abc import Sequence

from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.recorder import Recorder
from sequencer.history.run import Run
from sequencer.plan.tables import Plan
from support.play import Tick, tick_block


def record(plan: Plan, ticks: Sequence[Tick], *, detail: bool = True, keep_ticks: bool = True) -> Run:
    """Run the ticks in the reference executor and give the run."""
    recorder = Recorder(plan, keep_ticks=keep_ticks)
    block = tick_block(plan, ticks)
    recorder.add(block, ReferenceExecutor(plan).run(block, detail=detail))
    return recorder.finish()
