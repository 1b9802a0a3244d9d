"""Races: sequences that leave in the same tick though each asked that another of them stay."""

from collections.abc import Iterator
from itertools import combinations

from sequencer.check.explore.moves import Joint
from sequencer.check.explore.views import TIMEOUT, Option, View
from sequencer.check.travel import required_leaves
from sequencer.plan.tables import InPhase, Plan

# the guards with which they leave, each as sequence, phase and number, in the order of the sequences
Race = tuple[tuple[int, int, int], ...]
Mover = tuple[View, Option]


def races(plan: Plan, joint: Joint) -> Iterator[Race]:
    """Yield the races among what a group may do, in each case all sequences that are part of it.

    They are part of one race if, by whom each asks to stay, each leads to all others: then no order lets
    them do one after another what they do at once. Those that can only leave all together are not in a
    race: they wait for each other to go on side by side.
    """
    asked: dict[Race, list[InPhase]] = {}
    for outcome in joint.together:
        # only those that look at others can be part of one
        movers = [(view, option) for view, option in outcome if view.read and option.number != TIMEOUT]
        if len(movers) < 2:
            continue
        for knot in _knots(movers, _asks(plan, movers, asked)):
            if _each_may_leave_without(joint, knot):
                yield _race(knot)
                continue
            for pair in map(list, combinations(knot, 2)):
                if all(_asks(plan, pair, asked)) and _each_may_leave_without(joint, pair):
                    yield _race(pair)


def _race(movers: list[Mover]) -> Race:
    return tuple(sorted((view.sequence, view.phase, option.number) for view, option in movers))


def _asks(plan: Plan, movers: list[Mover], known: dict[Race, list[InPhase]]) -> list[int]:
    """Return for each as bits which of the others it asks to be in a phase that those are just leaving."""
    found = []
    for mover in movers:
        key = _race([mover])
        if key not in known:
            (sequence, phase, number) = key[0]
            guard = plan.guards[plan.sequences[sequence].phases[phase].exits[number].guard]
            leaves = (plan.leaves[i] for i in required_leaves(guard.nodes))
            known[key] = [leaf for leaf in leaves if isinstance(leaf, InPhase)]
        bits = 0
        for j, (view, option) in enumerate(movers):
            if view is not mover[0]:
                stay = any(x.sequence == view.sequence and option.to not in x.phases for x in known[key])
                bits |= stay << j
        found.append(bits)
    return found


def _knots(movers: list[Mover], asks: list[int]) -> Iterator[list[Mover]]:
    """Yield the largest sets of two or more in which each leads to all others by whom it asks to stay."""
    if sum(map(bool, asks)) < 2:
        return
    reach = list(asks)
    for k in range(len(reach)):
        for i in range(len(reach)):
            if reach[i] >> k & 1:
                reach[i] |= reach[k]
    told = 0
    for i in range(len(reach)):
        knot = [j for j in range(len(reach)) if reach[i] >> j & 1 and reach[j] >> i & 1]
        if len(knot) > 1 and not told >> i & 1:
            told |= sum(1 << j for j in knot)
            yield [movers[j] for j in knot]


def _each_may_leave_without(joint: Joint, movers: list[Mover]) -> bool:
    """Tell whether each may leave while not all of the others do."""
    sequences = {view.sequence for view, _ in movers}
    return all(
        any((v.sequence, o.to) in moves and not sequences <= {s for s, _ in moves} for moves in joint.moves)
        for v, o in movers
    )
