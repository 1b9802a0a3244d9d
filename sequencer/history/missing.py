"""What each comparison of a guard came to while a phase waited: its best value and what was missing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.history.amounts import amount, at
from sequencer.history.blocks import FALSE, FRESH, LOST, NOT_LOOKED_AT, SEEN, TRUE
from sequencer.history.margins import comparison_unit, detail_of, wanted
from sequencer.history.run import Run
from sequencer.plan.compared import signals_compared
from sequencer.plan.levels import level_value
from sequencer.plan.tables import Compare, Follow, Guard, InPhase, Level, Lost, OnEvent, OnSwitch
from sequencer.plan.words import level_words, number_words

_WISHES = {
    "at_least": "be at least",
    "at_most": "be at most",
    "above": "rise above",
    "below": "fall below",
    "within": "come within",
    "outside": "leave",
}
_REFUSALS = {
    "at_least": "fall below",
    "at_most": "rise above",
    "above": "fall to",
    "below": "rise to",
    "within": "leave",
    "outside": "come within",
}


@dataclass(frozen=True, slots=True)
class Silence:
    """A signal (or the remote, which has no name here) that did not say anything: since when, None: never."""

    name: str
    since_ms: int | None
    lost: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """One leaf of a guard over a wait.

    wish: what was waited for ("left_leg_roll to come within 2 deg of 17 deg"). best, best_ms: the value of
    the signal or counter that came nearest, and when it did so first; None if it was never known or the leaf
    compares nothing. short_by: what was missing then, in `unit`; negative or 0 if it had been enough. ticks:
    how often it was looked at, met: how often it was as wished. silent: the signals it needs that were not
    known at the end.
    """

    leaf: int
    wish: str
    unit: str
    best: float | None
    best_ms: int | None
    short_by: float | None
    ticks: int
    met: int
    met_at_end: bool
    last_met_ms: int | None
    silent: tuple[Silence, ...]

    @property
    def words(self) -> str:
        """Say what was waited for, how near it came and what was missing."""
        parts = [self.wish]
        parts += [_silence_words(silence) for silence in self.silent]
        if self.best is not None and self.best_ms is not None and self.short_by is not None:
            best = f"best {amount(self.best, self.unit)} at {at(self.best_ms)}"
            if self.met and self.last_met_ms is not None:
                parts.append(f"{best}, but no longer so after {at(self.last_met_ms)}")
            elif self.short_by > 0:
                parts.append(f"{best}, {amount(self.short_by, self.unit)} short")
            else:
                parts.append(f"{best}, " + ("enough while it was heard" if self.silent else "just at it"))
        elif self.met and self.last_met_ms is not None:
            parts.append(f"so until {at(self.last_met_ms)}")
        return "; ".join(parts)


def _silence_words(silence: Silence) -> str:
    if silence.since_ms is None:
        return f"{silence.name} was never fresh"
    state = "lost, " if silence.lost else ""
    return f"{silence.name} was {state}silent since {at(silence.since_ms)}"


def comparisons(run: Run, guard: Guard, rows: slice) -> tuple[Comparison, ...]:
    """Tell for each leaf of a guard what became of it in the ticks of `rows`, in the order of the file."""
    return tuple(_comparison(run, leaf, truth, rows) for leaf, truth in sorted(wanted(guard).items()))


def _comparison(run: Run, leaf: int, wanted_truth: int, rows: slice) -> Comparison:
    detail, at_ms = detail_of(run)
    truth = detail.truth[rows, leaf]
    looked = np.flatnonzero(truth != NOT_LOOKED_AT)
    met = np.flatnonzero(truth == wanted_truth)
    # nothing was looked at if the phase was entered in the last tick
    first = min(rows.start, run.ticks - 1)
    last = rows.start + int(looked[-1]) if len(looked) else first
    silent = _silent(run, leaf, last)
    margin = detail.margin[rows, leaf].astype(np.float64) * (-1 if wanted_truth == FALSE else 1)
    table, follower = run.plan.leaves[leaf], 0
    if isinstance(table, Follow) and silent:  # what counts is how far the one came that fell silent
        follower = _worst_follower(run, table, last)
        margin = _own_margin(run, table, follower, rows)
    row = first if np.isnan(margin).all() else rows.start + int(np.nanargmax(margin))
    if isinstance(table, Follow) and not silent:
        follower = _worst_follower(run, table, row)
    known = len(margin) > 0 and not np.isnan(margin[row - rows.start])
    unit = comparison_unit(run.plan, leaf)
    return Comparison(
        leaf=leaf,
        wish=_wish(run, leaf, wanted_truth, (row, follower)),
        unit="" if unit is None else unit[1],
        best=_value(run, leaf, row, follower) if known else None,
        best_ms=int(at_ms[row]) if known else None,
        short_by=-float(margin[row - rows.start]) if known else None,
        ticks=len(looked),
        met=len(met),
        met_at_end=bool(len(looked) and len(met) and looked[-1] == met[-1]),
        last_met_ms=int(at_ms[rows.start + int(met[-1])]) if len(met) else None,
        silent=silent,
    )


def _own_margin(run: Run, leaf: Follow, number: int, rows: slice) -> NDArray[np.float64]:
    """Give one follower's margin over some ticks, NaN while it is not known."""
    detail, _ = detail_of(run)
    follower = run.plan.setpoints[leaf.setpoint].followers[number]
    target = detail.target[rows.start - 1 : rows.stop - 1, leaf.setpoint].astype(np.float64)
    error = detail.signal[rows, follower.signal] - (target + follower.offset)
    side = _travel(run, leaf, rows.stop - 1)
    tolerance = level_value(leaf.tolerance, run.parameters_at(rows.stop - 1))
    known = detail.signal_state[rows, follower.signal] & (SEEN | LOST) == SEEN
    return np.where(known, tolerance + (side * error if side else -np.abs(error)), np.nan)


