"""How long a telemetry log takes to read and to hold against the dry run, and how much memory that takes."""

import os
import resource
import time
from collections.abc import Callable
from pathlib import Path

from support.commands import STORK
from support.telemetry_logs import line, run_lines, walked

import sequencer
from sequencer.trace.read import open_trace

LINES = int(os.environ.get("BENCH_TICKS", "1000000")) // 10


def test_a_long_log(tmp_path: Path, print_table: Callable[[str], None]) -> None:
    gait = sequencer.load(STORK)
    lines = run_lines(gait.plan, *walked(gait.plan, 1000))
    rest = [raw.decode().rpartition("*")[0].split(",", 2)[2] for raw in lines if raw.startswith(b"T1")]
    path = tmp_path / "log.txt"
    with path.open("wb") as file:
        file.write(lines[0])
        for i in range(LINES):
            file.write(line(f"T1,{i * 10:X},{rest[i % len(rest)]}"))
    start = time.perf_counter()
    with open_trace(path, gait.plan) as reader:
        found_s = time.perf_counter() - start
        ticks = sum(len(block) for block in reader)
    read_s = time.perf_counter() - start
    start = time.perf_counter()
    assert gait.dry_run(path, margins=False).ticks == ticks == LINES
    whole_s = time.perf_counter() - start
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    megabytes = path.stat().st_size / 1e6
    print_table(
        f"{LINES:,} lines of the stork's telemetry, {megabytes:.0f} MB\n"
        f"finding the runs: {found_s:.1f} s; with reading: {read_s:.1f} s, {megabytes / read_s:.1f} MB/s\n"
        f"dry run, compared, margins off: {whole_s:.1f} s; {peak_mb:.0f} MB at most in this process"
    )
