"""How long a recording takes to read, and which share of a dry run that is.

`BENCH_TICKS=10000000 pytest tests/bench/trace` measures the full size; the default is a tenth of it.
"""

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support.long_recordings import GAIT, SIGNALS, read_alone, write_csv, write_parquet

import sequencer
from sequencer.executors.compiled.executor import CompiledExecutor
from sequencer.history.drive import drive
from sequencer.history.recorder import Recorder
from sequencer.trace.read import open_trace

TICKS = int(os.environ.get("BENCH_TICKS", "1000000"))


@pytest.fixture(scope="module", params=["csv", "parquet"])
def recording(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("long") / f"long.{request.param}"
    (write_csv if request.param == "csv" else write_parquet)(path, TICKS)
    return path


def test_reading_into_blocks(benchmark: BenchmarkFixture, recording: Path) -> None:
    plan = sequencer.loads(GAIT).plan

    def read() -> int:
        with open_trace(recording, plan) as reader:
            return sum(len(block) for block in reader)

    assert benchmark.pedantic(read, rounds=3, warmup_rounds=1) == TICKS


def test_the_share_of_reading_in_a_dry_run(recording: Path, print_table: Callable[[str], None]) -> None:
    plan = sequencer.loads(GAIT).plan
    executor = CompiledExecutor(plan)
    reading_s = 0.0

    def timed() -> object:
        nonlocal reading_s
        with open_trace(recording, plan) as reader:
            blocks = iter(reader)
            while True:
                start = time.perf_counter()
                block = next(blocks, None)
                reading_s += time.perf_counter() - start
                if block is None:
                    return
                yield block

    start = time.perf_counter()
    run = drive(executor, timed(), Recorder(plan))  # type: ignore[arg-type]
    whole_s = time.perf_counter() - start
    assert run.ticks == TICKS
    alone = read_alone(recording)
    print_table(
        f"{TICKS:,} ticks of {SIGNALS} signals from {recording.suffix[1:]}, "
        f"{recording.stat().st_size / 1e6:.0f} MB\n"
        f"dry run, compiled, margins off: {whole_s:.2f} s, {TICKS / whole_s / 1e6:.2f} million ticks/s\n"
        f"reading: {reading_s:.2f} s, {reading_s / whole_s:.0%} of it\n"
        f"reading alone in a process: {alone.seconds:.2f} s, {alone.peak_mb:.0f} MB at most"
    )
