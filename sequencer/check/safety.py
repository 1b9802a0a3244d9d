"""Findings about safety: stops that end by themselves, unnoticed losses, corrections in the way."""

from collections.abc import Iterator

from sequencer.base.findings import Finding, Severity
from sequencer.check.edges import entered_phases, may_stay
from sequencer.check.facts import Facts
from sequencer.check.holds import compared_signals
from sequencer.check.questions import Askers
from sequencer.check.subjects import Subject, exits_of, listed, phase_name
from sequencer.check.travel import required_leaves
from sequencer.plan.steps import needs_operator
from sequencer.plan.tables import Follow, Loop, Lost, Plan
from sequencer.plan.words import number_words


def check_safety(plan: Plan, askers: Askers) -> list[Finding]:
    """Judge a gait that moves something."""
    facts = askers.present.facts
    if not facts.commands_anything:
        return []
    return [
        *_left_alone(plan),
        *_remote_unnoticed(plan),
        *_loss_unnoticed(plan),
        *_corrections(facts),
        *_integrals_at_rest(plan),
    ]


def _left_alone(plan: Plan) -> Iterator[Finding]:
    """Find ways out of a stop phase that need no operator."""
    for sequence, row in enumerate(plan.sequences):
        for phase in sorted(entered_phases(plan, sequence)):
            stop = row.phases[phase]
            if stop.stop is None:
                continue
            for subject in exits_of(plan, sequence, phase):
                leads_on = row.phases[subject.to].stop is None
                if leads_on and not needs_operator(plan, plan.guards[subject.guard]):
                    yield Finding(
                        "stop-left-alone",
                        Severity.WARNING,
                        subject.place,
                        f"{subject.name}, ends a stop without the operator: it needs no event and no switch",
                        fix=f"ask for `{{event: {_an_event(plan)}}}` as well, under `all`",
                    )
            if stop.timeout is not None and row.phases[stop.timeout.to].stop is None:
                yield Finding(
                    "stop-left-alone",
                    Severity.WARNING,
                    stop.timeout.place,
                    f"{phase_name(plan, sequence, phase)} is a stop phase, and its timeout ends the stop",
                    fix="delete the timeout",
                )


def _an_event(plan: Plan) -> str:
    return next((e.name for e in plan.events if "halt" not in e.name and "stop" not in e.name), "go")


def _asked_as_lost(plan: Plan) -> set[int | None]:
    """Return the signals (None: the remote) for whose loss some guard under `anywhere` asks."""
    return {
        leaf.signal
        for entry in plan.anywhere
        for leaf in (plan.leaves[i] for i in plan.guards[entry.guard].leaves)
        if isinstance(leaf, Lost)
    }


def _remote_unnoticed(plan: Plan) -> Iterator[Finding]:
    remote = plan.remote
    if remote is None or None in _asked_as_lost(plan):
        return
    carried = [plan.events[i].name for i in remote.events] + [plan.switches[i].name for i in remote.switches]
    if not carried:
        return
    stop = next((p.name for s in plan.sequences for p in s.phases if p.stop is not None), "safe")
    yield Finding(
        "remote-unnoticed",
        Severity.WARNING,
        remote.place,
        f"nothing under `anywhere` notices that the remote has fallen silent: {listed(carried)} can't arrive "
        f"then, and a switch that can't be known is neither on nor off",
        fix=f"under `anywhere`: `- {{to: {stop}, when: {{lost: remote}}}}`",
    )


