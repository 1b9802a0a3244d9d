"""How long exploring takes and what memory it wants."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support import plans as p
from support.commands import REPOSITORY

from sequencer.check import Exploring
from sequencer.check.explore.run import check_explored
from sequencer.check.explore.search import EXHAUSTIVE
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan

MEASURED = """
import resource, sys, time
sys.path[:0] = [{tests!r}, {here!r}]
from test_exploring_speed import legs
from sequencer.check.explore.search import EXHAUSTIVE, Search
from sequencer.check.facts import Facts
plan = legs(6, 10)
start = time.perf_counter()
reached = Search(plan, Facts(plan), EXHAUSTIVE).run()
memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(len(reached.order), reached.finished, time.perf_counter() - start, memory)
"""


def legs(count: int, phases: int, *, share: bool = False) -> Plan:
    """Make sequences that go round by themselves; with `share`, all wait for one switch in every phase."""
    sequences = {}
    for leg in range(count):
        guard = p.above(f"x{leg}", 5)
        if share:
            guard = p.all_of(guard, p.switch("motors"))
        sequences[f"leg{leg}"] = [
            p.Phase(f"p{i}", leave=[(f"p{(i + 1) % phases}", guard)], timeout=(2000, "p0"), rest=i == 0)
            for i in range(phases)
        ]
    signals = [p.signal(f"x{leg}", low=0.0, high=10.0) for leg in range(count)]
    return p.make_plan(sequences, signals=signals)


@pytest.mark.parametrize("share", [False, True])
def test_exploring_four_sequences_of_eight_phases(benchmark: BenchmarkFixture, share: bool) -> None:
    plan, exploring = legs(4, 8, share=share), Exploring(EXHAUSTIVE)
    benchmark.pedantic(check_explored, args=(plan, exploring), rounds=3)
    assert exploring.finished


@pytest.mark.parametrize("name", ["crab", "stork", "tortoise"])
def test_exploring_an_example(benchmark: BenchmarkFixture, name: str) -> None:
    plan = load_plan(REPOSITORY / "examples" / name / f"{name}.gait.yaml")
    benchmark(lambda: check_explored(plan, Exploring()))


def test_time_and_memory_of_a_million_configurations(print_table: Callable[[str], None]) -> None:
    script = MEASURED.format(tests=str(REPOSITORY / "tests"), here=str(Path(__file__).parent))
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    count, finished, seconds, memory = run.stdout.split()
    assert (int(count), finished) == (1_000_000, "True")
    print_table(f"{int(count):,} configurations: {float(seconds):.1f} s, {float(memory):.0f} MB at most")
