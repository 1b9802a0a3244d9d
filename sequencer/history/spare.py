"""What the guards that fired had to spare.

A guard fires as soon as its threshold is crossed, so its margin in that tick says little. What a maker wants
to know is how much further the signals went: by how much the threshold could have been moved and the guard
would still have come true. So a fired guard is followed on

- from the entry of its phase to the end of the phase after it, against its thresholds without release, and
- where it compares a setpoint's followers, no longer than the setpoint keeps its target.

What it had to spare is the largest margin in that time. If the margin was still growing when the time was
over (its mean over the last 100 ms is above the mean over the 100 ms before by more than the signal's noise),
the signal was stopped on its way and would have gone further: the figure is then only a lower bound, and
`settled` is False.

Guards in different units are compared by the share of the span of the signal that has least to spare.
Events, switches, counters, `lost` and other sequences count as they stood when the guard fired: there is
nothing between yes and no to measure.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import BY_GUARD, LOST, SEEN, TRUE
from sequencer.history.margins import detail_of
from sequencer.history.run import Ints, Run, Stay
from sequencer.plan.levels import level_value
from sequencer.plan.tables import Compare, Follow, Guard, Level

SETTLE_MS = 100
LEAST_NOISE = 0.001  # share of the span, for signals whose noise is not given

Doubles = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spare:
    """What one fired guard had to spare.

    amount: the largest margin, in `unit`, of the signal that had least to spare, reached at `best_ms`.
    share: the same as a share of the signal's span. settled: False if it is only a lower bound.
    """

    sequence: int
    phase: int
    exit: int
    to: int
    fired_ms: int
    signal: int
    unit: str
    amount: float
    share: float
    best_ms: int
    settled: bool


@dataclass(frozen=True, slots=True)
class _Firing:
    """One firing: the stay it ended, the tick, and the last tick to look at (exclusive)."""

    run: Run
    sequence: int
    stay: Stay
    tick: int
    end: int
    parameters: Sequence[float]


@dataclass(frozen=True, slots=True)
class _Margin:
    """Margin over the window as share of a span; `signal` says whose it is, per tick (-1: nobody's)."""

    share: Doubles
    signal: Ints


def spares(run: Run) -> list[Spare]:
    """Measure what every guard that fired had to spare, by sequence, then time.

    Guards that led out of or into a stop phase, or that compare no signal, have none. Raises MisuseError if
    the run was recorded without detail.
    """
    detail_of(run)
    found = []
    for sequence, table in enumerate(run.plan.sequences):
        moves = run.transitions.of(sequence)
        stays = run.stays(sequence)
        for stay, following in pairwise(stays):
            assert stay.closed is not None
            move = moves[stay.closed]
            stops = {table.phases[p].stop for p in (stay.phase, move.entered)}
            if move.kind != BY_GUARD or stops != {None}:
                continue
            end = min(following.to_tick + 1, run.ticks)
            parameters = run.parameters_at(move.tick)
            firing = _Firing(run, sequence, stay, move.tick, end, parameters)
            spare = _spare(firing, move.index, move.entered)
            if spare is not None:
                found.append(spare)
    return found


def _spare(firing: _Firing, exit_number: int, to: int) -> Spare | None:
    run, stay = firing.run, firing.stay
    _, at_ms = detail_of(run)
    guard = run.plan.guards[run.plan.sequences[firing.sequence].phases[stay.phase].exits[exit_number].guard]
    first, end = stay.from_tick + 1, min([firing.end, *_changes_of_target(firing, guard)])
    margin = _guard(firing, guard, slice(first, end))
    known = np.where(margin.signal >= 0, margin.share, np.nan)
    if np.isnan(known).all():
        return None
    row = int(np.nanargmax(known))
    signal = int(margin.signal[row])
    table = run.plan.signals[signal]
    span = table.high - table.low
    noise = max(table.noise / span, LEAST_NOISE)
    return Spare(
        sequence=firing.sequence,
        phase=stay.phase,
        exit=exit_number,
        to=to,
        fired_ms=int(at_ms[firing.tick]),
        signal=signal,
        unit=table.unit,
        amount=float(known[row]) * span,
        share=float(known[row]),
        best_ms=int(at_ms[first + row]),
        settled=not _still_growing(known, at_ms[first:end], noise),
    )


def _still_growing(share: Doubles, at_ms: Ints, noise: float) -> bool:
    """Tell whether the margin was still on its way up when the window ended."""
    last = at_ms > at_ms[-1] - SETTLE_MS
    before = (at_ms > at_ms[-1] - 2 * SETTLE_MS) & ~last
    late, early = share[last], share[before]
    late, early = late[~np.isnan(late)], early[~np.isnan(early)]
    if not len(late) or not len(early):
        return True  # too short to tell
    return bool(late.mean() - early.mean() > noise)


def _changes_of_target(firing: _Firing, guard: Guard) -> list[int]:
    """Give the ticks from which the setpoints that a guard asks about had another target."""
    detail, _ = detail_of(firing.run)
    found = []
    for leaf in (firing.run.plan.leaves[i] for i in guard.leaves):
        if isinstance(leaf, Follow):
            target = detail.target[firing.tick - 1 : firing.end, leaf.setpoint]
            changed = np.flatnonzero(target != target[0])
            # a tick's record holds the target it ends with; its guards saw the one it began with
            found += [firing.tick - 1 + int(row) + 1 for row in changed[:1]]
    return found


def _guard(firing: _Firing, guard: Guard, rows: slice) -> _Margin:
    """Combine the leaves' margins as shares: `all` the smallest known, `any` the largest, `not` turned."""
    stack: list[_Margin] = []
    for node in guard.nodes:
        if node.kind == "leaf":
            stack.append(_leaf(firing, node.arg, rows))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        share = np.stack([part.share for part in parts])
        signal = np.stack([part.signal for part in parts])
        if node.kind == "not":
            stack.append(_Margin(-share[0], signal[0]))
            continue
        missing = np.inf if node.kind == "all" else -np.inf
        filled = np.where(np.isnan(share), missing, share)
        which = filled.argmin(axis=0) if node.kind == "all" else filled.argmax(axis=0)
        columns = np.arange(share.shape[1])
        stack.append(_Margin(share[which, columns], signal[which, columns]))
    return stack[0]


def _leaf(firing: _Firing, index: int, rows: slice) -> _Margin:
    leaf, n = firing.run.plan.leaves[index], rows.stop - rows.start
    if isinstance(leaf, Compare) and leaf.source == "signal":
        return _of_span(firing, leaf.index, _compared(firing, leaf, rows))
    if isinstance(leaf, Follow):
        parts = [
            _of_span(firing, follower.signal, _followed(firing, leaf, number, rows))
            for number, follower in enumerate(firing.run.plan.setpoints[leaf.setpoint].followers)
        ]
        share = np.stack([part.share for part in parts])
        which = np.where(np.isnan(share), -np.inf, share).argmin(axis=0)  # any unknown makes it unknown
        columns = np.arange(n)
        return _Margin(share[which, columns], np.stack([p.signal for p in parts])[which, columns])
    detail, _ = detail_of(firing.run)
    yes = np.inf if detail.truth[firing.tick, index] == TRUE else -np.inf
    return _Margin(np.full(n, yes), np.full(n, -1))


def _of_span(firing: _Firing, signal: int, margin: Doubles) -> _Margin:
    table = firing.run.plan.signals[signal]
    return _Margin(margin / (table.high - table.low), np.full(len(margin), signal))


def _values(firing: _Firing, signal: int, rows: slice) -> Doubles:
    """Give a signal's values, NaN while unseen or lost."""
    detail, _ = detail_of(firing.run)
    state = detail.signal_state[rows, signal] & (SEEN | LOST)
    return np.where(state == SEEN, detail.signal[rows, signal], np.nan).astype(np.float64)


def _compared(firing: _Firing, leaf: Compare, rows: slice) -> Doubles:
    def value(level: Level | None) -> float:
        return np.nan if level is None else level_value(level, firing.parameters)

    v, low, high = _values(firing, leaf.index, rows), value(leaf.low), value(leaf.high)
    if leaf.op in ("at_least", "above"):
        return v - low
    if leaf.op in ("at_most", "below"):
        return high - v
    if leaf.op == "within":
        return np.minimum(v - low, high - v)
    return np.maximum(low - v, v - high)


def _followed(firing: _Firing, leaf: Follow, number: int, rows: slice) -> Doubles:
    run = firing.run
    detail, _ = detail_of(run)
    setpoint = run.plan.setpoints[leaf.setpoint]
    follower = setpoint.followers[number]
    target = float(detail.target[firing.tick - 1, leaf.setpoint])
    tolerance = level_value(leaf.tolerance, firing.parameters)
    error = _values(firing, follower.signal, rows) - (target + follower.offset)
    side = 0 if leaf.op == "at_target" else _side(firing, leaf.setpoint, target)
    if side == 0:
        return tolerance - np.abs(error)
    return error + tolerance if side > 0 else tolerance - error


def _side(firing: _Firing, setpoint: int, target: float) -> int:
    """Tell from which side a setpoint comes: from where it stood when its own sequence entered its phase."""
    run = firing.run
    table = run.plan.setpoints[setpoint]
    if table.owner is None or run.history is None:
        return 0
    ticks = run.transitions.of(table.owner).tick
    entered = ticks[ticks < firing.tick]
    tick = int(entered[-1]) if len(entered) else 0
    entry = table.start if tick == 0 else float(run.history.setpoint[tick - 1, setpoint])
    return (target > entry) - (target < entry)
