"""Where a setpoint may stand when a phase begins, and how long its way to the new target takes.

A setpoint's value on entry depends on the route. Each route is followed over the graph with two ranges:
where the value may be, and where it is aimed at. A guard that waits for the arrival leaves the value at its
aim; any other way out (a timeout, `anywhere`, another guard) may leave it anywhere on its way. The ranges
only ever grow and have few different ends, so the walk over the graph ends.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from sequencer.check.edges import watched_targets
from sequencer.check.facts import Facts, Range
from sequencer.plan.tables import Compare, Exit, Follow, Node, Plan


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a setpoint is (`value`) and where it is going (`aim`) when a phase begins."""

    value: Range
    aim: Range


def joined(*ranges: Range) -> Range:
    """Return the least range that holds all of some ranges."""
    return min(low for low, _ in ranges), max(high for _, high in ranges)


def required_leaves(nodes: Iterable[Node]) -> frozenset[int]:
    """Return the leaves (indices into Plan.leaves) without which a guard cannot be true.

    Those under `all` count, those that every part of an `any` needs, none under `not`.
    """
    return _leaves_of(nodes, gathered="all")


def sufficient_leaves(nodes: Iterable[Node]) -> frozenset[int]:
    """Return the leaves each of which alone makes a guard true: those under `any`, none under `not`."""
    return _leaves_of(nodes, gathered="any")


def _leaves_of(nodes: Iterable[Node], *, gathered: str) -> frozenset[int]:
    stack: list[frozenset[int]] = []
    for node in nodes:
        if node.kind == "leaf":
            stack.append(frozenset({node.arg}))
            continue
        parts = stack[len(stack) - node.arg :]
        del stack[len(stack) - node.arg :]
        if node.kind == "not":
            stack.append(frozenset())
        elif node.kind == gathered:
            stack.append(frozenset().union(*parts))
        else:
            stack.append(frozenset.intersection(*parts))
    return stack[-1]


class Travels:
    """The stands of every setpoint at the entry of every phase of the sequence that owns it.

    by_guards_only: follow the routes of a walk in which nothing goes wrong: no timeout, no `anywhere`, no
    way into a stop phase.
    """

    def __init__(self, facts: Facts, *, by_guards_only: bool = False) -> None:
        self.facts = facts
        self.plan: Plan = facts.plan
        self.by_guards_only = by_guards_only
        self._stands: dict[int, list[Stand | None]] = {}

    def at_entry(self, setpoint: int, phase: int) -> Stand | None:
        """Return a setpoint's stand when a phase of its own sequence begins; None if nothing leads there."""
        if setpoint not in self._stands:
            self._stands[setpoint] = self._follow_routes(setpoint)
        return self._stands[setpoint][phase]

    def aim_in(self, setpoint: int, phase: int) -> Range | None:
        """Return where a setpoint is going while a phase is active: its own command, or what is left over."""
        stand = self.at_entry(setpoint, phase)
        return None if stand is None else self._aim(setpoint, phase, stand)

    def _aim(self, setpoint: int, phase: int, stand: Stand) -> Range:
        owner = self.plan.setpoints[setpoint].owner
        assert owner is not None
        for command in reversed(self.plan.sequences[owner].phases[phase].commands):
            if command.setpoint == setpoint:
                return self.facts.target(setpoint, command.level)
        return stand.aim

    def _follow_routes(self, setpoint: int) -> list[Stand | None]:
        row = self.plan.setpoints[setpoint]
        assert row.owner is not None
        phases = self.plan.sequences[row.owner].phases
        stands: list[Stand | None] = [None] * len(phases)
        start = (row.start, row.start)
        todo = [(0, Stand(start, start))]
        watched = () if self.by_guards_only else tuple(watched_targets(self.plan, row.owner))
        while todo:
            phase, arriving = todo.pop()
            known = stands[phase]
            grown = arriving if known is None else _grown(known, arriving)
            if grown == known:
                continue
            stands[phase] = grown
            aim = self._aim(setpoint, phase, grown)
            on_the_way = aim if row.rate is None else joined(grown.value, aim)
            todo += self._leaving(setpoint, row.owner, phase, Stand(aim, aim), Stand(on_the_way, aim))
            todo += [(to, Stand(on_the_way, aim)) for to in watched]
        return stands

    def _leaving(
        self, setpoint: int, sequence: int, phase: int, arrived: Stand, on_the_way: Stand
    ) -> Iterator[tuple[int, Stand]]:
        row = self.plan.sequences[sequence].phases[phase]
        for way in row.exits:
            if self.by_guards_only and self.plan.sequences[sequence].phases[way.to].stop is not None:
                continue
            waits = self.by_guards_only or self._waits_for(setpoint, way)
            yield way.to, arrived if waits else on_the_way
        if row.timeout is not None and not self.by_guards_only:
            yield row.timeout.to, on_the_way

    def _waits_for(self, setpoint: int, way: Exit) -> bool:
        leaves = (self.plan.leaves[i] for i in required_leaves(self.plan.guards[way.guard].nodes))
        return any(isinstance(leaf, Follow) and leaf.setpoint == setpoint for leaf in leaves)


def _grown(known: Stand, arriving: Stand) -> Stand:
    return Stand(joined(known.value, arriving.value), joined(known.aim, arriving.aim))


def slowest_per_s(facts: Facts, setpoint: int) -> float | None:
    """Return a setpoint's least rate in units a second, over what its parameter may be; None: it jumps."""
    rate = facts.plan.setpoints[setpoint].rate
    if rate is None:
        return None
    if rate.parameter is None:
        return rate.per_second
    parameter = facts.plan.parameters[rate.parameter]
    return rate.per_second * (parameter.low if facts.trimmed else parameter.value)


def distance(start: Range, aim: Range) -> float:
    """Return the longest way from somewhere in one range to somewhere in another."""
    return max(abs(aim[1] - start[0]), abs(start[1] - aim[0]))


def followed_by(plan: Plan, leaf: Compare) -> Iterator[tuple[int, float]]:
    """Yield the setpoints that a compared signal follows, each with the signal's stance offset."""
    for index, setpoint in enumerate(plan.setpoints):
        for follower in setpoint.followers:
            if follower.signal == leaf.index:
                yield index, follower.offset
