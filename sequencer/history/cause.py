"""Why a phase was left by its timeout, or is still waited in: which guard waited for what, what was missing.

lean_right timed out after 5.0 s: guard 1 waited for left_leg_roll to come within 2 deg of 17 deg;
best 11.4 deg at 12.31 s, 3.6 deg short
"""

from dataclasses import dataclass

import numpy as np

from sequencer.base.places import Place
from sequencer.history.amounts import at, duration
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_TIMEOUT, TRUE, Detail
from sequencer.history.facts import found_words, is_choice
from sequencer.history.margins import detail_kept, guard_margins, longest_ms, looked_rows, rows_of
from sequencer.history.missing import Comparison, comparisons
from sequencer.history.run import Run, Stay, Transition
from sequencer.plan.tables import OnEvent, OnSwitch, Plan
from sequencer.plan.words import guard_words, hold_words, ms_words, rule_words


@dataclass(frozen=True, slots=True)
class GuardWait:
    """One guard over a wait.

    parts: all its comparisons and conditions, in the order of the file; None if the run has no detail.
    missing: those that were not as wished at the end, the one that was so least of the time first.
    longest_true_ms, true_at_end: how long it was true without a break, and whether in its last tick.
    held: what its hold asks for, or empty. operator: it only waits for the operator. kept: what of `anywhere`
    kept the sequence in its phase at the end, so that the guard was not looked at, or empty.
    """

    exit: int
    guard: int
    to: str
    text: str
    held: str
    operator: bool
    kept: str
    longest_true_ms: int
    true_at_end: bool
    parts: tuple[Comparison, ...] | None
    missing: tuple[Comparison, ...]

    @property
    def words(self) -> str:
        """Say what the guard waited for."""
        number = f"guard {self.exit + 1}"
        if self.parts is None:
            return f"{number} did not fire: {self.text}"
        if self.true_at_end:
            longest = duration(self.longest_true_ms)
            return f"{number} was true, but not {self.held} (longest {longest}): {self.text}"
        if not self.missing:
            why = f", for {self.kept}" if self.kept else ""
            return f"{number} was not looked at{why}: {self.text}"
        return f"{number} waited for " + "; and for ".join(part.words for part in self.missing)


@dataclass(frozen=True, slots=True)
class Wait:
    """A stay in a phase that no guard ended: it timed out, or lasted to the end of the run.

    sequence_name: empty if there is only one.
    """

    sequence: int
    sequence_name: str
    phase: int
    phase_name: str
    from_ms: int
    to_ms: int
    timed_out: bool
    rest: bool
    stop: bool
    guards: tuple[GuardWait, ...]
    place: Place

    @property
    def waited_ms(self) -> int:
        """How long the phase lasted."""
        return self.to_ms - self.from_ms

    @property
    def words(self) -> str:
        """Say in one sentence what was waited for and what was missing."""
        what = "timed out after" if self.timed_out else "was still waiting after"
        asked = [guard for guard in self.guards if not guard.operator] or list(self.guards)
        text = "; ".join(guard.words for guard in asked) or "it has no guard"
        whose = f"{self.sequence_name}: " if self.sequence_name else ""
        return f"{whose}{self.phase_name} {what} {duration(self.waited_ms)}: {text}"


def timeouts(run: Run) -> list[Wait]:
    """Explain every phase that was left by its timeout, in order of time."""
    found = []
    for sequence in range(len(run.plan.sequences)):
        moves = run.transitions.of(sequence)
        for row in np.flatnonzero(moves.cause >> 8 == BY_TIMEOUT).tolist():
            found.append(_wait(run, sequence, run.stay_opened_by(sequence, moves, row - 1)))
    return sorted(found, key=lambda wait: wait.to_ms)


def waits_at_end(run: Run) -> list[Wait]:
    """Explain what each sequence waits for when the run ends, by sequence."""
    found = []
    for sequence in range(len(run.plan.sequences) if run.ticks else 0):
        moves = run.transitions.of(sequence)
        found.append(_wait(run, sequence, run.stay_opened_by(sequence, moves, len(moves) - 1)))
    return found


