"""Races: two sequences that leave in the same tick though each asked that the other stay."""

from collections.abc import Iterator
from typing import NamedTuple

from sequencer.check.explore.moves import Joint
from sequencer.check.explore.views import TIMEOUT, Option, View
from sequencer.check.travel import required_leaves
from sequencer.plan.tables import InPhase, Plan


class Race(NamedTuple):
    """Two guards, each as sequence, phase and number."""

    sequence: int
    phase: int
    guard: int
    other_sequence: int
    other_phase: int
    other_guard: int


def races(plan: Plan, joint: Joint) -> Iterator[Race]:
    """Yield the races among what a group may do.

    Two that can only leave together are not in a race: they wait for each other to go on side by side.
    """
    for outcome in joint.together:
        for i, (one, first) in enumerate(outcome):
            for other, second in outcome[i + 1 :]:
                if TIMEOUT in (first.number, second.number):
                    continue
                if (
                    _asks(plan, one, first, other, second)
                    and _asks(plan, other, second, one, first)
                    and _may_leave_alone(joint, one, first, other)
                    and _may_leave_alone(joint, other, second, one)
                ):
                    yield Race(
                        one.sequence, one.phase, first.number, other.sequence, other.phase, second.number
                    )


def _asks(plan: Plan, one: View, first: Option, other: View, second: Option) -> bool:
    """Tell whether a guard asks that the other sequence be in a phase which that is just leaving."""
    way = plan.sequences[one.sequence].phases[one.phase].exits[first.number]
    leaves = (plan.leaves[i] for i in required_leaves(plan.guards[way.guard].nodes))
    return any(
        isinstance(leaf, InPhase) and leaf.sequence == other.sequence and second.to not in leaf.phases
        for leaf in leaves
    )


def _may_leave_alone(joint: Joint, one: View, first: Option, other: View) -> bool:
    move = (one.sequence, first.to)
    return any(move in moves and all(s != other.sequence for s, _ in moves) for moves in joint.moves)
