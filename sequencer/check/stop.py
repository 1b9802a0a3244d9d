"""Findings about stopping: is there a stop phase, and can the operator get there from everywhere."""

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import entered_phases, trapped
from sequencer.check.questions import Askers
from sequencer.check.subjects import phase_name, phase_names
from sequencer.check.suggest import halt_entry
from sequencer.check.truth import operators_alone
from sequencer.plan.tables import Plan


def check_stop(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge the ways into a stop phase. A gait that commands nothing has nothing to stop."""
    if not askers.present.facts.commands_anything:
        return []
    stops = {s: _reachable_stops(plan, s) for s in range(len(plan.sequences))}
    stops = {s: found for s, found in stops.items() if found}
    if not stops:
        return [_no_stop(plan)]
    # Drives go off with the first sequence that stops, so one that can be stopped from everywhere is enough.
    missing = {s: _without_operator(plan, s) for s in stops}
    sequence = min(missing, key=lambda s: len(missing[s]))
    return [_cannot_stop(plan, sequence, missing[sequence])] if missing[sequence] else []


def _reachable_stops(plan: Plan, sequence: int) -> list[int]:
    return [
        i
        for i in sorted(entered_phases(plan, sequence))
        if plan.sequences[sequence].phases[i].stop is not None
    ]


def _without_operator(plan: Plan, sequence: int) -> list[int]:
    """List the reachable phases from which the operator alone can't get into a stop phase at once."""
    phases = plan.sequences[sequence].phases
    for entry in plan.anywhere:
        if phases[entry.to[sequence]].stop is not None and operators_alone(plan, plan.guards[entry.guard]):
            return []
    told = trapped(plan, sequence)  # from there not even a timeout leads to a stop
    return [
        index
        for index in sorted(entered_phases(plan, sequence) - told)
        if phases[index].stop is None
        and not any(
            phases[way.to].stop is not None and operators_alone(plan, plan.guards[way.guard])
            for way in phases[index].exits
        )
    ]


def _no_stop(plan: Plan) -> Finding:
    written = [
        (s, i) for s, seq in enumerate(plan.sequences) for i, p in enumerate(seq.phases) if p.stop is not None
    ]
    if written:
        place = plan.sequences[written[0][0]].phases[written[0][1]].place
        message = (
            f"nothing leads to the stop phase {phase_name(plan, *written[0])}: the machine cannot be stopped"
        )
    else:
        place = plan.sequences[0].phases[0].place
        message = "no phase is a stop phase: there is nowhere to go when something is wrong"
    name = phase_name(plan, *written[0]).rpartition(".")[2] if written else "safe"
    return Finding(
        "no-stop",
        Severity.ERROR,
        place,
        message,
        fix=f"{'' if written else 'a phase `safe: {stop: 1}`, and '}"
        f"under `anywhere`: `{halt_entry(plan, name)}`",
    )


def _cannot_stop(plan: Plan, sequence: int, phases: list[int]) -> Finding:
    stop = next(p.name for p in plan.sequences[sequence].phases if p.stop is not None)
    first = plan.sequences[sequence].phases[phases[0]]
    return Finding(
        "cannot-stop",
        Severity.WARNING,
        first.place,
        f"the operator has no way to stop the machine in {phase_names(plan, sequence, phases)}: "
        f"no event or switch alone leads to a stop phase from there",
        fix=f"under `anywhere`: `{halt_entry(plan, stop)}`",
        notes=tuple((plan.sequences[sequence].phases[i].place, "nor in this phase") for i in phases[1:9]),
    )
