"""How long the command line takes from the shell's view, process start to end."""

from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support.commands import REPOSITORY, run

STORK = REPOSITORY / "examples" / "stork" / "stork.gait.yaml"


def call(*arguments: str | Path) -> None:
    done = run(*arguments)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("arguments", [("--version",), ("--help",), ("explain",)], ids=" ".join)
def test_start_without_a_file(benchmark: BenchmarkFixture, arguments: tuple[str, ...]) -> None:
    benchmark.pedantic(call, args=arguments, rounds=10, warmup_rounds=2)


@pytest.mark.parametrize("verb", ["check", "plan"])
def test_a_verb_on_the_stork(benchmark: BenchmarkFixture, verb: str) -> None:
    benchmark.pedantic(call, args=(verb, STORK), rounds=7, warmup_rounds=1)


def test_drawing_the_stork(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    benchmark.pedantic(call, args=("draw", STORK, "-o", tmp_path / "s.svg"), rounds=7, warmup_rounds=1)


def test_generating_the_stork(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    benchmark.pedantic(call, args=("generate", STORK, "-o", tmp_path / "out"), rounds=7, warmup_rounds=1)
