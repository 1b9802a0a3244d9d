"""What a recording says that no sensor saw stands in the report, number for number."""

import csv
from pathlib import Path

import numpy as np
import pyarrow
import pytest
from pyarrow import csv as arrow_csv
from pyarrow import parquet
from support.commands import STORK

import sequencer
from sequencer.api import Gait
from sequencer.base.errors import TraceError
from sequencer.history.run import Run
from sequencer.show.report.rehearsed import truth_of

REHEARSAL = STORK.parent / "recordings" / "rehearsal.csv"
HEAD = "time [ms],left_leg_roll.value,truth.contact.left_foot,truth.clearance.left_foot [mm]\n"


@pytest.fixture(scope="module")
def gait() -> Gait:
    return sequencer.load(STORK)


@pytest.fixture(scope="module")
def run(gait: Gait) -> Run:
    return gait.dry_run(REHEARSAL, executor="reference")


def told(head: str) -> np.ndarray:
    """Read a column with the standard library; NaN where a cell is empty."""
    with REHEARSAL.open(newline="") as file:
        cells = [row[head] for row in csv.DictReader(file)]
    return np.array([float(cell or "nan") for cell in cells]).astype(np.float32)


def test_every_number_is_the_files(run: Run) -> None:
    extra = truth_of(REHEARSAL, run, {})
    assert extra is not None
    columns = {(h.role, h.name): v for h, v in zip(extra.heads, extra.values, strict=True)}
    for head, column in (
        ("truth.clearance.left_foot [mm]", ("clearance", "left")),
        ("truth.clearance.right_foot [mm]", ("clearance", "right")),
        ("truth.support_margin [mm]", ("support", "support margin")),
        ("truth.link.left_shank.z2 [mm]", ("link", "left_shank.z2")),
    ):
        assert columns[column].tobytes() == told(head).tobytes(), head
    assert [c.name for c in extra.contacts] == ["left", "right"]


def test_parquet_and_other_delimiters_say_the_same(tmp_path: Path, run: Run) -> None:
    table = arrow_csv.read_csv(REHEARSAL)
    columns = {name: table.column(name).cast(pyarrow.float64()) for name in table.column_names}
    parquet.write_table(pyarrow.table(columns), tmp_path / "it.parquet")
    (tmp_path / "it.csv").write_text(REHEARSAL.read_text().replace(",", ";"))
    whole = truth_of(REHEARSAL, run, {})
    assert whole is not None
    for name in ("it.parquet", "it.csv"):
        extra = truth_of(tmp_path / name, run, {})
        assert extra is not None
        assert extra.heads == whole.heads
        assert extra.contacts == whole.contacts
        assert all(
            np.array_equal(a, b, equal_nan=True) for a, b in zip(extra.values, whole.values, strict=True)
        )


def test_a_recording_without_truth_says_nothing(gait: Gait, run: Run) -> None:
    assert truth_of(STORK.parent / "recordings" / "walk.csv", run, {}) is None


def test_missing_rows_and_empty_cells_are_gaps(tmp_path: Path, gait: Gait) -> None:
    path = tmp_path / "gaps.csv"
    path.write_text(HEAD + "0,1,1,0\n10,1,1,0\n40,1,0,5.5\n50,1,,\n60,1,1,1e300\n")
    run = gait.dry_run(path, executor="reference")
    extra = truth_of(path, run, {})
    assert extra is not None
    nan = float("nan")
    assert np.array_equal(extra.values[0], [0, 0, nan, nan, 5.5, nan, np.inf], equal_nan=True)


def test_another_name_of_the_time_is_known(tmp_path: Path, gait: Gait) -> None:
    path = tmp_path / "mapped.csv"
    path.write_text(HEAD.replace("time [ms]", "clock [ms]") + "0,1,1,2\n10,1,1,3\n")
    from sequencer.trace.layout import TraceOptions

    mapping = {"time": "clock [ms]"}
    run = gait.dry_run(path, executor="reference", reading=TraceOptions(mapping))
    extra = truth_of(path, run, mapping)
    assert extra is not None
    assert extra.values[0].tolist() == [2, 3]


def test_a_cell_that_is_no_number_is_told_at_its_place(tmp_path: Path, run: Run) -> None:
    path = tmp_path / "wrong.csv"
    path.write_text(HEAD + "0,1,1,0\n10,1,yes,0\n")
    with pytest.raises(TraceError, match=r"truth\.contact\.left_foot is not a number") as raised:
        truth_of(path, run, {})
    assert (raised.value.place.line, raised.value.place.column) == (3, 6)
