"""Findings about the graph alone: phases that nothing leads to, out of, or back from."""

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import (
    chosen_ways,
    entered_phases,
    heads,
    may_stay,
    pieces,
    trapped,
    watched_targets,
)
from sequencer.check.facts import Facts
from sequencer.check.questions import Askers
from sequencer.check.subjects import listed, phase_name, phase_names
from sequencer.check.suggest import halt_entry, timeout_edit, timeout_for, way_out
from sequencer.plan.tables import Plan

MOST_NOTES = 8


def check_graph(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge each sequence's graph."""
    findings: list[Finding] = []
    for sequence in range(len(plan.sequences)):
        findings += _power_on(plan, askers.present.facts, sequence)
        findings += _unreachable(plan, sequence)
        findings += _dead_ends(plan, sequence)
        findings += _traps(plan, askers.present.facts, sequence)
        findings += _endless_waits(plan, sequence)
    return findings


def _power_on(plan: Plan, facts: Facts, sequence: int) -> list[Finding]:
    first = plan.sequences[sequence].phases[0]
    if may_stay(first) or not facts.commands_anything:
        return []
    name = phase_name(plan, sequence, 0)
    resting = [p.name for p in plan.sequences[sequence].phases if p.rest]
    mark = f"`rest: true` in {first.name} if it only waits"
    before = f"`standing: {{rest: true, leave: [{{to: {first.name}, when: {{event: go}}}}]}}`"
    return [
        Finding(
            "walks-at-power-on",
            Severity.WARNING,
            first.place,
            f"the walk starts in {name}, which is neither a rest nor a stop phase: "
            "after power-on or a reset the machine moves without anyone asking for it",
            fix=f"move {resting[0]} to the top of `phases`"
            if resting
            else f"{mark}, or a rest phase before it: {before}",
        )
    ]


def _unreachable(plan: Plan, sequence: int) -> list[Finding]:
    phases = plan.sequences[sequence].phases
    graph = chosen_ways(plan, sequence)
    missed = set(range(len(phases))) - entered_phases(plan, sequence)
    findings = []
    for group in pieces(graph, missed):
        for head, behind in heads(graph, group):
            also = f"; with it {phase_names(plan, sequence, behind)}" if behind else ""
            findings.append(
                Finding(
                    "unreachable-phase",
                    Severity.WARNING,
                    phases[head].place,
                    f"nothing ever leads to {phase_name(plan, sequence, head)}{also}",
                    fix=f"under `leave` of the phase before it, such as {phases[head - 1].name}: "
                    f"`- {way_out(plan, sequence, head - 1, head)}`; or delete it",
                )
            )
    return findings


def _dead_ends(plan: Plan, sequence: int) -> list[Finding]:
    findings = []
    graph = chosen_ways(plan, sequence)
    for index in sorted(entered_phases(plan, sequence)):
        if graph[index]:
            continue
        phase = plan.sequences[sequence].phases[index]
        name = phase_name(plan, sequence, index)
        elsewhere = bool(watched_targets(plan, sequence) - {index})
        if may_stay(phase):
            kind = "rest" if phase.rest else "stop"
            resting = plan.sequences[sequence].phases[_next(plan, sequence, index, want_rest=True)].name
            only = "only what is watched anywhere" if elsewhere else "nothing but switching off and on"
            findings.append(
                Finding(
                    "final-phase",
                    Severity.NOTE,
                    phase.place,
                    f"{only} leads out of the {kind} phase {name}",
                    fix=f"if it should go on: `leave: [{{to: {resting}, when: {{event: go}}}}]`",
                )
            )
            continue
        own = "its only way out leads back to itself"
        if not phase.exits and not phase.timeout:
            own = "it has no guard and no timeout"
        rescue = "; only what is watched anywhere still leads out" if elsewhere else ""
        findings.append(
            Finding(
                "dead-end",
                Severity.ERROR,
                phase.place,
                f"the walk gets stuck in {name}: {own}{rescue}",
                fix=f"under `leave`: `- {way_out(plan, sequence, index, _next(plan, sequence, index))}`; "
                "or `rest: true` if the machine may stay here",
            )
        )
    return findings


def _next(plan: Plan, sequence: int, phase: int, *, want_rest: bool = False) -> int:
    """Find the next phase in the file, going round, that is no stop phase, and a rest phase if wanted."""
    phases = plan.sequences[sequence].phases
    after = [*range(phase + 1, len(phases)), *range(phase)]
    fit = [i for i in after if phases[i].stop is None]
    resting = [i for i in fit if phases[i].rest]
    return next(iter((resting if want_rest else []) + fit + after), phase)


def _traps(plan: Plan, facts: Facts, sequence: int) -> list[Finding]:
    if not facts.commands_anything:
        return []
    phases = plan.sequences[sequence].phases
    graph = chosen_ways(plan, sequence)
    calm = [i for i, phase in enumerate(phases) if may_stay(phase)]
    findings = []
    for group in pieces(graph, trapped(plan, sequence)):
        if any(not graph[i] for i in group):
            continue  # told as a dead end
        outside = entered_phases(plan, sequence) - set(group)
        entered = [i for i in group if any(i in graph[o] for o in outside)] or group[:1]
        names = phase_names(plan, sequence, group)
        message = f"from {names} no way leads back to a rest or stop phase"
        if not calm:
            message = f"there is no rest and no stop phase to come back to from {names}"
        stops = [i for i in calm if phases[i].stop is not None]
        target = phases[[*stops, *calm][0]].name if calm else "safe"
        others = [phases[i] for i in group if i != entered[0]]
        findings.append(
            Finding(
                "no-way-to-rest",
                Severity.ERROR,
                phases[entered[0]].place,
                message,
                fix=f"under `anywhere`: `{halt_entry(plan, target)}`",
                notes=tuple((phase.place, f"{phase.name} is one of them") for phase in others[:MOST_NOTES]),
            )
        )
    return findings


def _endless_waits(plan: Plan, sequence: int) -> list[Finding]:
    findings = []
    graph = chosen_ways(plan, sequence)
    for index in sorted(entered_phases(plan, sequence)):
        phase = plan.sequences[sequence].phases[index]
        if phase.timeout or may_stay(phase) or phase.never_because or not graph[index]:
            continue
        ways = listed(list(dict.fromkeys(plan.sequences[sequence].phases[e.to].name for e in phase.exits)))
        findings.append(
            Finding(
                "endless-wait",
                Severity.WARNING,
                phase.place,
                f"{phase_name(plan, sequence, index)} may wait for ever: it has no timeout, "
                f"and nothing is told if the way to {ways} never opens",
                fix=f"`{timeout_for(plan, sequence, index)}`; or `timeout: never` and `because: ...`",
                edits=timeout_edit(plan, sequence, index),
            )
        )
    return findings
