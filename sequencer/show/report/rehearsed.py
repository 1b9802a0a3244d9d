"""What a rehearsal knew besides the sensors, read from the ``truth.`` columns of its recording."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import IO, Any

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
from sequencer.trace.csv_text import CsvText
from sequencer.trace.layout import Column, HeaderCell, Layout, TraceOptions, read_layout
from sequencer.trace.lines import LONGEST_LINE, raise_first_fault
from sequencer.trace.opening import PARQUET
from sequencer.trace.truth import ENDS, PREFIX, TruthColumns, truth_columns

_Table = dict[int, NDArray[np.float64]]  # position in the file -> numbers of all rows


def holds_truth(path: Path) -> bool:
    """Tell whether a CSV recording has columns of truth."""
    with path.open("rb") as file:
        return PREFIX.encode() in file.readline(LONGEST_LINE)


def truth_of(path: Path, run: Run, mapping: Mapping[str, str]) -> Extra | None:
    """Read the truth beside a run whose ticks were kept; None if the recording holds none.

    mapping: our names -> the file's, as the recording itself was read. What a rehearsal wrote has a row for
    each tick; where there is none, nothing is said. Raises TraceError for a cell that is no number.
    """
    if run.at_ms is None:
        return None
    with path.open("rb") as file:
        parquet = file.read(len(PARQUET)) == PARQUET
        file.seek(0)
        if not parquet and not holds_truth(path):
            return None
        head, read = _from_parquet(file, str(path)) if parquet else _from_csv(CsvText(file, str(path)))
        truth = truth_columns(cell.text for cell in head)
        if not truth:
            return None
        layout = read_layout(head, run.plan, TraceOptions(mapping))
        wanted = [Column(i, head[i].text, "signal") for i in _positions(truth)]
        table = read(replace(layout, columns=tuple(wanted)))
    time = layout.time
    at_us = np.rint(table[time.position] * time.factor).astype(np.int64)
    rows = _row_of_each_tick(at_us, run.at_ms)
    values = {position: _at(column, rows) for position, column in table.items()}
    heads, columns = _columns(truth, values)
    return Extra(heads, columns, _contacts(truth, values, run))


def _positions(truth: TruthColumns) -> list[int]:
    found = [*truth.clearance.values(), *truth.contact.values()]
    found += [] if truth.support_margin is None else [truth.support_margin]
    return found + [position for ends in truth.links.values() for position in ends]


def _from_csv(text: CsvText) -> tuple[list[HeaderCell], Callable[[Layout], _Table]]:
    def read(layout: Layout) -> _Table:
        import pyarrow
        from pyarrow import csv

        wanted = [str(column.position) for column in (layout.time, *layout.columns)]
        parts: list[Any] = []
        for piece in text.pieces():
            try:
                part = csv.read_csv(
                    pyarrow.py_buffer(piece.data),
                    read_options=csv.ReadOptions(column_names=[str(i) for i in range(layout.width)]),
                    parse_options=csv.ParseOptions(delimiter=text.delimiter),
                    convert_options=csv.ConvertOptions(
                        column_types=dict.fromkeys(wanted, pyarrow.float64()),
                        include_columns=wanted,
                        null_values=[""],
                    ),
                )
            except (pyarrow.ArrowInvalid, ValueError) as error:
                raise_first_fault(piece, layout, text.delimiter, str(error).splitlines()[0])
                raise  # not reached: the line above always raises
            parts.append(part)
        table = pyarrow.concat_tables(parts)
        return {int(name): _numbers(table.column(name)) for name in wanted}

    return text.header, read


def _from_parquet(file: IO[bytes], name: str) -> tuple[list[HeaderCell], Callable[[Layout], _Table]]:
    from pyarrow import parquet

    source: Any = parquet.ParquetFile(file)

    def read(layout: Layout) -> _Table:
        columns = (layout.time, *layout.columns)
        names = [source.schema_arrow.names[column.position] for column in columns]
        table = source.read(columns=names)
        return {c.position: _numbers(table.column(its)) for c, its in zip(columns, names, strict=True)}

    names = source.schema_arrow.names
    return [HeaderCell(text, Place(name, 1, i + 1)) for i, text in enumerate(names)], read


def _numbers(column: Any) -> NDArray[np.float64]:
    import pyarrow

    return np.asarray(column.cast(pyarrow.float64()).to_numpy(), np.float64)


def _row_of_each_tick(at_us: Ints, at_ms: Ints) -> Ints:
    """Give the last row at or before each tick that is not older than the tick before; -1: there is none."""
    now = at_ms * 1000
    rows = np.searchsorted(at_us, now, side="right") - 1
    before = np.concatenate([[-1], rows[:-1]])
    return np.where(rows > before, rows, -1)


def _at(column: NDArray[np.float64], rows: Ints) -> Floats:
    with np.errstate(over="ignore"):  # too large for binary32: infinite, and so not shown
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