def _loss_unnoticed(plan: Plan) -> Iterator[Finding]:
    """Find signals that a walk waits for and whose loss only a timeout would notice."""
    watched = _asked_as_lost(plan)
    waits: dict[int, list[str]] = {}
    for sequence, row in enumerate(plan.sequences):
        for phase in sorted(entered_phases(plan, sequence)):
            if may_stay(row.phases[phase]):
                continue
            subjects = exits_of(plan, sequence, phase)
            asked = {leaf.signal for s in subjects for leaf in _lost_leaves(plan, s)}
            for signal in dict.fromkeys(i for s in subjects for i in compared_signals(plan, s.guard)):
                if signal not in watched and signal not in asked:
                    waits.setdefault(signal, []).append(phase_name(plan, sequence, phase))
    for signal, phases in waits.items():
        if plan.signals[signal].lost_after_ms is not None:
            row_ = plan.signals[signal]
            yield Finding(
                "loss-unnoticed",
                Severity.NOTE,
                row_.place,
                f"that {row_.name} is lost would be noticed by the timeout only, in {listed(phases)}",
                fix=f"under `anywhere`: `{{lost: {row_.name}}}`",
            )


def _lost_leaves(plan: Plan, subject: Subject) -> list[Lost]:
    leaves = (plan.leaves[i] for i in plan.guards[subject.guard].leaves)
    return [leaf for leaf in leaves if isinstance(leaf, Lost)]


def _corrections(facts: Facts) -> Iterator[Finding]:
    """Find guards that want a joint nearer to its target than a loop may push it off."""
    plan = facts.plan
    for sequence in range(len(plan.sequences)):
        for phase in sorted(entered_phases(plan, sequence)):
            for subject in exits_of(plan, sequence, phase):
                for index in sorted(required_leaves(subject.condition.nodes)):
                    leaf = plan.leaves[index]
                    if isinstance(leaf, Follow):
                        yield from _corrected(facts, sequence, phase, subject, leaf)


def _corrected(facts: Facts, sequence: int, phase: int, subject: Subject, leaf: Follow) -> Iterator[Finding]:
    plan = facts.plan
    allowed = facts.level(leaf.tolerance)[1]
    row = plan.setpoints[leaf.setpoint]
    followers = {f.signal for f in row.followers}
    for loop in plan.loops:
        if leaf.setpoint not in {term.setpoint for term in loop.terms} or loop.signal not in followers:
            continue
        for adds in loop.inputs:
            outer = plan.loops[adds.loop]
            shift = abs(adds.gain) * max(abs(outer.low), abs(outer.high))
            if shift <= allowed or not _acts(outer, sequence, phase):
                continue
            near, off, least = (number_words(x, row.unit) for x in (allowed, shift, allowed / abs(adds.gain)))
            yield Finding(
                "correction-over-tolerance",
                Severity.WARNING,
                subject.place,
                f"{subject.name}, wants {plan.signals[loop.signal].name} within {near} of {row.name}, and "
                f"{outer.name} may hold it off by {off}",
                fix=f"limit {outer.name} to {least}, widen the tolerance, or keep it out of this phase",
                notes=((outer.place, f"{outer.name} adds to {loop.name}"),),
            )


def _acts(loop: Loop, sequence: int, phase: int) -> bool:
    if loop.acts_in is None:
        return True
    return any(where.sequence == sequence and phase in where.phases for where in loop.acts_in)


def _integrals_at_rest(plan: Plan) -> Iterator[Finding]:
    """Find integrals that go on adding up while the machine stands at rest, on all its feet."""
    for loop in plan.loops:
        if loop.bi == 0.0:
            continue
        standing = [(s, i) for s, i in _phases(plan, rest=True) if _acts(loop, s, i)]
        if standing:
            names = [phase_name(plan, *where) for where in standing]
            walking = ", ".join(phase_name(plan, s, i) for s, i in _phases(plan, rest=False))
            yield Finding(
                "integral-at-rest",
                Severity.NOTE,
                loop.place,
                f"the integral of {loop.name} goes on in {listed(names)}: on all feet the legs hold each "
                f"other, and it adds up what none can move",
                fix=f"let it act while walking only: `loops: {{{loop.name}: {{acts_in: [{walking}]}}}}`",
            )


def _phases(plan: Plan, *, rest: bool) -> Iterator[tuple[int, int]]:
    """Yield the phases, other than stop phases, in which the machine rests, or in which it does not."""
    for sequence, row in enumerate(plan.sequences):
        for index, phase in enumerate(row.phases):
            if phase.stop is None and phase.rest == rest:
                yield sequence, index
