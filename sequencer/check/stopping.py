"""How fast a machine gets from each phase into a stop phase: by the operator, a lost signal, timeouts."""

from dataclasses import dataclass

from sequencer.check.edges import entered_phases
from sequencer.check.holds import longest_hold_ms
from sequencer.check.travel import sufficient_leaves
from sequencer.check.truth import operators_alone
from sequencer.plan.tables import Guard, Lost, Plan


@dataclass(frozen=True, slots=True)
class Stopping:
    """The most ticks from a phase into a stop phase; None where that way is not there.

    operator: after the event or switch arrived. lost: after the first signal (or the remote) fell silent
    whose loss leads to a stop; `lost_what` names the slowest of them. timeout: if nothing else happens.
    """

    sequence: int
    phase: int
    operator: int | None
    lost: int | None
    lost_what: str
    timeout: int | None


def stopping(plan: Plan) -> tuple[Stopping, ...]:
    """Work it out for each phase that can be entered and is no stop phase, in document order."""
    return tuple(
        _of_phase(plan, sequence, phase)
        for sequence, row in enumerate(plan.sequences)
        for phase in sorted(entered_phases(plan, sequence))
        if row.phases[phase].stop is None
    )


def _of_phase(plan: Plan, sequence: int, phase: int) -> Stopping:
    phases = plan.sequences[sequence].phases
    guards = [plan.guards[e.guard] for e in plan.anywhere if phases[e.to[sequence]].stop is not None]
    guards += [plan.guards[way.guard] for way in phases[phase].exits if phases[way.to].stop is not None]
    by_operator = [_ticks(plan, guard) for guard in guards if operators_alone(plan, guard)]
    lost = [found for guard in guards for found in _losses(plan, guard)]
    slowest, what = max(lost, default=(None, ""))
    return Stopping(
        sequence,
        phase,
        min(by_operator, default=None),
        slowest,
        what,
        _by_timeouts(plan, sequence, phase),
    )


def _ticks(plan: Plan, guard: Guard, silent_ms: int = 0) -> int:
    """Return the ticks until a guard has fired, from the tick before what it waits for came."""
    return 1 + -(-(silent_ms + int(longest_hold_ms(plan, guard.index))) // plan.tick_ms)


def _losses(plan: Plan, guard: Guard) -> list[tuple[int, str]]:
    """List the losses that alone make a guard true, with the ticks from the silence on.

    Only those that stand alone or under `any` are counted; anything more involved is not claimed.
    """
    found = []
    leaves = (plan.leaves[i] for i in sufficient_leaves(guard.nodes))
    for leaf in (leaf for leaf in leaves if isinstance(leaf, Lost)):
        if leaf.signal is None:
            silent_ms, name = plan.remote.lost_after_ms if plan.remote else None, "remote"
        else:
            silent_ms, name = plan.signals[leaf.signal].lost_after_ms, plan.signals[leaf.signal].name
        if silent_ms is not None:
            found.append((_ticks(plan, guard, silent_ms), name))
    return found


def _by_timeouts(plan: Plan, sequence: int, phase: int) -> int | None:
    """Return the ticks until timeouts alone have led to a stop phase; None if they never do."""
    phases = plan.sequences[sequence].phases
    seen: set[int] = set()
    ticks = 0
    while phases[phase].stop is None:
        timeout = phases[phase].timeout
        if timeout is None or phase in seen:
            return None
        seen.add(phase)
        ticks += -(-timeout.after_ms // plan.tick_ms)
        phase = timeout.to
    return ticks
