"""Faults of safety and leftovers planted one by one into every sound walk: each must be found."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from support.changed import with_phase
from support.commands import REPOSITORY

from sequencer.base.places import Place
from sequencer.check import check
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan, parse_plan

WALKS = [
    *sorted((REPOSITORY / "tests" / "corpus" / "sound").glob("*.gait.yaml")),
    *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml")),
]
HERE = Place("planted.gait.yaml", 9000, 1)
Mutant = tuple[t.Plan, str]


def moves(plan: t.Plan) -> bool:
    return any(p.commands for s in plan.sequences for p in s.phases)


def leave_a_stop_by_a_signal(plan: t.Plan) -> Iterator[Mutant]:
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            onward = [way for way in phase.exits if sequence.phases[way.to].stop is None]
            if phase.stop is None or not onward or not plan.signals or not moves(plan):
                continue
            of = plan.signals[0]
            leaf = t.Compare(
                "at_least", "signal", 0, t.Level(of.low), None, None, None, None, of.unit, HERE
            )  # fmt: skip
            node = t.Node("leaf", len(plan.leaves))
            guard = t.Guard(len(plan.guards), (node,), (len(plan.leaves),), None, HERE)
            changed = replace(plan, leaves=(*plan.leaves, leaf), guards=(*plan.guards, guard))
            exits = (*phase.exits, t.Exit(guard.index, onward[0].to, HERE))
            yield with_phase(changed, s, i, exits=exits), "stop-left-alone"


def leave_a_stop_by_a_timeout(plan: t.Plan) -> Iterator[Mutant]:
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            if phase.stop is not None and sequence.phases[0].stop is None and moves(plan):
                yield with_phase(plan, s, i, timeout=t.Timeout(5000, 0, HERE)), "stop-left-alone"


def ignore_the_remote(plan: t.Plan) -> Iterator[Mutant]:
    """Every question for the remote's loss becomes one for the first event."""
    if plan.remote is None or not plan.events or not moves(plan):
        return
    leaves = tuple(
        t.OnEvent(0, leaf.place) if isinstance(leaf, t.Lost) and leaf.signal is None else leaf
        for leaf in plan.leaves
    )
    yield replace(plan, leaves=leaves, remote=replace(plan.remote, place=HERE)), "remote-unnoticed"


def ignore_a_loss(plan: t.Plan) -> Iterator[Mutant]:
    """A signal that a walk waits for, and for whose loss nobody asks any more."""
    waited = {
        f.signal
        for s in plan.sequences
        for p in s.phases
        if not p.rest and p.stop is None
        for way in p.exits
        for leaf in (plan.leaves[k] for k in plan.guards[way.guard].leaves)
        if isinstance(leaf, t.Follow)
        for f in plan.setpoints[leaf.setpoint].followers
    }
    for signal in sorted(waited):
        if plan.signals[signal].lost_after_ms is None:
            continue
        leaves = tuple(
            t.OnEvent(0, leaf.place) if isinstance(leaf, t.Lost) and leaf.signal == signal else leaf
            for leaf in plan.leaves
        )
        signals = list(plan.signals)
        signals[signal] = replace(signals[signal], place=HERE)
        yield replace(plan, leaves=leaves, signals=tuple(signals)), "loss-unnoticed"


def take_a_rate_away(plan: t.Plan) -> Iterator[Mutant]:
    for i, setpoint in enumerate(plan.setpoints):
        levels = {c.level for s in plan.sequences for p in s.phases for c in p.commands if c.setpoint == i}
        if setpoint.followers and len(levels) > 1:
            setpoints = list(plan.setpoints)
            setpoints[i] = replace(setpoint, rate=None, place=HERE)
            yield replace(plan, setpoints=tuple(setpoints)), "jump"


def let_a_loop_correct_more(plan: t.Plan) -> Iterator[Mutant]:
    """Ten times the limit, in every phase, for each loop that adds to one which moves a follower."""
    for index, outer in enumerate(plan.loops):
        targets = [x for x in plan.loops if any(a.loop == index for a in x.inputs)]
        moved = any(
            term.setpoint is not None
            and any(f.signal == loop.signal for f in plan.setpoints[term.setpoint].followers)
            for loop in targets
            for term in loop.terms
        )
        if moved:
            loops = list(plan.loops)
            loops[index] = replace(outer, low=outer.low * 10, high=outer.high * 10, acts_in=None)
            yield replace(plan, loops=tuple(loops)), "correction-over-tolerance"


def center_in_the_stop(plan: t.Plan) -> Iterator[Mutant]:
    """Each stop phase sends what a rule's `must` looks at to its start, where the rule does not hold."""
    for rule in plan.rules:
        nodes = plan.guards[rule.guard].nodes
        must = [n for n in nodes[rule.must_from : rule.must_to] if n.kind == "leaf"]
        for node in must:
            leaf = plan.leaves[node.arg]
            if not isinstance(leaf, t.Compare) or leaf.source != "signal":
                continue
            followed = [
                i
                for i, row in enumerate(plan.setpoints)
                if any(f.signal == leaf.index for f in row.followers)
            ]
            for setpoint in followed:
                owner = plan.setpoints[setpoint].owner
                for s, sequence in enumerate(plan.sequences):
                    for i, phase in enumerate(sequence.phases):
                        if phase.stop is None or owner != s or not rule.must_from:
                            continue
                        command = t.Command(setpoint, t.Level(0.0), HERE)
                        kept = tuple(c for c in phase.commands if c.setpoint != setpoint)
                        yield with_phase(plan, s, i, commands=(*kept, command)), "stop-moves-weight"


PLANTS: list[Callable[[t.Plan], Iterator[Mutant]]] = [
    leave_a_stop_by_a_signal, leave_a_stop_by_a_timeout, ignore_the_remote, ignore_a_loss, take_a_rate_away,
    let_a_loop_correct_more, center_in_the_stop,
]  # fmt: skip


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: plant.__name__)
def test_a_fault_of_safety_that_is_planted_is_found(
    plant: Callable[[t.Plan], Iterator[Mutant]], print_table: Callable[[str], None]
) -> None:
    planted, missed = 0, []
    for path in WALKS:
        for mutant, code in plant(load_plan(path)):
            findings = check(mutant)
            planted += 1
            if code not in {f.code for f in findings}:
                missed.append((path.name, code, [(f.code, f.message) for f in findings]))
    print_table(f"{plant.__name__}: {planted - len(missed)} of {planted} planted faults found")
    assert planted > 0
    assert missed == []


@pytest.mark.parametrize(
    ("guard", "told"),
    [
        ("{any: [{event: go}, {event: next}]}", False),
        ("{any: [{event: go}, {switch: motors}]}", False),
        ("{any: [{event: go}, {signal: tilt, above: 3 deg}]}", True),
        ("{all: [{event: go}, {signal: tilt, above: 3 deg}]}", False),
        ("{not: {switch: motors}}", True),
    ],
)
def test_a_stop_needs_the_operator_to_end_whichever_of_his_inputs_it_is(guard: str, told: bool) -> None:
    text = (REPOSITORY / "tests/corpus/sound/crab-leg.gait.yaml").read_text(encoding="utf-8")
    text = text.replace("events: [go, halt]", "events: [go, next, halt]\n  switches: [motors]")
    safe = text.index("  safe:")
    text = text[:safe] + text[safe:].replace("{event: go}", guard, 1)
    assert ("stop-left-alone" in {f.code for f in check(parse_plan(text))}) is told
