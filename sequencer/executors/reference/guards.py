"""Steps 3 and 5 of a tick: guards in three-valued logic, and how long they must hold.

FALSE < UNKNOWN < TRUE are 0, 1, 2, so Kleene's and, or, not are min, max and 2 - x.
"""

import math
from collections.abc import Callable, Sequence

from sequencer.executors.reference.inputs import WRAP, Inputs
from sequencer.executors.reference.leaves import LeafState
from sequencer.history.blocks import NOT_LOOKED_AT, TRUE
from sequencer.plan.tables import Guard, Hold


class Notes:
    """What each leaf answered in one tick, for a detailed record."""

    def __init__(self, leaves: int) -> None:
        self._blank_truth = [NOT_LOOKED_AT] * leaves
        self._blank_margin = [math.nan] * leaves
        self.clear()

    def clear(self) -> None:
        """Begin a tick: no leaf was looked at."""
        self.truth = self._blank_truth.copy()
        self.margin = self._blank_margin.copy()

    def listen(self, index: int, leaf: LeafState) -> Callable[[], int]:
        """Give a leaf's `truth` that also writes its answer down."""

        def truth() -> int:
            self.margin[index] = leaf.margin()
            answer = self.truth[index] = leaf.truth()
            return answer

        return truth


class HoldState:
    """How long its guard has been true. Without a hold a guard fires as soon as it is true."""

    __slots__ = ()

    def met(self, true: bool) -> bool:
        """Take this tick's truth; tell whether the guard has been true for long enough."""
        return true

    def clear(self) -> None:
        """Start over."""


class _HoldForTime(HoldState):
    """An on-delay (IEC 61131-3 TON): met when now - start >= T, start being the first true tick."""

    __slots__ = ("_inputs", "_met", "_ms", "_start")

    def __init__(self, ms: int, inputs: Inputs) -> None:
        self._ms = ms
        self._inputs = inputs
        self.clear()

    def clear(self) -> None:
        self._start: int | None = None
        self._met = False

    def met(self, true: bool) -> bool:
        if not true:
            self.clear()
            return False
        now = self._inputs.now
        if self._start is None:
            self._start = now
        if (now - self._start) & WRAP >= self._ms:
            self._met = True  # and stays met: a long wait may wrap the clock
        return self._met


class _HoldForSamples(HoldState):
    """Met when the guard has been true while each of its signals was fresh N times.

    Lost signals are waited for no longer, but if all are lost the count stands still: a dead sensor never
    satisfies a hold.
    """

    __slots__ = ("_count", "_fresh", "_samples", "_signals")

    def __init__(self, samples: int, signals: Sequence[int], inputs: Inputs) -> None:
        self._samples = samples
        self._signals = [inputs.signals[index] for index in signals]
        self.clear()

    def clear(self) -> None:
        self._count = 0
        self._fresh = [False] * len(self._signals)

    def met(self, true: bool) -> bool:
        if not true:
            self.clear()
            return False
        if self._count >= self._samples:
            return True
        waits_for_none, all_lost = True, True
        for i, signal in enumerate(self._signals):
            if signal.fresh:
                self._fresh[i] = True
            if not signal.lost:
                all_lost = False
                waits_for_none = waits_for_none and self._fresh[i]
        if waits_for_none and not all_lost:
            self._count += 1
            self._fresh = [False] * len(self._signals)
        return self._count >= self._samples


def _hold_state(hold: Hold | None, inputs: Inputs) -> HoldState:
    if hold is None:
        return HoldState()
    if hold.ms is not None:
        return _HoldForTime(hold.ms, inputs)
    assert hold.samples is not None
    return _HoldForSamples(hold.samples, hold.signals, inputs)


# push the answer of a leaf, or combine the last n answers
Step = tuple[Callable[[], int] | None, Callable[[Sequence[int]], int] | None, int]


class GuardState:
    """One guard: `look()` evaluates it for this tick; `truth` is what it came to."""

    __slots__ = ("_guard", "_hold", "_leaves", "_steps", "truth")

    def __init__(self, guard: Guard, leaves: Sequence[LeafState], inputs: Inputs) -> None:
        self._guard = guard
        self._leaves = leaves
        self._hold = _hold_state(guard.hold, inputs)
        self.truth = NOT_LOOKED_AT
        self.note(None)

    def note(self, notes: Notes | None) -> None:
        """From now on, write what each leaf answers into `notes`; None stops it."""
        combine: dict[str, Callable[[Sequence[int]], int]] = {
            "all": min,
            "any": max,
            "not": lambda answers: 2 - answers[0],
        }
        steps: list[Step] = []
        for node in self._guard.nodes:
            if node.kind != "leaf":
                steps.append((None, combine[node.kind], node.arg))
                continue
            leaf = self._leaves[node.arg]
            steps.append((leaf.truth if notes is None else notes.listen(node.arg, leaf), None, 0))
        self._steps = steps

    def look(self) -> bool:
        """Evaluate every leaf and the hold; tell whether the guard fires: true, and held for long enough."""
        answers: list[int] = []
        for leaf, combine, n in self._steps:
            if leaf is not None:
                answers.append(leaf())
            elif combine is not None:
                operands = answers[-n:]
                del answers[-n:]
                answers.append(combine(operands))
        self.truth = answers[0]
        return self._hold.met(self.truth == TRUE)

    def clear(self) -> None:
        """Clear the guard's latches and start its hold over."""
        self._hold.clear()
        for index in self._guard.leaves:
            self._leaves[index].clear()