def _target(run: Run, leaf: Follow, row: int) -> float:
    """Give the target that guards saw in a tick: the one with which the tick before ended."""
    detail, _ = detail_of(run)
    return float(detail.target[max(row - 1, 0), leaf.setpoint])


def _worst_follower(run: Run, leaf: Follow, row: int) -> int:
    """Give the number of the follower that was farthest from where it should be, unknown ones first."""
    detail, _ = detail_of(run)
    target = _target(run, leaf, row)
    followers = run.plan.setpoints[leaf.setpoint].followers
    side = _travel(run, leaf, row)

    def distance(number: int) -> float:
        follower = followers[number]
        if detail.signal_state[row, follower.signal] & (SEEN | LOST) != SEEN:
            return float("inf")
        error = float(detail.signal[row, follower.signal]) - (target + follower.offset)
        return abs(error) if side == 0 else -side * error

    return max(range(len(followers)), key=distance)


def _travel(run: Run, leaf: Follow, row: int) -> int:
    """Tell from which side `reached` is looked at: the sign of target - value when its phase began."""
    owner = run.plan.setpoints[leaf.setpoint].owner
    if leaf.op == "at_target" or owner is None or run.history is None:
        return 0
    ticks = run.transitions.of(owner).tick
    before = ticks[ticks < row]
    tick = int(before[-1]) if len(before) else 0
    start = run.plan.setpoints[leaf.setpoint].start
    entry = start if tick == 0 else float(run.history.setpoint[tick - 1, leaf.setpoint])
    target = _target(run, leaf, row)
    return (target > entry) - (target < entry)


def _value(run: Run, index: int, row: int, follower: int) -> float:
    leaf = run.plan.leaves[index]
    detail, _ = detail_of(run)
    if isinstance(leaf, Follow):
        followers = run.plan.setpoints[leaf.setpoint].followers
        return float(detail.signal[row, followers[follower].signal])
    assert isinstance(leaf, Compare)
    if leaf.source == "signal":
        return float(detail.signal[row, leaf.index])
    assert run.history is not None
    return float(run.history.counter[max(row - 1, 0), leaf.index])


def _wish(run: Run, index: int, wanted_truth: int, best: tuple[int, int]) -> str:
    """Say what was waited for, by the tick that came nearest and the number of the follower that counts."""
    plan, leaf, (row, number) = run.plan, run.plan.leaves[index], best
    no = "" if wanted_truth == TRUE else "not "
    match leaf:
        case Compare():
            name = (plan.signals if leaf.source == "signal" else plan.counters)[leaf.index].name
            verb = (_WISHES if wanted_truth == TRUE else _REFUSALS)[leaf.op]
            levels = [x for x in (leaf.low, leaf.high) if x is not None]
            texts = [_level(run, level, leaf.unit, row) for level in levels]
            return f"{name} to {verb} {' to '.join(texts)}"
        case Follow():
            follower = plan.setpoints[leaf.setpoint].followers[number]
            name = plan.signals[follower.signal].name
            goal = number_words(_target(run, leaf, row) + follower.offset, leaf.unit)
            verb = "come" if leaf.op == "reached" else "be"
            return f"{name} {no}to {verb} within {_level(run, leaf.tolerance, leaf.unit, row)} of {goal}"
        case OnEvent():
            return f"{plan.events[leaf.event].name} {no}to come"
        case OnSwitch():
            return f"{plan.switches[leaf.switch].name} to be {'on' if wanted_truth == TRUE else 'off'}"
        case Lost():
            name = "the remote" if leaf.signal is None else plan.signals[leaf.signal].name
            return f"{name} {no}to be lost"
        case InPhase():
            sequence = plan.sequences[leaf.sequence]
            phases = " or ".join(sequence.phases[p].name for p in leaf.phases)
            return f"{sequence.name} {no}to be in {phases}"


def _level(run: Run, level: Level, unit: str, row: int) -> str:
    text = level_words(run.plan, level, unit)
    if level.parameter is None:
        return text
    return f"{text} ({number_words(level_value(level, run.parameters_at(row)), unit)})"


def _silent(run: Run, index: int, row: int) -> tuple[Silence, ...]:
    """List the signals of a leaf that are lost or unseen in tick `row`."""
    detail, at_ms = detail_of(run)
    found = []
    for signal in signals_compared(run.plan.leaves[index], run.plan.setpoints):
        state = int(detail.signal_state[row, signal])
        if state & (SEEN | LOST) == SEEN:
            continue
        fresh: NDArray[np.int64] = np.flatnonzero(detail.signal_state[: row + 1, signal] & FRESH)
        since = int(at_ms[fresh[-1]]) if len(fresh) else run.fresh_before_ms.get(signal)
        since = since if state & SEEN else None
        found.append(Silence(run.plan.signals[signal].name, since, bool(state & LOST)))
    return tuple(found)
