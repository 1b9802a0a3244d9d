"""Margins of guards over time, and of each wait for a guard.

A margin is the signed distance from the threshold in the signal's unit, positive when satisfied: the
quantitative semantics of signal temporal logic (G. E. Fainekos, G. J. Pappas, "Robustness of temporal logic
specifications for continuous-time signals", Theoretical Computer Science 410, 2009, pp. 4262-4291).
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import MisuseError
from sequencer.history.blocks import BY_GUARD, FALSE, NOT_LOOKED_AT, TRUE, UNKNOWN, Detail, HistoryBlock
from sequencer.history.run import Ints, Run, Stay
from sequencer.plan.tables import Compare, Follow, Guard, Plan

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float32]


def comparison_unit(plan: Plan, leaf: int) -> tuple[str, str] | None:
    """Give what a leaf's margin is measured in, (signal or counter, unit), or None if it compares nothing."""
    it = plan.leaves[leaf]
    if isinstance(it, Compare):
        return it.source, it.unit
    return ("signal", it.unit) if isinstance(it, Follow) else None


def guard_unit(plan: Plan, guard: Guard) -> str | None:
    """Give the unit of a guard's margin; None if its comparisons differ in unit or there is none."""
    units = {comparison_unit(plan, leaf) for leaf in guard.leaves} - {None}
    if len(units) != 1:
        return None
    unit = units.pop()
    assert unit is not None
    return unit[1]


def guard_margins(plan: Plan, guard_index: int, detail: Detail) -> tuple[Bytes, Floats]:
    """Work out a guard's truth, uint8 (n,), and margin, float32 (n,), from what its leaves answered.

    A leaf that compares nothing counts as +infinity or -infinity; `all` takes the smallest known part, `any`
    the largest, `not` turns the sign. NaN where the guard is unknown or was not looked at, and everywhere if
    its comparisons differ in unit.
    """
    guard = plan.guards[guard_index]
    stack: list[tuple[NDArray[np.int8], Floats]] = []
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(_leaf(plan, node.arg, detail))
        else:
            parts = stack[len(stack) - node.arg :]
            del stack[len(stack) - node.arg :]
            stack.append(_combined(node.kind, parts))
    truth, margin = stack.pop()
    looked = detail.truth[:, guard.leaves[0]] != NOT_LOOKED_AT
    units = {comparison_unit(plan, leaf) for leaf in guard.leaves} - {None}
    if len(units) > 1:
        margin = np.full_like(margin, np.nan)
    return (
        np.where(looked, truth, NOT_LOOKED_AT).astype(np.uint8),
        np.where(looked, margin, np.nan).astype(np.float32),
    )


def _leaf(plan: Plan, leaf: int, detail: Detail) -> tuple[NDArray[np.int8], Floats]:
    truth = detail.truth[:, leaf].astype(np.int8)
    if comparison_unit(plan, leaf) is not None:
        return truth, detail.margin[:, leaf]
    known = np.where(truth == TRUE, np.inf, -np.inf)
    return truth, np.where(truth == UNKNOWN, np.nan, known).astype(np.float32)


def _combined(kind: str, parts: Sequence[tuple[NDArray[np.int8], Floats]]) -> tuple[NDArray[np.int8], Floats]:
    truths, margins = (np.stack(column) for column in zip(*parts, strict=True))
    if kind == "not":
        truth, margin = 2 - truths[0], -margins[0]
    elif kind == "all":
        truth, margin = truths.min(axis=0), np.fmin.reduce(margins)
    else:
        truth, margin = truths.max(axis=0), np.fmax.reduce(margins)
    return truth.astype(np.int8), np.where(truth == UNKNOWN, np.nan, margin).astype(np.float32)


@dataclass(frozen=True, slots=True)
class GuardVisit:
    """What became of one guard in one stay in its phase.

    fired: it ended the stay. ticks: in how many it was looked at. longest_true_ms: from the first to the last
    tick of its longest time without a break. best, best_ms: the largest margin, and when it was first
    reached; at_firing: the margin in the tick in which it fired. NaN and None where there is none.
    """

    sequence: int
    stay: Stay
    exit: int
    guard: int
    fired: bool
    ticks: int
    true_ticks: int
    longest_true_ms: int
    best: float
    best_ms: int | None
    at_firing: float


