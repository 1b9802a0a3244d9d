"""The clock wraps in the middle of every phase of the stork: the walk goes on as if it had not."""

from dataclasses import replace

import numpy as np
import pytest
from support.commands import STORK

from sequencer.executors.reference import ReferenceExecutor
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.prove.inputs import Trace, followed
from sequencer.prove.run import prove

WRAP = 2**32
TICKS = 900


def wrapping(plan: Plan, walk: Trace) -> dict[str, Trace]:
    """The same walk with clocks that wrap half way through each phase in turn."""
    phase = ReferenceExecutor(plan).run(walk.block).phase[:, 0]
    traces = {}
    for index, row in enumerate(plan.sequences[0].phases):
        stays = np.flatnonzero(phase == index)
        if not len(stays):
            continue
        middle = int(stays[0] + np.argmax(np.append(np.diff(stays) > 1, True)) // 2) + 1
        start = WRAP - middle * plan.tick_ms
        now = ((np.arange(TICKS, dtype=np.int64) * plan.tick_ms + start) % WRAP).astype(np.uint32)
        assert phase[middle] == index
        assert now[middle] == 0
        traces[row.name] = Trace(f"wraps in {row.name}", replace(walk.block, now=now))
    return traces


@pytest.fixture(scope="module")
def stork() -> Plan:
    return load_plan(STORK)


def test_the_clock_may_wrap_in_the_middle_of_every_phase(stork: Plan) -> None:
    walk = followed(stork, TICKS)
    usual = ReferenceExecutor(stork).run(walk.block)
    traces = wrapping(stork, walk)
    assert set(traces) == {row.name for row in stork.sequences[0].phases if row.stop is None}
    for trace in traces.values():
        record = ReferenceExecutor(stork).run(trace.block)
        assert np.array_equal(record.phase, usual.phase), trace.name
        assert np.array_equal(record.output.view(np.uint32), usual.output.view(np.uint32)), trace.name
    proof = prove(stork, list(traces.values()))
    assert [(row.outcome, row.differing) for row in proof.rows] == [("equal", 0)] * 5
    assert all(row.ticks == 2 * len(traces) * TICKS for row in proof.rows)
