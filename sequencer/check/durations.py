"""How long phases take: as written, at worst, until the timeout; and how long a round of the walk takes."""

from dataclasses import dataclass

from sequencer.check.edges import entered_phases, may_stay
from sequencer.check.facts import Facts
from sequencer.check.needs import Need, Needs
from sequencer.check.subjects import exits_of
from sequencer.check.travel import Travels
from sequencer.check.waits import LAG
from sequencer.plan.tables import Compare, Plan


@dataclass(frozen=True, slots=True)
class Duration:
    """What a phase is expected to take, in milliseconds.

    usual_ms: parameters as they stand, nothing goes wrong, joints follow at once. worst_ms: the worst target
    of the parameters' spans from the worst start, with an allowance for lag. Both are None where the phase
    waits for something that is not commanded. on: the phase to which the quickest guard leads.
    """

    sequence: int
    phase: int
    usual_ms: float | None
    worst_ms: float | None
    timeout_ms: int | None
    on: int | None


def durations(plan: Plan) -> tuple[Duration, ...]:
    """Work out how long each phase that can be entered takes, in document order."""
    present, trimmed = Facts(plan), Facts(plan, trimmed=True)
    usual = Needs(present, Travels(present, by_guards_only=True), 0.0)
    worst = Needs(trimmed, Travels(trimmed), LAG)
    return tuple(
        _duration(plan, usual, worst, sequence, phase)
        for sequence in range(len(plan.sequences))
        for phase in sorted(entered_phases(plan, sequence))
    )


def _duration(plan: Plan, usual: Needs, worst: Needs, sequence: int, phase: int) -> Duration:
    row = plan.sequences[sequence].phases[phase]
    timeout_ms = row.timeout.after_ms if row.timeout is not None else None
    onward = [
        s for s in exits_of(plan, sequence, phase) if plan.sequences[sequence].phases[s.to].stop is None
    ]
    waits: list[tuple[Need, int]] = []
    if not may_stay(row):
        found = [(usual.longest(sequence, phase, subject), subject.to) for subject in onward]
        waits = [(need, to) for need, to in found if need is not None]
    if not waits and onward and all(_by_count_alone(plan, subject.guard) for subject in onward):
        return Duration(sequence, phase, plan.tick_ms, plan.tick_ms, timeout_ms, onward[0].to)
    if not waits:
        return Duration(sequence, phase, None, None, timeout_ms, onward[0].to if onward else None)
    need, to = min(waits, key=lambda wait: wait[0].total_ms)
    worsts = [worst.longest(sequence, phase, subject) for subject in onward]
    worst_ms = min((w.total_ms for w in worsts if w is not None), default=None)
    # guards are looked at from the tick after the entry on
    return Duration(sequence, phase, need.total_ms + plan.tick_ms, worst_ms, timeout_ms, to)


def _by_count_alone(plan: Plan, guard: int) -> bool:
    leaves = (plan.leaves[i] for i in plan.guards[guard].leaves)
    return all(isinstance(leaf, Compare) and leaf.source == "counter" for leaf in leaves)


def round_ms(plan: Plan, found: tuple[Duration, ...], sequence: int) -> float | None:
    """Return how long a round of a sequence takes: from a phase by the quickest guards back to it.

    None if no such round exists, or a phase in it waits for something that is not commanded.
    """
    by_phase = {d.phase: d for d in found if d.sequence == sequence}
    seen: list[int] = []
    phase: int | None = 0
    while phase is not None and phase in by_phase and phase not in seen:
        seen.append(phase)
        phase = by_phase[phase].on
    if phase is None or phase not in seen:
        return None
    times = [by_phase[p].usual_ms for p in seen[seen.index(phase) :]]
    known = [t for t in times if t is not None]
    return sum(known) if len(known) == len(times) else None
