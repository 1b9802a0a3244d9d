"""The graph's findings against networkx, a general-purpose graph library, on random walks."""

from dataclasses import replace
from random import Random

import networkx as nx
import pytest
from support import plans as p

from sequencer.base.findings import Finding
from sequencer.base.places import Place
from sequencer.check.graph import check_graph
from sequencer.check.questions import Askers
from sequencer.plan.tables import Plan

WALKS = 500
FIRST_LINE = 10


def random_walk(rng: Random) -> Plan:
    """Draw a walk of a few phases; phase i stands in line FIRST_LINE + i."""
    count = rng.randint(2, 8)
    names = [f"p{i}" for i in range(count)]
    phases = []
    for i, name in enumerate(names):
        kind = rng.choice(("walk", "walk", "walk", "rest", "stop"))
        ways = [(rng.choice(names), p.event("go")) for _ in range(rng.choice([0, 1, 1, 2]))]
        phases.append(
            p.Phase(
                name,
                leave=ways,
                timeout=(50, rng.choice(names)) if rng.random() < 0.3 else None,
                set={"lean": 1.0} if i == 0 else {},
                rest=kind == "rest",
                stop=1 if kind == "stop" else None,
            )
        )
    watched = [(rng.choice(names), p.event("halt"))] if rng.random() < 0.3 else []
    plan = p.make_plan({"walk": phases}, setpoints=[p.setpoint("lean")], anywhere=watched)
    placed = tuple(
        replace(phase, place=Place("walk.gait.yaml", FIRST_LINE + i, 3))
        for i, phase in enumerate(plan.sequences[0].phases)
    )
    return replace(plan, sequences=(replace(plan.sequences[0], phases=placed),))


def graphs_of(plan: Plan) -> tuple["nx.DiGraph[int]", "nx.DiGraph[int]"]:
    """The ways that phases have of their own, and these with what is watched anywhere."""
    phases = plan.sequences[0].phases
    own: nx.DiGraph[int] = nx.DiGraph()
    own.add_nodes_from(range(len(phases)))
    for i, phase in enumerate(phases):
        own.add_edges_from((i, way.to) for way in phase.exits)
        if phase.timeout is not None:
            own.add_edge(i, phase.timeout.to)
    every = own.copy()
    every.add_edges_from((i, entry.to[0]) for i in range(len(phases)) for entry in plan.anywhere)
    return own, every


def at(findings: list[Finding], code: str) -> set[int]:
    """The phases that findings of a code stand at."""
    return {f.place.line - FIRST_LINE for f in findings if f.code == code}


@pytest.fixture(scope="module")
def cases() -> list[tuple[Plan, "nx.DiGraph[int]", "nx.DiGraph[int]", list[Finding]]]:
    found = []
    for seed in range(WALKS):
        plan = random_walk(Random(seed))
        found.append((plan, *graphs_of(plan), check_graph(plan, Askers(plan))))
    return found


Cases = list[tuple[Plan, "nx.DiGraph[int]", "nx.DiGraph[int]", list[Finding]]]


def entered(every: "nx.DiGraph[int]") -> set[int]:
    return {0} | nx.descendants(every, 0)


def test_unreachable_phases_are_those_that_networkx_cannot_reach(cases: Cases) -> None:
    total = 0
    for _, own, every, findings in cases:
        missed = set(every) - entered(every)
        heads = at(findings, "unreachable-phase")
        assert heads <= missed
        assert {phase for head in heads for phase in {head} | nx.descendants(own, head)} & missed == missed
        total += len(missed)
    assert total > 100


def test_dead_ends_are_entered_phases_without_a_way_to_another(cases: Cases) -> None:
    total = 0
    for plan, own, every, findings in cases:
        phases = plan.sequences[0].phases
        stuck = {i for i in entered(every) if not set(own.successors(i)) - {i}}
        resting = {i for i in stuck if phases[i].rest or phases[i].stop is not None}
        assert at(findings, "dead-end") == stuck - resting
        assert at(findings, "final-phase") == resting
        total += len(stuck)
    assert total > 100


def test_traps_are_the_phases_from_which_networkx_finds_no_way_to_rest(cases: Cases) -> None:
    total = 0
    for plan, own, every, findings in cases:
        phases = plan.sequences[0].phases
        calm = {i for i, phase in enumerate(phases) if phase.rest or phase.stop is not None}
        trapped = {i for i in entered(every) if not ({i} | nx.descendants(every, i)) & calm}
        for group in nx.weakly_connected_components(own.subgraph(trapped)):
            dead = [i for i in group if not set(own.successors(i)) - {i}]
            told = [f for f in findings if f.code == "no-way-to-rest" and f.place.line - FIRST_LINE in group]
            assert len(told) == (0 if dead else 1)
            if told:
                places = {told[0].place.line, *(place.line for place, _ in told[0].notes)}
                assert {line - FIRST_LINE for line in places} == group
                total += 1
        assert at(findings, "no-way-to-rest") <= trapped
    assert total > 20


def test_endless_waits_are_entered_phases_with_guards_only(cases: Cases) -> None:
    total = 0
    for plan, own, every, findings in cases:
        waiting = {
            i
            for i, phase in enumerate(plan.sequences[0].phases)
            if i in entered(every)
            and phase.timeout is None
            and not phase.rest
            and phase.stop is None
            and set(own.successors(i)) - {i}
        }
        assert at(findings, "endless-wait") == waiting
        total += len(waiting)
    assert total > 100


def test_a_long_ring_needs_no_recursion() -> None:
    count = 240
    names = [f"p{i}" for i in range(count)]
    ring = [
        p.Phase(n, leave=[(names[(i + 1) % count], p.event("go"))], set={"lean": 1.0})
        for i, n in enumerate(names)
    ]
    plan = p.make_plan({"walk": ring}, setpoints=[p.setpoint("lean")])
    found = [f.code for f in check_graph(plan, Askers(plan))]
    assert found.count("no-way-to-rest") == 1
    assert found.count("endless-wait") == count
