"""What is known of a walk from its gait: phases, guards, rules, findings, parameters, and their lines."""

from collections.abc import Iterable

from sequencer.base.codes import CODES
from sequencer.base.findings import Finding
from sequencer.history.margins import comparison_unit
from sequencer.plan.compared import signals_compared
from sequencer.plan.tables import (
    Compare,
    Follow,
    InPhase,
    Leaf,
    Lost,
    Node,
    OnEvent,
    OnSwitch,
    Phase,
    Plan,
)
from sequencer.plan.words import guard_words, hold_words, leaf_words, nodes_words, rule_words
from sequencer.show.report import document as d
from sequencer.show.report.columns import RunColumns, WatchedGuard, watched_guards
from sequencer.show.report.places import Sources
from sequencer.show.text import clean

_KINDS: dict[type[Leaf], str] = {
    Compare: "compare",
    Follow: "follow",
    OnEvent: "event",
    OnSwitch: "switch",
    Lost: "lost",
    InPhase: "phase",
}


def walk_of(plan: Plan, columns: RunColumns, findings: Iterable[Finding], sources: Sources) -> d.Walk:
    """Describe a plan's walk. findings: what the check says of it."""
    sequences = [
        d.SequenceShown(clean(sequence.name), [_phase(p, sequence.phases, sources) for p in sequence.phases])
        for sequence in plan.sequences
    ]
    gait = d.GaitShown(
        about=clean(plan.about),
        machine=clean(plan.machine),
        files=sources.files,
        guards=[_guard(plan, columns, watched, sources) for watched in watched_guards(plan)],
        rules=[
            d.RuleShown(clean(rule.name), clean(rule_words(plan, i)), sources.known(rule.place))
            for i, rule in enumerate(plan.rules)
        ],
        findings=[_finding(finding, sources) for finding in findings],
        parameters=[
            d.ParameterShown(clean(p.name), p.unit, p.value, p.low, p.high, sources.known(p.place))
            for p in plan.parameters
        ],
    )
    return d.Walk(clean(plan.name), sequences, gait)


def _phase(phase: Phase, phases: tuple[Phase, ...], sources: Sources) -> d.PhaseShown:
    names = [other.name for other in phases]
    images = [i for i, other in enumerate(phases) if other.mirrored_from == phase.name]
    mirror = names.index(phase.mirrored_from) if phase.mirrored_from in names else None
    return d.PhaseShown(
        name=clean(phase.name),
        about=clean(phase.about),
        kind="rest" if phase.rest else "stop" if phase.stop is not None else "step",
        timeout=None if phase.timeout is None else phase.timeout.after_ms,
        timeout_to="" if phase.timeout is None else clean(names[phase.timeout.to]),
        mirror=images[0] if images else mirror,
        place=sources.place(phase.place),
    )


def _guard(plan: Plan, columns: RunColumns, watched: WatchedGuard, sources: Sources) -> d.GuardShown:
    guard = plan.guards[watched.guard]
    place = guard.place
    if watched.sequence is None or watched.phase is None:
        entry = plan.anywhere[watched.number]
        name, place, kind = f"anywhere {watched.number + 1}", entry.place, "anywhere"
        targets = dict.fromkeys(
            sequence.phases[to].name for sequence, to in zip(plan.sequences, entry.to, strict=True)
        )
        to = " / ".join(targets)
    else:
        phases = plan.sequences[watched.sequence].phases
        way = phases[watched.phase].exits[watched.number]
        name, kind = f"{phases[watched.phase].name}, guard {watched.number + 1}", "guard"
        to, place = phases[way.to].name, way.place
    hold = guard.hold
    shown = None
    if hold is not None:
        need = hold.ms if hold.ms is not None else hold.samples
        assert need is not None
        shown = d.Hold(hold_words(hold), "ms" if hold.ms is not None else "samples", need)
    return d.GuardShown(
        name=clean(name),
        words=clean(guard_words(plan, watched.guard)),
        to=clean(to),
        kind=kind,
        sequence=watched.sequence,
        phase=watched.phase,
        hold=shown,
        truth=columns.guard_truth[watched.guard],
        hold_left=columns.hold_left.get(watched.guard),
        leaves=[_leaf(plan, columns, leaf) for leaf in guard.leaves],
        nodes=[
            d.Node(node.kind, guard.leaves.index(node.arg) if node.kind == "leaf" else node.arg)
            for node in guard.nodes
        ],
        place=sources.known(place),
    )


def _leaf(plan: Plan, columns: RunColumns, index: int) -> d.Leaf:
    leaf = plan.leaves[index]
    unit = comparison_unit(plan, index)
    signals = [plan.signals[i] for i in signals_compared(leaf, plan.setpoints)]
    return d.Leaf(
        words=clean(leaf_words(plan, index)),
        opposite=clean(nodes_words(plan, (Node("leaf", index), Node("not", 1)))),
        kind=_KINDS[type(leaf)],
        unit="" if unit is None else unit[1],
        span=max((signal.high - signal.low for signal in signals), default=0.0),
        signals=[clean(signal.name) for signal in signals],
        truth=columns.truth[index],
        margin=columns.margin.get(index),
    )


def _finding(finding: Finding, sources: Sources) -> d.FindingShown:
    info = CODES.get(finding.code)
    return d.FindingShown(
        code=finding.code,
        severity=str(finding.severity),
        message=clean(finding.message),
        fix=clean(finding.fix),
        why="" if info is None else info.why,
        place=sources.place(finding.place),
    )
