"""What a rehearsal knew besides the sensors, read from the ``truth.`` columns of its recording."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.places import Place
from sequencer.history.run import Ints, Run
from sequencer.show.diagram.feet import foot_named
from sequencer.show.report.columns import ColumnHead, Floats
from sequencer.show.report.contacts import Intervals, contact
from sequencer.show.report.document import Contact
from sequencer.show.report.recorded import Extra
from sequencer.show.text import clean
from sequencer.trace.layout import HeaderCell, TraceOptions, read_layout
from sequencer.trace.lines import cells_of, decode_line
from sequencer.trace.truth import ENDS, TruthColumns, truth_columns


def truth_of(path: Path, run: Run, mapping: Mapping[str, str]) -> Extra | None:
    """Read the truth beside a run whose ticks were kept; None if the recording holds none.

    mapping: our names -> the file's, as the recording itself was read. What a rehearsal wrote has a row for
    each tick; where there is none, nothing is said.
    """
    if run.at_ms is None or path.suffix.lower() != ".csv":
        return None
    with path.open("rb") as file:
        line = decode_line(file.readline(), str(path), 1).removeprefix("\ufeff")
    texts = [text for _, text in cells_of(line, ",", str(path), 1)]
    truth = truth_columns(texts)
    if not truth:
        return None
    head = [HeaderCell(text, Place(str(path), 1, 1)) for text in texts]
    time = read_layout(head, run.plan, TraceOptions(mapping)).time
    table = _table(path, texts, [time.position, *_positions(truth)])
    at_us = np.rint(table[time.position] * time.factor).astype(np.int64)
    rows = _row_of_each_tick(at_us, run.at_ms)
    values = {position: _at(column, rows) for position, column in table.items()}
    heads, columns = _columns(truth, values)
    return Extra(heads, columns, _contacts(truth, values, run))


def _positions(truth: TruthColumns) -> list[int]:
    found = [*truth.clearance.values(), *truth.contact.values()]
    found += [] if truth.support_margin is None else [truth.support_margin]
    return found + [position for ends in truth.links.values() for position in ends]


def _table(path: Path, names: list[str], wanted: list[int]) -> dict[int, NDArray[np.float64]]:
    import pyarrow
    from pyarrow import csv

    own = [str(i) for i in range(len(names))]
    table: Any = csv.read_csv(
        path,
        read_options=csv.ReadOptions(column_names=own, skip_rows=1),
        convert_options=csv.ConvertOptions(
            column_types={str(i): pyarrow.float64() for i in wanted},
            include_columns=[str(i) for i in wanted],
            null_values=[""],
        ),
    )
    return {i: table.column(str(i)).to_numpy().astype(np.float64) for i in wanted}


def _row_of_each_tick(at_us: Ints, at_ms: Ints) -> Ints:
    """Give the last row at or before each tick that is not older than the tick before; -1: there is none."""
    now = at_ms * 1000
    rows = np.searchsorted(at_us, now, side="right") - 1
    before = np.concatenate([[-1], rows[:-1]])
    return np.where(rows > before, rows, -1)


def _at(column: NDArray[np.float64], rows: Ints) -> Floats:
    return np.where(rows >= 0, column[np.maximum(rows, 0)], np.nan).astype(np.float32)


def _columns(truth: TruthColumns, values: dict[int, Floats]) -> tuple[list[ColumnHead], list[Floats]]:
    heads = [ColumnHead(_foot(name), "mm", "clearance") for name in truth.clearance]
    columns = [values[position] for position in truth.clearance.values()]
    if truth.support_margin is not None:
        heads.append(ColumnHead("support margin", "mm", "support"))
        columns.append(values[truth.support_margin])
    for name, ends in truth.links.items():
        heads += [ColumnHead(f"{clean(name)}.{end}", "mm", "link") for end in ENDS]
        columns += [values[position] for position in ends]
    return heads, columns


def _contacts(truth: TruthColumns, values: dict[int, Floats], run: Run) -> list[Contact]:
    found = []
    for name, position in truth.contact.items():
        down = Intervals()
        assert run.at_ms is not None
        down.add(values[position] > 0, run.at_ms)
        down.finish(run.end_ms)
        found.append(contact(_foot(name), foot_named(name), "rehearsed", down))
    return found


def _foot(name: str) -> str:
    return clean(name).replace("_", " ").removesuffix(" foot")