def guard_visits(run: Run) -> list[GuardVisit]:
    """List what became of every guard in every stay, by sequence, then time, then guard.

    Raises MisuseError if the run was recorded without detail.
    """
    detail, at_ms = detail_of(run)
    found = []
    for sequence, table in enumerate(run.plan.sequences):
        moves = run.transitions.of(sequence)
        margins = {
            way.guard: guard_margins(run.plan, way.guard, detail)
            for phase in table.phases
            for way in phase.exits
        }
        for stay in run.stays(sequence):
            cause = -1 if stay.closed is None else int(moves.cause[stay.closed])
            rows = looked_rows(run, stay)
            for number, way in enumerate(table.phases[stay.phase].exits):
                truth, margin = margins[way.guard]
                fired = cause == (BY_GUARD << 8 | number)
                found.append(
                    _visit((sequence, stay, number, way.guard, fired), truth[rows], margin[rows], at_ms[rows])
                )
    return found


def _visit(who: tuple[int, Stay, int, int, bool], truth: Bytes, margin: Floats, at_ms: Ints) -> GuardVisit:
    known = ~np.isnan(margin)
    best, best_ms = float("nan"), None
    if known.any():
        row = int(np.nanargmax(margin))
        best, best_ms = float(margin[row]), int(at_ms[row])
    fired = who[-1]
    return GuardVisit(
        *who,
        ticks=int((truth != NOT_LOOKED_AT).sum()),
        true_ticks=int((truth == TRUE).sum()),
        longest_true_ms=longest_ms(truth == TRUE, at_ms),
        best=best,
        best_ms=best_ms,
        at_firing=float(margin[-1]) if fired else float("nan"),
    )


def longest_ms(true: NDArray[np.bool_], at_ms: Ints) -> int:
    """Measure the longest unbroken time in ms, from its first to its last tick; 0 if there is none."""
    edges = np.diff(np.concatenate([[False], true, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return int((at_ms[ends] - at_ms[starts]).max()) if len(starts) else 0


def detail_of(run: Run) -> tuple[Detail, Ints]:
    """Give a run's detail and the time of each tick; raises MisuseError if they were not kept."""
    if run.history is None or run.history.detail is None or run.at_ms is None:
        raise MisuseError(
            "margins need a run that was recorded with detail",
            hint="run with detail=True into a Recorder(plan, keep_ticks=True)",
        )
    return run.history.detail, run.at_ms


def detail_kept(run: Run) -> Detail | None:
    """Give a run's detail, or None if it was not kept."""
    return None if run.history is None else run.history.detail


def looked_rows(run: Run, stay: Stay) -> slice:
    """Give the ticks in which a stay's guards can have been looked at.

    That is from the tick after the entry to the tick of the transition that ended the stay: the record of
    that tick already shows the next phase, but the guards that were looked at are those of the one before.
    """
    return slice(stay.from_tick + 1, min(stay.to_tick + 1, run.ticks))


def rows_of(detail: Detail, rows: slice) -> Detail:
    """Give the detail of some ticks."""
    return Detail(**{column.name: getattr(detail, column.name)[rows] for column in fields(Detail)})


def rows_of_block(history: HistoryBlock, rows: slice) -> HistoryBlock:
    """Give the record of some ticks of a block; what is a total at the end of the block stays."""
    totals = ("bad", "disbelieved", "outside", "refused", "detail")
    names = [column.name for column in fields(HistoryBlock) if column.name not in totals]
    detail = None if history.detail is None else rows_of(history.detail, rows)
    return replace(history, **{name: getattr(history, name)[rows] for name in names}, detail=detail)


def wanted(guard: Guard) -> dict[int, int]:
    """Tell which truth of each leaf helps its guard: FALSE under an odd number of `not`, else TRUE."""
    found: dict[int, int] = {}
    negated = [False]
    for node in reversed(guard.nodes):
        turned = negated.pop()
        if node.kind == "leaf":
            found[node.arg] = FALSE if turned else TRUE
        else:
            negated += [turned != (node.kind == "not")] * node.arg
    return found
