"""What is known of a signal when a phase begins: what each way into the phase asked of it."""

import math
from collections.abc import Iterator

from sequencer.check.facts import Facts, Range
from sequencer.plan.tables import Compare, Guard, Level, Plan

ANYTHING: Range = (-math.inf, math.inf)
NEVER: Range = (math.inf, -math.inf)
_Both = tuple[Range, Range]  # where a signal stands if a condition is true, and if it is false


class Entries:
    """Ranges of signals at the entries of phases.

    A signal that follows nothing is known only where each way in is a guard, or an `anywhere` entry, that
    can't be true unless it is somewhere: the value then was there a moment ago.
    """

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.plan: Plan = facts.plan
        self._into: dict[int, dict[int, list[int | None]]] = {}
        self._known: dict[tuple[int, int, int], list[Range]] = {}
        self._watched = {entry.guard for entry in facts.plan.anywhere}

    def of(self, signal: int, sequence: int, phase: int) -> list[Range]:
        """Return between what values a signal stands when a phase begins, for each different way in.

        Nothing if some way leaves it unknown. A way that can't be taken is left out.
        """
        key = (signal, sequence, phase)
        if key not in self._known:
            self._known[key] = self._of(signal, self._ways_into(sequence).get(phase, [None]))
        return self._known[key]

    def _of(self, signal: int, ways: list[int | None]) -> list[Range]:
        if None in ways:
            return []
        asked = [self._asked(signal, self.plan.guards[guard]) for guard in ways if guard is not None]
        return [] if ANYTHING in asked else [known for known in dict.fromkeys(asked) if known != NEVER]

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

    def _asked(self, signal: int, guard: Guard) -> Range:
        """Return where a signal stands when a guard fires."""
        # a comparison that was looked at before may be true by its release only
        latched = guard.hold is not None or len(guard.nodes) > 1 or guard.index in self._watched
        stack: list[_Both] = []
        for node in guard.nodes:
            if node.kind == "leaf":
                stack.append(self._of_leaf(signal, node.arg, latched))
                continue
            parts = stack[len(stack) - node.arg :]
            del stack[len(stack) - node.arg :]
            true, false = [true for true, _ in parts], [false for _, false in parts]
            if node.kind == "not":
                stack.append((false[0], true[0]))
            else:
                stack.append((_met(true), _hull(false)) if node.kind == "all" else (_hull(true), _met(false)))
        return stack[-1][0]

    def _of_leaf(self, signal: int, index: int, latched: bool) -> _Both:
        leaf = self.plan.leaves[index]
        if not isinstance(leaf, Compare) or leaf.source != "signal" or leaf.index != signal:
            return ANYTHING, ANYTHING
        low = (leaf.release_low if latched else None) or leaf.low
        high = (leaf.release_high if latched else None) or leaf.high
        if leaf.op in {"at_least", "above"}:
            return (self._least(low), math.inf), (-math.inf, self._most(leaf.low))
        if leaf.op in {"at_most", "below"}:
            return (-math.inf, self._most(high)), (self._least(leaf.high), math.inf)
        if leaf.op == "within":
            return (self._least(low), self._most(high)), ANYTHING
        return ANYTHING, (self._least(leaf.low), self._most(leaf.high))

    def _least(self, level: Level | None) -> float:
        assert level is not None
        return self.facts.level(level)[0]

    def _most(self, level: Level | None) -> float:
        assert level is not None
        return self.facts.level(level)[1]


def _met(ranges: list[Range]) -> Range:
    low, high = max(low for low, _ in ranges), min(high for _, high in ranges)
    return (low, high) if low <= high else NEVER


def _hull(ranges: list[Range]) -> Range:
    return min(low for low, _ in ranges), max(high for _, high in ranges)
