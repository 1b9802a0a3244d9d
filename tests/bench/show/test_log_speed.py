"""How long a log without a gait takes to become a page and a picture, and how much memory that needs.

`BENCH_TICKS=10000000 pytest tests/bench/show` measures the full size; the default is a tenth of it.
"""

import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

ROWS = int(os.environ.get("BENCH_TICKS", "1000000"))
PHASES = np.array(["stand", "lift_left", "lower_left", "lift_right", "lower_right"])
COLUMNS = 6


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A row every 2 ms, a phase of 0.5 s, two feet, six angles."""
    import pyarrow
    from pyarrow import csv

    path, writer = tmp_path_factory.mktemp("log") / "log.csv", None
    for start in range(0, ROWS, 500_000):
        row = np.arange(start, min(start + 500_000, ROWS))
        phase = row // 250 % len(PHASES)
        table = pyarrow.table(
            {
                "time [ms]": row * 2,
                "phase": PHASES[phase],
                "left_contact": (phase != 1).astype(np.int8),
                "right_contact": (phase != 3).astype(np.int8),
                **{f"s{i} [deg]": np.round(np.sin(row / (100 + 17 * i)) * 40, 3) for i in range(COLUMNS)},
            }
        )
        writer = writer or csv.CSVWriter(path, table.schema)
        writer.write_table(table)
    assert writer is not None
    writer.close()
    return path


@pytest.mark.parametrize(
    ("verb", "more"),
    [("report", []), ("plot", []), ("plot", ["--from", "100s", "--to", "110s"])],
    ids=["report", "plot", "plot of 10 s"],
)
def test_a_long_log_is_shown(
    log: Path, verb: str, more: list[str], print_table: Callable[[str], None]
) -> None:
    made = log.with_suffix(".html" if verb == "report" else ".png")
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "sequencer", verb, log, "-o", made, "-q", *more], check=True)
    took_s = time.perf_counter() - start
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024  # the most of any so far
    size = f"{ROWS:,} rows x {COLUMNS + 2} columns, {log.stat().st_size / 1e6:.0f} MB"
    print_table(
        f"{verb} {' '.join(more)} of a log of {size}: {took_s:.1f} s, "
        f"at most {peak_mb:.0f} MB of memory, {made.stat().st_size / 1e6:.1f} MB written"
    )
    assert made.stat().st_size > 10_000
