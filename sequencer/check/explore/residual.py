"""Guards with all that a configuration fixes put in: phases, counters, targets; boxes are asked the rest.

A comparison with a setpoint's target becomes comparisons of its followers with numbers, since in a
configuration the target is known. From which side `reached` looks may be open; a free choice stands for that.
"""

from dataclasses import dataclass, replace
from typing import cast

from sequencer.base.binary32 import f32
from sequencer.check.facts import Condition
from sequencer.check.questions import Asker
from sequencer.executors.reference.leaves import TESTS
from sequencer.plan.tables import Compare, Follow, Guard, InPhase, Leaf, Level, Node, OnSwitch, Plan

CHOICES = 1_000_000  # switches from this number on are no switches of the machine but free choices of ours

Left = Condition | bool  # what is left of a guard: something to ask, or its truth
Aim = tuple[float, tuple[int, ...]]  # a target, and from which sides it may be approached
_Part = tuple[Node, ...] | bool


@dataclass(frozen=True, slots=True)
class Known:
    """What is known where a guard is looked at; None where it may be anything.

    phases: of each sequence. counters: of each counter. targets: of each setpoint, in its unit, together with
    the sides from which `reached` may look (1 rising, -1 falling, 0 nothing to travel). released: whether
    comparisons look at their release, None if that is open.
    """

    phases: tuple[int | None, ...]
    counters: tuple[int | None, ...]
    targets: tuple[Aim | None, ...]
    released: bool | None = None


class Residuals:
    """Makes residual conditions and answers questions about them.

    `asker` works on a plan with the leaves of the residuals added at the end, as they are needed.
    """

    def __init__(self, plan: Plan, *, most_steps: int) -> None:
        self._leaves = list(plan.leaves)
        self.plan = replace(plan, leaves=cast("tuple[Leaf, ...]", self._leaves))  # a list, as it grows
        self.asker = Asker(self.plan, most_steps=most_steps)
        self._numbers: dict[Leaf, int] = {leaf: number for number, leaf in enumerate(plan.leaves)}

    def of(
        self, guard: Guard, known: Known, sequence: int | None, phase: int | None, *, watched: bool = False
    ) -> Left:
        """Put what is known into a guard."""
        left = self._fold(guard.nodes, known)
        if isinstance(left, bool):
            return left
        at_once = not watched and guard.hold is None and left == guard.nodes
        return Condition(left, sequence, phase, watched, at_once)

    def _fold(self, nodes: tuple[Node, ...], known: Known) -> _Part:
        stack: list[_Part] = []
        for node in nodes:
            if node.kind == "leaf":
                stack.append(self._leaf(node, known))
                continue
            parts = stack[len(stack) - node.arg :]
            del stack[len(stack) - node.arg :]
            stack.append(negated(parts[0]) if node.kind == "not" else joined(node.kind == "all", parts))
        return stack[-1]

    def _leaf(self, node: Node, known: Known) -> _Part:
        leaf = self._leaves[node.arg]
        if isinstance(leaf, InPhase):
            phase = known.phases[leaf.sequence]
            return (node,) if phase is None else phase in leaf.phases
        if isinstance(leaf, Compare | Follow) and leaf.latch is not None and known.released is not None:
            leaf = _without_latch(leaf, released=known.released)
        if isinstance(leaf, Compare) and leaf.source == "counter" and leaf.latch is None:
            count = known.counters[leaf.index]
            if count is not None:
                return TESTS[leaf.op](count, *(self._number(level) for level in (leaf.low, leaf.high)))
        if isinstance(leaf, Follow):
            aim = known.targets[leaf.setpoint]
            if aim is not None:
                return self._follow(leaf, *aim)
        return (self._node(leaf),)

    def _number(self, level: Level | None) -> float:
        return 0.0 if level is None else self.asker.facts.level(level)[0]

    def _follow(self, leaf: Follow, target: float, sides: tuple[int, ...]) -> _Part:
        if leaf.op == "at_target":
            sides = (0,)
        ways = [self._near(leaf, target, side) for side in sides]
        if len(ways) == 1:
            return ways[0]
        first, second = (
            self._node(OnSwitch(CHOICES + 2 * leaf.setpoint + i, False, leaf.place)) for i in (0, 1)
        )
        chosen: list[list[_Part]] = [[(first,)], [negated((first,)), (second,)]]
        chosen.append([negated((first,)), negated((second,))])
        if len(ways) == 2:
            chosen[1] = [negated((first,))]
        return joined(False, [joined(True, [*c, way]) for c, way in zip(chosen, ways, strict=False)])

    def _near(self, leaf: Follow, target: float, side: int) -> _Part:
        tolerance = self._number(leaf.tolerance)
        wider = tolerance if leaf.release is None else self._number(leaf.release)
        parts: list[_Part] = []
        for follower in self.plan.setpoints[leaf.setpoint].followers:
            aim = f32(target + follower.offset)
            low, high = Level(aim - tolerance), Level(aim + tolerance)
            release_low, release_high = Level(aim - wider), Level(aim + wider)
            rising, falling = side >= 0, side <= 0
            compared = Compare(
                "within" if side == 0 else "at_least" if rising else "at_most",
                "signal",
                follower.signal,
                low if rising else None,
                high if falling else None,
                release_low if leaf.latch is not None and rising else None,
                release_high if leaf.latch is not None and falling else None,
                leaf.latch,
                leaf.unit,
                leaf.place,
            )
            parts.append((self._node(compared),))
        return joined(True, parts)

    def _node(self, leaf: Leaf) -> Node:
        if leaf not in self._numbers:
            self._numbers[leaf] = len(self._leaves)
            self._leaves.append(leaf)
        return Node("leaf", self._numbers[leaf])


def _without_latch(leaf: Compare | Follow, *, released: bool) -> Compare | Follow:
    """Return a comparison that always looks at its release, or never."""
    if isinstance(leaf, Follow):
        tolerance = leaf.release if released and leaf.release is not None else leaf.tolerance
        return replace(leaf, tolerance=tolerance, release=None, latch=None)
    low, high = (leaf.release_low, leaf.release_high) if released else (leaf.low, leaf.high)
    return replace(leaf, low=low, high=high, release_low=None, release_high=None, latch=None)


def negated(part: _Part) -> _Part:
    """Turn a part round; two turns cancel out."""
    if isinstance(part, bool):
        return not part
    last = part[-1]
    return part[:-1] if last.kind == "not" else (*part, Node("not", 1))


def joined(all_of: bool, parts: list[_Part]) -> _Part:
    """Join parts with `all` or `any`, leaving out those that are decided."""
    open_parts = [part for part in parts if not isinstance(part, bool)]
    if any(isinstance(part, bool) and part != all_of for part in parts):
        return not all_of
    if not open_parts:
        return all_of
    if len(open_parts) == 1:
        return open_parts[0]
    nodes = [node for part in open_parts for node in part]
    return (*nodes, Node("all" if all_of else "any", len(open_parts)))
