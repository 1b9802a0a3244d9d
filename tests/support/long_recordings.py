"""Long recordings for measuring speed and memory, and processes that read them."""

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow
from pyarrow import csv, parquet

SIGNALS = 8
TICK_MS = 10
_ROWS = 100_000
_SCHEMA = pyarrow.schema(
    [("time_ms", pyarrow.int64()), *((f"s{i}", pyarrow.float64()) for i in range(SIGNALS))]
)

GAIT = """\
gait: long_walk
machine:
  tick: 10 ms
  signals:
    s<n>:
      for_each: {n: [0, 1, 2, 3, 4, 5, 6, 7]}
      unit: deg
      span: [-60, 60]
phases:
  left:
    rest: true
    leave: [{to: right, when: {signal: s0, above: 20 deg}, hold: 2 samples}]
    timeout: never
    because: a benchmark
  right:
    leave: [{to: left, when: {all: [{signal: s1, below: -20 deg}, {signal: s2, within: [-30 deg, 30 deg]}]}}]
    timeout: {after: 5 s, to: left}
"""

# twelve signals, each sampled in every second tick; a walk that changes its phase every second
TWELVE_WALK = """\
gait: twelve
machine:
  tick: 10 ms
  signals:
    s<n>:
      for_each: {n: [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]}
      unit: deg
      span: [-60, 60]
      every: 20 ms
phases:
  left:
    rest: true
    leave: [{to: right, when: {signal: s0, above: 10 deg}, hold: 2 samples}]
    timeout: never
    because: a benchmark
  right:
    leave: [{to: left, when: {all: [{signal: s0, below: -10 deg}, {signal: s2, within: [-30 deg, 30 deg]}]}}]
    timeout: {after: 5 s, to: left}
"""


def write_csv(path: Path, rows: int) -> None:
    """Write a recording of eight signals at one row per tick, three decimals each, in constant memory."""
    with csv.CSVWriter(str(path), _SCHEMA) as sink:
        for table in _tables(rows):
            sink.write_table(table)


def write_parquet(path: Path, rows: int) -> None:
    """Write the same recording as Parquet."""
    with parquet.ParquetWriter(path, _SCHEMA) as sink:
        for table in _tables(rows):
            sink.write_table(table)


def _tables(rows: int) -> Iterator[pyarrow.Table]:
    rng = np.random.default_rng(1)
    for first in range(0, rows, _ROWS):
        count = min(_ROWS, rows - first)
        times = np.arange(first, first + count) * TICK_MS
        columns = [rng.normal(0, 15, count).round(3) for _ in range(SIGNALS)]
        yield pyarrow.Table.from_arrays([pyarrow.array(c) for c in (times, *columns)], schema=_SCHEMA)


@dataclass(frozen=True)
class Reading:
    """What a process that read a recording says of itself."""

    ticks: int
    seconds: float
    peak_mb: float


_READ = """
import sys, time
from pathlib import Path
from support.trace_plans import plan, signal
from sequencer.trace.read import open_trace
its = plan(*(signal(f"s{i}") for i in range(8)))
start = time.perf_counter()
ticks = 0
keep = []
with open_trace(sys.argv[1], its) as reader:
    for block in reader:
        ticks += len(block)
        if sys.argv[2] == "keep":
            keep.append(block)
seconds = time.perf_counter() - start
peak = next(l for l in Path("/proc/self/status").read_text().splitlines() if l.startswith("VmHWM"))
print(ticks, seconds, int(peak.split()[1]) / 1024)
"""


def read_alone(path: Path, *, keep: bool = False) -> Reading:
    """Read a recording in a process of its own; with `keep`, hold on to all blocks: a planted fault."""
    done = subprocess.run(
        [sys.executable, "-c", _READ, str(path), "keep" if keep else "drop"],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[1],
    )
    ticks, seconds, peak = done.stdout.split()
    return Reading(int(ticks), float(seconds), float(peak))
