"""The graph of a sequence: which phase leads to which, whatever the guards ask."""

from collections.abc import Iterable

from sequencer.plan.tables import Phase, Plan

Graph = list[set[int]]


def chosen_ways(plan: Plan, sequence: int) -> Graph:
    """Return for each phase where its own guards and its timeout lead, other than back to itself."""
    ways: Graph = []
    for index, phase in enumerate(plan.sequences[sequence].phases):
        targets = {way.to for way in phase.exits}
        if phase.timeout is not None:
            targets.add(phase.timeout.to)
        ways.append(targets - {index})
    return ways


def watched_targets(plan: Plan, sequence: int) -> set[int]:
    """Return the phases that `anywhere` and broken rules send a sequence to, from wherever it is."""
    targets = {entry.to[sequence] for entry in plan.anywhere}
    return targets | {rule.to[sequence] for rule in plan.rules if rule.to is not None}


def reachable(graph: Graph, starts: Iterable[int]) -> set[int]:
    """Return what can be reached from `starts`, these included."""
    seen = set(starts)
    todo = list(seen)
    while todo:
        for after in graph[todo.pop()]:
            if after not in seen:
                seen.add(after)
                todo.append(after)
    return seen


def may_stay(phase: Phase) -> bool:
    """Tell whether a machine may stand in a phase as long as it likes."""
    return phase.rest or phase.stop is not None


def entered_phases(plan: Plan, sequence: int) -> set[int]:
    """Return the phases that some way leads to, whatever the guards ask."""
    return reachable(chosen_ways(plan, sequence), {0} | watched_targets(plan, sequence))


def trapped(plan: Plan, sequence: int) -> set[int]:
    """Return the entered phases from which no way at all leads to a rest or stop phase."""
    calm = {i for i, phase in enumerate(plan.sequences[sequence].phases) if may_stay(phase)}
    into = watched_targets(plan, sequence)
    graph = [targets | into for targets in chosen_ways(plan, sequence)]
    return entered_phases(plan, sequence) - reachable(turned(graph), calm)


def turned(graph: Graph) -> Graph:
    """Return the graph with every way turned round."""
    back: Graph = [set() for _ in graph]
    for phase, targets in enumerate(graph):
        for target in targets:
            back[target].add(phase)
    return back


def pieces(graph: Graph, phases: set[int]) -> list[list[int]]:
    """Split some phases into groups that hang together, each sorted, in document order."""
    both = [out | into for out, into in zip(graph, turned(graph), strict=True)]
    inside = [targets & phases if phase in phases else set() for phase, targets in enumerate(both)]
    left, groups = set(phases), []
    for phase in sorted(phases):
        if phase in left:
            group = reachable(inside, {phase})
            left -= group
            groups.append(sorted(group))
    return groups


def heads(graph: Graph, group: list[int]) -> list[tuple[int, list[int]]]:
    """Return the members of a group with which it begins, each with the members that come after it alone.

    Those come first that no other member leads to; of a ring, its first member.
    """
    inside = set(group)
    led_to = {target for phase in group for target in graph[phase]}
    found: list[tuple[int, list[int]]] = []
    left = set(inside)
    for head in sorted(group, key=lambda phase: (phase in led_to, phase)):
        if head in left:
            behind = reachable(graph, {head}) & left
            left -= behind
            found.append((head, sorted(behind - {head})))
    return found
