"""Published orders of steps: all creeping orders of a quadruped are sound, and gaits are counted.

R. B. McGhee and A. A. Frank, "On the stability properties of quadruped creeping gaits", Mathematical
Biosciences 3 (1968) 331-351: a quadruped has (k-1)! = 6 creeping orders. (2k-1)! non-singular gaits of k
legs: R. B. McGhee, "Some finite state aspects of legged locomotion", Mathematical Biosciences 2 (1968) 67-84.
Numbers and titles from memory; the numbers are counted here.
"""

import itertools
import math

import pytest
from support import plans as p
from support.commands import REPOSITORY

from sequencer.base.findings import Severity
from sequencer.check import Exploring, check
from sequencer.check.explore.search import BY_DEFAULT, Search
from sequencer.check.facts import Facts
from sequencer.plan.build import parse_plan

CRAWL = (REPOSITORY / "tests/corpus/sound/tortoise-crawl-order.gait.yaml").read_text(encoding="utf-8")


def crawl(order: tuple[str, ...]) -> str:
    """Write the crawl with its legs in another order."""
    names = dict(zip(("lf", "rr", "rf", "lr"), order, strict=True))
    text = CRAWL
    for number, old in enumerate(names):
        text = text.replace(f"{old},", f"<{number}>,").replace(f"{old}]", f"<{number}>]")
    for number, new in enumerate(names.values()):
        text = text.replace(f"<{number}>", new)
    return text


ORDERS = [("lf", *rest) for rest in itertools.permutations(("rr", "rf", "lr"))]


def test_there_are_six_creeping_orders() -> None:
    assert len(ORDERS) == math.factorial(3)
    assert len({crawl(order) for order in ORDERS}) == 6


@pytest.mark.parametrize("order", ORDERS, ids="-".join)
def test_each_creeping_order_is_sound_and_all_its_steps_are_made(order: tuple[str, ...]) -> None:
    plan, exploring = parse_plan(crawl(order)), Exploring()
    findings = check(plan, exploring)
    assert [f for f in findings if f.severity != Severity.NOTE] == []
    assert exploring.finished
    search = Search(plan, Facts(plan), BY_DEFAULT)
    walk = search.run(faultless=True)
    lifted = [min(n for (s, phase), n in walk.entered.items() if (s, phase) == (leg, 1)) for leg in range(4)]
    assert [plan.sequences[leg].name for leg in sorted(range(4), key=lifted.__getitem__)] == list(order)
    feet = [sum(phase in (1, 2) for phase in search.layout.phases_of(config)) for config in walk.order]
    assert max(feet) == 1


def free_legs(up_at_first: tuple[bool, ...]) -> Search:
    """Make legs that each lift once and set down once whenever they like, none looking at another."""
    names = [f"leg{i}" for i in range(len(up_at_first))]
    signals = [p.signal(name, low=0.0, high=1.0) for name in names]
    sequences = {}
    for name, up in zip(names, up_at_first, strict=True):
        rows = ("up", "down", "up_again") if up else ("down", "up", "down_again")
        ways = itertools.pairwise(rows)
        sequences[name] = [
            *(p.Phase(row, leave=[(to, p.above(name, 0.5), p.hold_ms(20))]) for row, to in ways),
            p.Phase(rows[2], rest=True),
        ]
    plan = p.make_plan(sequences, signals=signals)
    return Search(plan, Facts(plan), BY_DEFAULT)


def orders(search: Search) -> int:
    """Count the ways through the reached configurations, move by move, that begin with the first leg."""
    search.run()
    ways = {search.layout.enter(search.layout.start, 0, 1): 1}
    legs = len(search.layout.phases)
    for _ in range(2 * legs - 1):
        onward: dict[int, int] = {}
        for config, count in ways.items():
            for after in search.after(config):
                onward[after] = onward.get(after, 0) + count
        ways = onward
    (config,) = ways
    assert search.layout.phases_of(config) == (2,) * legs
    return ways[config]


@pytest.mark.parametrize(("legs", "gaits"), [(2, 6), (3, 120), (4, 5040), (5, 362_880), (6, 39_916_800)])
def test_gaits_of_k_legs_are_counted_as_published(legs: int, gaits: int) -> None:
    """A gait begins when the first leg lifts; each other leg stands or is in the air by then.

    Ways are not made one by one: to each configuration lead as many as to all those before it together.
    """
    assert gaits == math.factorial(2 * legs - 1)
    starts = itertools.product((False, True), repeat=legs - 1)
    assert sum(orders(free_legs((False, *up))) for up in starts) == gaits
