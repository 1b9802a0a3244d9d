"""What the checks call impossible, held against runs: such a guard must never fire in the reference executor.

Walks and inputs are random; samples stay within the signals' spans and parameters as they stand, since that
is what the findings speak of.
"""

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from support.random_plans import random_block, random_plan

from sequencer.base.findings import Finding
from sequencer.base.places import Place
from sequencer.check.order import check_order
from sequencer.check.questions import Askers
from sequencer.check.satisfiable import check_satisfiable
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, FALSE, NOT_LOOKED_AT, TRUE, HistoryBlock
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_VALUE, TickBlock

PLANS = 120
TICKS = 300
NEVER_FIRES = {"never-true", "shadowed-guard", "shadowed-by-anywhere"}


def placed(plan: Plan) -> Plan:
    """Give every exit a place of its own: line = guard index + 1; `anywhere` entries alike."""

    def line(guard: int) -> Place:
        return Place("walk.gait.yaml", guard + 1, 1)

    sequences = tuple(
        replace(
            sequence,
            phases=tuple(
                replace(phase, exits=tuple(replace(way, place=line(way.guard)) for way in phase.exits))
                for phase in sequence.phases
            ),
        )
        for sequence in plan.sequences
    )
    anywhere = tuple(replace(entry, place=line(entry.guard)) for entry in plan.anywhere)
    rules = tuple(replace(rule, place=line(rule.guard)) for rule in plan.rules)
    return replace(plan, sequences=sequences, anywhere=anywhere, rules=rules)


def within_spans(plan: Plan, block: TickBlock, rng: Random) -> TickBlock:
    """Keep what comes, but as values that lie within the spans; nothing is written."""
    raw = np.zeros_like(block.raw)
    fresh = np.where(block.fresh != 0, FRESH_VALUE, 0).astype(np.uint8)
    for row in range(len(block)):
        for column, signal in enumerate(plan.signals):
            value = float(block.raw[row, column])
            inside = value if signal.low <= value <= signal.high else rng.uniform(signal.low, signal.high)
            raw[row, column] = np.clip(np.float32(inside), np.float32(signal.low), np.float32(signal.high))
    return replace(block, raw=raw, fresh=fresh, writes=())


def believing(plan: Plan) -> Plan:
    """Take out what narrows the values further than the spans do."""
    return replace(plan, signals=tuple(replace(s, believe=None, gain=1.0, bias=0.0) for s in plan.signals))


def fired(plan: Plan, history: HistoryBlock) -> set[int]:
    """The guards that fired in a run."""
    found = set()
    before = np.vstack([history.phase[:1], history.phase[:-1]])
    for row, sequence in zip(*np.nonzero(history.cause), strict=True):
        kind, number = divmod(int(history.cause[row, sequence]), 256)
        if kind == BY_GUARD:
            phase = plan.sequences[sequence].phases[before[row, sequence]]
            found.add(phase.exits[number].guard)
        elif kind == BY_ANYWHERE:
            found.add(plan.anywhere[number].guard)
    return found


Cases = list[tuple[Plan, list[Finding], HistoryBlock]]


@pytest.fixture(scope="module")
def cases() -> Cases:
    made = []
    for seed in range(PLANS):
        rng = Random(seed)
        drawn, pool = random_plan(rng)
        plan = placed(believing(drawn))
        askers = Askers(plan)
        findings = check_satisfiable(plan, askers) + check_order(plan, askers)
        block = within_spans(plan, random_block(rng, plan, pool, TICKS), rng)
        made.append((plan, findings, ReferenceExecutor(plan).run(block, detail=True)))
    return made


def test_what_is_called_impossible_never_happens_in_a_run(cases: Cases) -> None:
    judged, firing = 0, 0
    for plan, findings, history in cases:
        impossible = {f.place.line - 1 for f in findings if f.code in NEVER_FIRES}
        happened = fired(plan, history)
        assert impossible & happened == set(), [f for f in findings if f.place.line - 1 in happened]
        judged += len(impossible)
        firing += len(happened)
    assert judged > 100
    assert firing > 100


def test_what_is_called_always_true_is_never_false_in_a_run(cases: Cases) -> None:
    looked_at = 0
    for plan, findings, history in cases:
        assert history.detail is not None
        for finding in findings:
            guard = plan.guards[finding.place.line - 1]
            if finding.code != "always-true" or len(guard.leaves) > 1:
                continue
            truth = history.detail.truth[:, guard.leaves[0]]
            negated = sum(node.kind == "not" for node in guard.nodes) % 2 == 1
            assert not np.any(truth == (TRUE if negated else FALSE))
            looked_at += int(np.sum(truth != NOT_LOOKED_AT))
    assert looked_at > 100
