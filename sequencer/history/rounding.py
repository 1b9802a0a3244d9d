"""A walk in int16 and in binary32 on the same inputs: which decisions differ, and what came of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sequencer.history.blocks import NOT_LOOKED_AT
from sequencer.history.margins import detail_of, guard_margins, guard_unit
from sequencer.history.run import Run, Transition
from sequencer.plan.tables import Plan


@dataclass(frozen=True, slots=True)
class Decision:
    """A guard that came out differently in ticks in which both runs looked at it.

    where: its phase, or empty for `anywhere` and rules, which `kind` tells. number counts from 0 in the phase
    or in its list. ticks: how many; tick, at_ms: the first. truth_int16, truth_binary32: FALSE to TRUE.
    margin_int16, margin_binary32: how far the first was from the threshold, in `unit`; NaN if there is none.
    """

    kind: Literal["guard", "anywhere", "rule"]
    sequence: int
    phase: int
    number: int
    guard: int
    ticks: int
    tick: int
    at_ms: int
    truth_int16: int
    truth_binary32: int
    margin_int16: float
    margin_binary32: float
    unit: str | None


@dataclass(frozen=True, slots=True)
class Shift:
    """A transition that both runs made in the same order, but not in the same tick."""

    int16: Transition
    binary32: Transition

    @property
    def later_ms(self) -> int:
        """By how much int16 was later; below 0 if it was earlier."""
        return self.int16.at_ms - self.binary32.at_ms


@dataclass(frozen=True, slots=True)
class Parting:
    """From here on a sequence goes another way; None: that run has no further transition."""

    sequence: int
    int16: Transition | None
    binary32: Transition | None


@dataclass(frozen=True, slots=True)
class Rounding:
    """What int16 changes. `ticks` and `transitions` were compared."""

    plan: Plan
    ticks: int
    transitions: int
    decisions: tuple[Decision, ...]
    shifts: tuple[Shift, ...]
    partings: tuple[Parting, ...]

    @property
    def differs(self) -> bool:
        """Whether any decision differs."""
        return bool(self.decisions or self.shifts or self.partings)


def rounding(whole: Run, plain: Run) -> Rounding:
    """Compare a run in int16 with one in binary32 on the same inputs.

    A guard is compared in the ticks in which both runs looked at it, so once one of them is ahead,
    differences may follow from that. Raises MisuseError if a run was recorded without detail.
    """
    shifts, partings = [], []
    compared = 0
    for sequence in range(len(whole.plan.sequences)):
        a, b = list(whole.transitions.of(sequence)), list(plain.transitions.of(sequence))
        pairs = list(zip(a, b, strict=False))
        both = next((i for i, (x, y) in enumerate(pairs) if _way(x) != _way(y)), len(pairs))
        compared += both
        shifts += [Shift(x, y) for x, y in pairs[:both] if x.tick != y.tick]
        if both < max(len(a), len(b)):
            rest = [moves[both] if both < len(moves) else None for moves in (a, b)]
            partings.append(Parting(sequence, *rest))
    decisions = tuple(_decisions(whole, plain))
    shifts.sort(key=lambda shift: min(shift.int16.tick, shift.binary32.tick))
    return Rounding(whole.plan, whole.ticks, compared, decisions, tuple(shifts), tuple(partings))


def _way(move: Transition) -> tuple[int | None, int, int, int]:
    return move.left, move.entered, move.kind, move.index


_Asked = tuple[Literal["guard", "anywhere", "rule"], int, int, int, int]


def _asked(plan: Plan) -> Iterator[_Asked]:
    """List every guard as (kind, sequence, phase, number, index)."""
    for s, sequence in enumerate(plan.sequences):
        for p, phase in enumerate(sequence.phases):
            yield from (("guard", s, p, n, way.guard) for n, way in enumerate(phase.exits))
    yield from (("anywhere", 0, 0, n, entry.guard) for n, entry in enumerate(plan.anywhere))
    yield from (("rule", 0, 0, n, rule.guard) for n, rule in enumerate(plan.rules))


def _decisions(whole: Run, plain: Run) -> Iterator[Decision]:
    (detail, at_ms), (other, _) = detail_of(whole), detail_of(plain)
    for asked in _asked(whole.plan):
        guard = asked[-1]
        (truth, margin), (plain_truth, plain_margin) = (
            guard_margins(run.plan, guard, its) for run, its in ((whole, detail), (plain, other))
        )
        looked = (truth != NOT_LOOKED_AT) & (plain_truth != NOT_LOOKED_AT)
        rows = np.flatnonzero(looked & (truth != plain_truth))
        if len(rows):
            row = int(rows[0])
            yield Decision(
                *asked,
                ticks=len(rows),
                tick=row,
                at_ms=int(at_ms[row]),
                truth_int16=int(truth[row]),
                truth_binary32=int(plain_truth[row]),
                margin_int16=float(margin[row]),
                margin_binary32=float(plain_margin[row]),
                unit=guard_unit(whole.plan, whole.plan.guards[guard]),
            )
