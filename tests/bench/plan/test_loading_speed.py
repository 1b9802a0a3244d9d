"""How long it takes to load files: a large gait, and the stork in a process of its own."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from pytest_benchmark.fixture import BenchmarkFixture
from support.commands import REPOSITORY

from sequencer.plan.build import load_plan

SEQUENCES, PHASES = 40, 25


def _phase(sequence: int, number: int) -> str:
    joint = f"j{sequence}"
    return f"""\
      ph{number}:
        set:
          {joint}: p{sequence}
        leave:
          - to: ph{(number + 1) % PHASES}
            when:
              all:
                - {{at_target: {joint}, tolerance: 2 deg}}
                - signal: s{sequence}
                  above: {{of: p{sequence}, plus: -2 deg}}
                  release: {{of: p{sequence}, plus: -4 deg}}
            hold: 3 samples
        timeout: {{after: 5 s, to: safe}}
"""


def large_gait() -> str:
    """A walk of 40 sequences with 25 phases each: more than 10,000 lines."""
    numbers = range(SEQUENCES)
    signals = "".join(f"    s{i}: {{unit: deg, span: [-45, 45], lost_after: 100 ms}}\n" for i in numbers)
    setpoints = "".join(
        f"    j{i}: {{unit: deg, span: [-20, 20], start: 0 deg, followed_by: s{i}}}\n" for i in numbers
    )
    parameters = "".join(f"  p{i}: {{unit: deg, value: 10, span: [5, 15]}}\n" for i in numbers)
    sequences = "".join(
        f"  q{i}:\n    phases:\n{''.join(_phase(i, k) for k in range(PHASES))}      safe: {{stop: 1}}\n"
        for i in numbers
    )
    return (
        f"gait: large\nmachine:\n  tick: 10 ms\n  events: [halt]\n"
        f"  signals:\n{signals}  setpoints:\n{setpoints}"
        f"parameters:\n{parameters}sequences:\n{sequences}anywhere: [{{to: safe, when: {{event: halt}}}}]\n"
    )


def test_a_gait_of_ten_thousand_lines(
    benchmark: BenchmarkFixture, tmp_path: Path, print_table: Callable[[str], None]
) -> None:
    path = tmp_path / "large.gait.yaml"
    path.write_text(large_gait())
    lines = path.read_text().count("\n")
    plan = benchmark.pedantic(load_plan, args=(path,), rounds=3, warmup_rounds=1)
    assert len(plan.sequences) == SEQUENCES
    assert lines > 10_000
    print_table(f"loading {lines} lines: {benchmark.stats.stats.min:.2f} s")


def test_the_stork_in_a_fresh_process(
    benchmark: BenchmarkFixture, print_table: Callable[[str], None]
) -> None:
    code = "from sequencer.plan.build import load_plan; load_plan('examples/stork/stork.gait.yaml')"

    def load() -> None:
        subprocess.run([sys.executable, "-c", code], cwd=REPOSITORY, check=True)

    benchmark.pedantic(load, rounds=5, warmup_rounds=1)
    print_table(f"loading the stork in a fresh process: {benchmark.stats.stats.min:.2f} s")
