"""Races between any number of sequences, against the strongly connected parts of who asks whom to stay.

Independent reference: networkx. If every leg may lift whenever those stand whom it asks, legs that can lift
at once but in no order one after another are the parts of the graph in which each leads to all others.
"""

import itertools
from collections.abc import Sequence
from random import Random

import networkx as nx
from support import plans as p
from support.commands import REPOSITORY

from sequencer.base.findings import Finding
from sequencer.check import Exploring
from sequencer.check.explore.run import check_explored
from sequencer.plan.build import parse_plan
from sequencer.plan.tables import Plan

RING = (REPOSITORY / "tests/corpus/faulty/leave-together-4.gait.yaml").read_text(encoding="utf-8")


def legs(asked: Sequence[Sequence[int]]) -> Plan:
    """Make legs that lift whenever those stand that are asked."""
    sequences = {}
    for leg, others in enumerate(asked):
        stand = [p.in_phase(f"leg{other}", "stands") for other in others]
        guard = p.all_of(p.above(f"x{leg}", 5), *stand) if stand else p.above(f"x{leg}", 5)
        sequences[f"leg{leg}"] = [
            p.Phase("stands", leave=[("up", guard, p.hold_ms(20))], rest=True),
            p.Phase("up", leave=[("stands", p.below(f"x{leg}", 4))], rest=True),
        ]
    return p.make_plan(sequences, signals=[p.signal(f"x{i}", low=0.0, high=10.0) for i in range(len(asked))])


def told(plan: Plan) -> list[Finding]:
    return [f for f in check_explored(plan, Exploring()) if f.code in ("leave-together", "undecided")]


def named(finding: Finding) -> frozenset[int]:
    words, _, _ = finding.message.partition(" can leave")
    return frozenset(int(name[3 : name.index(".")]) for name in words.replace(" and ", ", ").split(", "))


def graphs() -> list[tuple[tuple[int, ...], ...]]:
    """List all graphs of three legs, and some of five."""

    def some(leg: int, count: int) -> list[tuple[int, ...]]:
        others = [i for i in range(count) if i != leg]
        return [c for n in range(count) for c in itertools.combinations(others, n)]

    found = list(itertools.product(*(some(leg, 3) for leg in range(3))))
    rng = Random(1968)
    return found + [tuple(rng.choice(some(leg, 5)[:11]) for leg in range(5)) for _ in range(40)]


def test_the_largest_sets_that_no_order_allows_are_told_once_each() -> None:
    assert len(graphs()) == 104
    sizes = set()
    for asked in graphs():
        graph = nx.DiGraph([(leg, other) for leg, others in enumerate(asked) for other in others])
        wanted = {frozenset(part) for part in nx.strongly_connected_components(graph) if len(part) > 1}
        findings = told(legs(asked))
        assert {f.code for f in findings} <= {"leave-together"}
        assert sorted(map(sorted, map(named, findings))) == sorted(map(sorted, wanted)), asked
        sizes |= {len(part) for part in wanted}
    assert sizes == {2, 3, 4, 5}


def test_a_ring_of_three_is_told_with_the_guard_of_each() -> None:
    (finding,) = told(parse_plan(RING))
    assert finding.message.startswith("lf.stance, mid.stance and rf.stance can leave in the same tick")
    assert [words for _, words in finding.notes[:2]] == [
        "the guard of mid.stance",
        "the guard of rf.stance",
    ]


def test_three_that_can_only_leave_together_are_in_step() -> None:
    """All look at one switch and nothing else that is measured: then all lift in one tick."""
    sequences = {}
    for leg, other in {0: 1, 1: 2, 2: 0}.items():
        guard = p.all_of(p.switch("motors"), p.in_phase(f"leg{other}", "stands"))
        back = p.all_of(p.in_phase(f"leg{other}", "up"), p.event("go"))
        sequences[f"leg{leg}"] = [
            p.Phase("stands", leave=[("up", guard)], rest=True),
            p.Phase("up", leave=[("stands", back)], rest=True),
        ]
    assert told(p.make_plan(sequences, signals=[])) == []
