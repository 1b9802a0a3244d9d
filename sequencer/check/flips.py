"""Which comparisons turn a guard by themselves, and how far a value stands from turning them."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from sequencer.check.facts import Facts, Range
from sequencer.plan.tables import Compare, Level, Node


class Flip(NamedTuple):
    """A comparison (an index into Plan.leaves) that becomes true, or false."""

    leaf: int
    true: bool


@dataclass(frozen=True, slots=True)
class Distance:
    """How far a comparison is from turning, and from being so again in the next sample.

    The two differ where there is a release: it counts only while the comparison is true.
    """

    first: float
    after: float


def flips_to(nodes: Iterable[Node], *, true: bool) -> frozenset[Flip]:
    """Return the flips each of which alone makes a guard true, or else false, whatever the rest is."""
    stack: list[tuple[frozenset[Flip], frozenset[Flip]]] = []  # what makes it true, what makes it false
    for node in nodes:
        if node.kind == "leaf":
            stack.append((frozenset({Flip(node.arg, True)}), frozenset({Flip(node.arg, False)})))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        to_true, to_false = [up for up, _ in parts], [down for _, down in parts]
        if node.kind == "not":
            stack.append((to_false[0], to_true[0]))
        elif node.kind == "any":
            stack.append((frozenset().union(*to_true), frozenset.intersection(*to_false)))
        else:
            stack.append((frozenset.intersection(*to_true), frozenset().union(*to_false)))
    return stack[-1][0 if true else 1]


def distance_of(facts: Facts, leaf: Compare, stands: Range, *, true: bool) -> Distance | None:
    """Return how far a comparison is from becoming true, or else false, wherever in a range a value stands.

    None if it is so already somewhere in the range: then it takes no noise.
    """
    held = _Levels(facts, leaf, stands, released=False)
    kept = _Levels(facts, leaf, stands, released=True)
    if true:
        return Distance(held.to_true(), kept.to_true()) if held.to_true() > 0 else None
    return Distance(kept.to_false(), held.to_false()) if held.to_false() > 0 else None


class _Levels:
    """The thresholds of a comparison as they count in one state of its latch, seen from where a value stands.

    Of a named number that end counts from which it is easiest: it may be trimmed.
    """

    def __init__(self, facts: Facts, leaf: Compare, stands: Range, *, released: bool) -> None:
        self.op = leaf.op
        low, high = leaf.low, leaf.high
        if released:
            low, high = leaf.release_low or low, leaf.release_high or high
        self.stands = stands
        self.low, self.high = _ends(facts, low), _ends(facts, high)

    def to_true(self) -> float:
        if self.op in {"within", "outside"}:
            return self._into() if self.op == "within" else self._out()
        return self.low[0] - self.stands[1] if self._rises else self.stands[0] - self.high[1]

    def to_false(self) -> float:
        if self.op in {"within", "outside"}:
            return self._out() if self.op == "within" else self._into()
        return self.stands[0] - self.low[1] if self._rises else self.high[0] - self.stands[1]

    @property
    def _rises(self) -> bool:
        return self.op in {"at_least", "above"}

    def _into(self) -> float:
        return max(self.low[0] - self.stands[1], self.stands[0] - self.high[1])

    def _out(self) -> float:
        return min(self.stands[0] - self.low[1], self.high[0] - self.stands[1])


def _ends(facts: Facts, level: Level | None) -> Range:
    return (0.0, 0.0) if level is None else facts.level(level)
