"""How long a report takes to write, how large it is, and how much memory a long run needs.

`BENCH_TICKS=10000000 pytest tests/bench/report` measures the full size of the long run; the default is a
tenth of it.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from support.commands import COMMAND, STORK
from support.long_recordings import GAIT, SIGNALS, TWELVE_WALK, write_csv

LONG_TICKS = int(os.environ.get("BENCH_TICKS", "1000000"))
TICKS, TWELVE = 100_000, 12


_CHILD = """
import resource, subprocess, sys
code = subprocess.run(sys.argv[1:]).returncode
print(code, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)
"""


@dataclass(frozen=True)
class Written:
    """What the verb took, in a process of its own, compiled executor built before."""

    seconds: float
    peak_mb: float
    page_mb: float


def written(*arguments: str | Path, page: Path) -> Written:
    start = time.perf_counter()
    command = [sys.executable, "-c", _CHILD, *COMMAND, "report", *map(str, arguments), "-q", "-o", str(page)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds = time.perf_counter() - start
    code, peak = done.stdout.split()
    assert int(code) == 0, done.stderr
    return Written(seconds, float(peak), page.stat().st_size / 1e6)


def write_twelve(path: Path) -> None:
    """Write twelve sines of a second and a half with noise of 0.2 deg, sampled every 20 ms."""
    rng = np.random.default_rng(1)
    ticks = np.arange(0, TICKS, 2)
    swing = 20 * np.sin(ticks[:, None] * 2 * np.pi / 150 + np.arange(TWELVE)) + rng.normal(
        0, 0.2, (len(ticks), TWELVE)
    )
    rows = [f"{10 * t}," + ",".join(f"{x:.3f}" for x in row) for t, row in zip(ticks, swing, strict=True)]
    path.write_text("\n".join(["time [ms]," + ",".join(f"s{i}" for i in range(TWELVE)), *rows]) + "\n")


def test_a_run_that_is_kept_whole(tmp_path: Path, print_table: Callable[[str], None]) -> None:
    gait, recording = tmp_path / "twelve.gait.yaml", tmp_path / "twelve.csv"
    gait.write_text(TWELVE_WALK)
    write_twelve(recording)
    written(recording, "--gait", gait, page=tmp_path / "first.html")  # builds the executor
    took = written(recording, "--gait", gait, page=tmp_path / "page.html")
    print_table(
        f"report of {TICKS:,} ticks, {TWELVE} signals with noise, kept whole: "
        f"{took.seconds:.1f} s, {took.peak_mb:.0f} MB at most, page {took.page_mb:.1f} MB"
    )


def test_the_stork_with_its_loops(tmp_path: Path, print_table: Callable[[str], None]) -> None:
    took = written(STORK, "--for", "1000s", page=tmp_path / "page.html")
    print_table(
        f"report of the stork following its setpoints, {TICKS:,} ticks, 10 signals, 9 loops, 6 outputs: "
        f"{took.seconds:.1f} s, {took.peak_mb:.0f} MB at most, page {took.page_mb:.1f} MB"
    )


def test_a_run_that_is_thinned(tmp_path: Path, print_table: Callable[[str], None]) -> None:
    gait, recording = tmp_path / "long.gait.yaml", tmp_path / "long.csv"
    gait.write_text(GAIT)
    write_csv(recording, LONG_TICKS)
    took = written(recording, "--gait", gait, page=tmp_path / "page.html")
    print_table(
        f"report of {LONG_TICKS:,} ticks, {SIGNALS} signals of nothing but noise, thinned: "
        f"{took.seconds:.1f} s, {took.peak_mb:.0f} MB at most, page {took.page_mb:.1f} MB"
    )
