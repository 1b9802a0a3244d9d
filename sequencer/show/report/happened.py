"""What happened in a run: stays in phases, transitions, broken rules, troubles."""

import numpy as np

from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, RULE_BROKEN
from sequencer.history.run import Run, Transition
from sequencer.history.told import Told
from sequencer.show.report import document as d
from sequencer.show.report.columns import watched_guards
from sequencer.show.report.pack import pack
from sequencer.show.report.places import Sources
from sequencer.show.runs import stuck_at_end
from sequencer.show.text import clean

MOST_TROUBLES = 1000  # in the page's list; nobody reads more, and a run that fails all the time has thousands

BROKEN, UNJUDGED = 2, 1  # in RuleSpans.state


def stays_of(run: Run) -> list[d.Stays]:
    """List the phases of each sequence over time."""
    found = []
    for sequence in range(len(run.plan.sequences)):
        stays = run.stays(sequence)
        found.append(
            d.Stays(
                from_=pack(np.array([stay.from_ms for stay in stays], np.float64), "f8"),
                to=pack(np.array([stay.to_ms for stay in stays], np.float64), "f8"),
                phase=pack(np.array([stay.phase for stay in stays], np.uint8), "u1"),
            )
        )
    return found


def moves_of(run: Run, told: Told) -> d.Moves:
    """List the transitions, with what the guards that fired had to spare, as far as it is known."""
    moves = run.transitions
    guard, spare, settled = [], [], []
    numbers = {
        (watched.sequence, watched.phase, watched.number): i
        for i, watched in enumerate(watched_guards(run.plan))
    }
    units = [""] * len(numbers)
    for move in moves:
        number = _guard_number(move, numbers)
        found = told.spares.get((move.sequence, move.at_ms)) if move.kind == BY_GUARD else None
        if found is not None:
            units[number] = found.unit
        guard.append(number)
        spare.append(float("nan") if found is None else found.amount)
        settled.append(found is None or found.settled)
    return d.Moves(
        at=pack(moves.at_ms, "f8"),
        tick=pack(moves.tick, "u4"),
        sequence=pack(moves.sequence, "u1"),
        left=pack(np.where(moves.left < 0, d.NO_PHASE, moves.left), "u1"),
        entered=pack(moves.entered, "u1"),
        stayed=pack(moves.stayed_ms, "f8"),
        cause=pack(told.cause, "u2"),
        causes=[clean(words) for words in told.causes],
        guard=pack(np.array(guard, np.uint16), "u2"),
        spare=pack(np.array(spare, np.float32), "f4"),
        spare_units=units,
        settled=pack(np.array(settled, np.uint8), "u1"),
    )


def _guard_number(move: Transition, numbers: dict[tuple[int | None, int | None, int], int]) -> int:
    if move.kind == BY_GUARD:
        return numbers[move.sequence, move.left, move.index]
    return numbers[None, None, move.index] if move.kind == BY_ANYWHERE else d.NO_GUARD


def rule_spans(run: Run) -> d.RuleSpans | None:
    """Tell when rules were broken or unjudged; None if the plan has no rules."""
    if not run.plan.rules:
        return None
    spans = run.rules
    return d.RuleSpans(
        from_=pack(np.array([i.from_ms for i in spans], np.float64), "f8"),
        to=pack(np.array([i.to_ms for i in spans], np.float64), "f8"),
        rule=pack(np.array([i.which for i in spans], np.uint16), "u2"),
        state=pack(np.array([BROKEN if i.state == RULE_BROKEN else UNJUDGED for i in spans], np.uint8), "u1"),
    )


def troubles_of(run: Run, told: Told, sources: Sources) -> list[d.Trouble]:
    """List what should not happen in a walk, in the words of the dry run, by time; the first of very many."""
    found = [
        d.Trouble(fault.kind, fault.at_ms, clean(fault.words), sources.place(fault.place))
        for fault in told.summary.faults[:MOST_TROUBLES]
    ]
    found += [
        d.Trouble("end", wait.to_ms, f"at the end: {clean(wait.words)}", sources.place(wait.place))
        for wait in stuck_at_end(run, told.waits)
    ]
    return sorted(found, key=lambda trouble: trouble.at)