def _wait(run: Run, sequence: int, stay: Stay) -> Wait:
    phase = run.plan.sequences[sequence].phases[stay.phase]
    return Wait(
        sequence=sequence,
        sequence_name=run.plan.sequences[sequence].name if len(run.plan.sequences) > 1 else "",
        phase=stay.phase,
        phase_name=phase.name,
        from_ms=stay.from_ms,
        to_ms=stay.to_ms,
        timed_out=stay.closed is not None,
        rest=phase.rest,
        stop=phase.stop is not None,
        guards=tuple(_guard_wait(run, sequence, stay, number) for number in range(len(phase.exits))),
        place=phase.place,
    )


def _guard_wait(run: Run, sequence: int, stay: Stay, number: int) -> GuardWait:
    plan = run.plan
    way = plan.sequences[sequence].phases[stay.phase].exits[number]
    guard = plan.guards[way.guard]
    parts: tuple[Comparison, ...] | None = None
    missing: tuple[Comparison, ...] = ()
    longest, true_at_end = 0, False
    rows = looked_rows(run, stay)
    detail = detail_kept(run)
    if detail is not None and run.at_ms is not None:
        truth, _ = guard_margins(plan, way.guard, rows_of(detail, rows))
        longest = longest_ms(truth == TRUE, run.at_ms[rows])
        true_at_end = bool(len(truth) and truth[-1] == TRUE)
        parts = comparisons(run, guard, rows)
        not_met = [part for part in parts if part.ticks and not part.met_at_end]
        missing = tuple(sorted(not_met, key=lambda part: part.met))
    return GuardWait(
        exit=number,
        guard=way.guard,
        to=plan.sequences[sequence].phases[way.to].name,
        text=guard_words(plan, way.guard),
        held=hold_words(guard.hold),
        kept="" if detail is None else _kept_by(run, sequence, stay, detail),
        operator=all(isinstance(plan.leaves[leaf], OnEvent | OnSwitch) for leaf in guard.leaves),
        longest_true_ms=longest,
        true_at_end=true_at_end,
        parts=parts,
        missing=missing,
    )


def _kept_by(run: Run, sequence: int, stay: Stay, detail: Detail) -> str:
    """Say which entry of `anywhere` kept a sequence where it was in the last tick of a stay, and by what."""
    for number, entry in enumerate(run.plan.anywhere):
        facts = found_words(run.plan, entry.guard, detail, stay.to_tick - 1)
        if facts and entry.to[sequence] == stay.phase:
            return f"anywhere {number + 1} held it ({facts})"
    return ""


def cause_words(plan: Plan, move: Transition, detail: Detail | None = None) -> str:
    """Say why a sequence changed its phase: ``guard 1: go comes``, ``timeout after 5 s``.

    detail: that of the whole run, ``run.history.detail``. With it, where several parts of a guard could have
    been the reason, only those are named that were: ``anywhere 1: motors was off``.
    """
    if move.kind == BY_RESET:
        return "reset"
    if move.kind == BY_ANYWHERE:
        guard = plan.anywhere[move.index].guard
        return f"anywhere {move.index + 1}: {_reason(plan, guard, detail, move.tick)}"
    phases = plan.sequences[move.sequence].phases
    left = phases[move.left if move.left is not None else 0]
    if move.kind == BY_GUARD:
        return f"guard {move.index + 1}: {_reason(plan, left.exits[move.index].guard, detail, move.tick)}"
    if move.kind == BY_TIMEOUT and left.timeout is not None:
        return f"timeout after {ms_words(left.timeout.after_ms)}"
    rule = plan.rules[move.index]  # broken in the tick before
    facts = found_words(plan, rule.guard, detail, move.tick - 1) if detail is not None else ""
    return f"broken rule {rule.name}: {facts or rule_words(plan, move.index)}"


def _reason(plan: Plan, guard: int, detail: Detail | None, tick: int) -> str:
    facts = found_words(plan, guard, detail, tick) if detail is not None and is_choice(plan, guard) else ""
    return facts or guard_words(plan, guard)


def move_words(plan: Plan, move: Transition, detail: Detail | None = None) -> str:
    """Say what changed, when and why: ``1.00 s  standing -> lean_right, guard 1: go comes``.

    detail: as for `cause_words`.
    """
    phases = plan.sequences[move.sequence].phases
    left = "" if move.left is None else f"{phases[move.left].name} -> "
    return f"{at(move.at_ms)}  {left}{phases[move.entered].name}, {cause_words(plan, move, detail)}"
