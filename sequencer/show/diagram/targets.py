"""Which targets a setpoint may have while a phase is active: set there, or left over from earlier phases.

This follows every way in (guards, timeouts, `anywhere`, rules) and asks of none whether it can be taken.
"""

from collections.abc import Iterator

from sequencer.plan.levels import level_value
from sequencer.plan.tables import Level, Plan, Setpoint

Targets = tuple[frozenset[float], ...]  # per setpoint; empty where no way leads into the phase


def targets(plan: Plan) -> tuple[tuple[Targets, ...], ...]:
    """Return, per sequence and phase, the targets that each setpoint may have after entry.

    Parameters are as the file has them, targets clamped to the setpoint's span.

    Setpoints of other sequences have an empty set: which of their phases is active is not known there.
    """
    return tuple(_of_sequence(plan, s) for s in range(len(plan.sequences)))


def ways_in(plan: Plan, sequence: int) -> Iterator[tuple[int, int]]:
    """Yield (from phase, to phase) for everything that can move the sequence, more than once if so."""
    phases = plan.sequences[sequence].phases
    for i, phase in enumerate(phases):
        for leave in phase.exits:
            yield i, leave.to
        if phase.timeout:
            yield i, phase.timeout.to
        for watch in plan.anywhere:
            yield i, watch.to[sequence]
        for rule in plan.rules:
            if rule.to is not None:
                yield i, rule.to[sequence]


def _of_sequence(plan: Plan, sequence: int) -> tuple[Targets, ...]:
    phases = plan.sequences[sequence].phases
    mine = [s.owner in (sequence, None) for s in plan.setpoints]
    start = tuple(
        frozenset({s.start}) if own else frozenset() for s, own in zip(plan.setpoints, mine, strict=True)
    )
    ways: list[set[int]] = [set() for _ in phases]
    for a, b in ways_in(plan, sequence):
        ways[a].add(b)
    none: Targets = tuple(frozenset() for _ in plan.setpoints)
    found = [none for _ in phases]
    found[0] = _entered(plan, sequence, 0, start)
    todo = [0]
    while todo:
        here = todo.pop()
        for there in ways[here]:
            entered = _entered(plan, sequence, there, found[here])
            joined = tuple(a | b for a, b in zip(found[there], entered, strict=True))
            if joined != found[there]:
                found[there] = joined
                todo.append(there)
    return tuple(found)


def _entered(plan: Plan, sequence: int, phase: int, before: Targets) -> Targets:
    after = list(before)
    for command in plan.sequences[sequence].phases[phase].commands:
        setpoint = plan.setpoints[command.setpoint]
        after[command.setpoint] = frozenset({target_value(plan, setpoint, command.level)})
    return tuple(after)


def target_value(plan: Plan, setpoint: Setpoint, level: Level) -> float:
    """Return the target with the parameters as the file has them, clamped to the setpoint's span."""
    value = level_value(level, [p.value for p in plan.parameters])
    return min(max(value, setpoint.low), setpoint.high)
