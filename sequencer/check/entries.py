"""What is known of a signal when a phase begins: what every way into the phase asked of it."""

import math
from collections.abc import Iterator

from sequencer.check.facts import Facts, Range
from sequencer.check.travel import required_leaves
from sequencer.plan.tables import Compare, Level, Plan

ANYTHING: Range = (-math.inf, math.inf)


class Entries:
    """Ranges of signals at the entries of phases.

    A signal that follows nothing is known only where each way in is a guard, or an `anywhere` entry, that
    can't be true without a comparison of it: the value then was past that threshold a moment ago.
    """

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.plan: Plan = facts.plan
        self._into: dict[int, dict[int, list[int | None]]] = {}

    def of(self, signal: int, sequence: int, phase: int) -> Range | None:
        """Return between what values a signal stands when a phase begins; None if nothing is known."""
        ways = self._ways_into(sequence).get(phase, [None])
        asked = [ANYTHING if guard is None else self._asked(signal, guard) for guard in ways]
        known = min(low for low, _ in asked), max(high for _, high in asked)
        return None if known == ANYTHING else known

    def _ways_into(self, sequence: int) -> dict[int, list[int | None]]:
        """List the guards that lead into each phase; None stands for a way that asks nothing."""
        if sequence not in self._into:
            found: dict[int, list[int | None]] = {0: [None]}
            for to, guard in self._ways(sequence):
                found.setdefault(to, []).append(guard)
            self._into[sequence] = found
        return self._into[sequence]

    def _ways(self, sequence: int) -> Iterator[tuple[int, int | None]]:
        for phase in self.plan.sequences[sequence].phases:
            for way in phase.exits:
                yield way.to, way.guard
            if phase.timeout is not None:
                yield phase.timeout.to, None
        for entry in self.plan.anywhere:
            yield entry.to[sequence], entry.guard
        for rule in self.plan.rules:
            if rule.to is not None:
                yield rule.to[sequence], None

    def _asked(self, signal: int, guard: int) -> Range:
        low, high = ANYTHING
        held = self.plan.guards[guard].hold is not None
        for index in required_leaves(self.plan.guards[guard].nodes):
            leaf = self.plan.leaves[index]
            if not isinstance(leaf, Compare) or leaf.source != "signal" or leaf.index != signal:
                continue
            # held, it may have been true by its release only
            below = (leaf.release_low if held else None) or leaf.low
            above = (leaf.release_high if held else None) or leaf.high
            if leaf.op in {"at_least", "above", "within"}:
                low = max(low, self._least(below))
            if leaf.op in {"at_most", "below", "within"}:
                high = min(high, self._most(above))
        return low, high

    def _least(self, level: Level | None) -> float:
        assert level is not None
        return self.facts.level(level)[0]

    def _most(self, level: Level | None) -> float:
        assert level is not None
        return self.facts.level(level)[1]
