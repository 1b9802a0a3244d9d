"""A recording is read in constant memory, however long it is."""

from pathlib import Path

import pytest
from support.long_recordings import read_alone, write_csv, write_parquet

ROWS = 3_200_000
MOST_MB = 220.0  # most of it is pyarrow and numpy themselves


@pytest.fixture(scope="module")
def long_csv(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("long") / "long.csv"
    write_csv(path, ROWS)
    assert path.stat().st_size > 190e6
    return path


def test_a_csv_of_millions_of_ticks_needs_little_memory(long_csv: Path) -> None:
    reading = read_alone(long_csv)
    assert reading.ticks == ROWS
    assert reading.peak_mb < MOST_MB


def test_a_reader_that_kept_everything_would_be_found(long_csv: Path) -> None:
    assert read_alone(long_csv, keep=True).peak_mb > MOST_MB


def test_a_parquet_file_of_millions_of_ticks_needs_little_memory(tmp_path: Path) -> None:
    write_parquet(tmp_path / "long.parquet", ROWS)
    reading = read_alone(tmp_path / "long.parquet")
    assert reading.ticks == ROWS
    assert reading.peak_mb < MOST_MB
