"""Rows of a recording in Parquet, read a row group's page at a time."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.plan.tables import Plan
from sequencer.trace.layout import HeaderCell, Layout, TraceOptions, read_layout
from sequencer.trace.ticks import MOST_TICKS, Cells, find_fault


class ParquetSource:
    """The rows of one Parquet file. Places in errors: the row (from 1) as line, the column's number."""

    def __init__(self, path: Path, name: str, plan: Plan, options: TraceOptions) -> None:
        import pyarrow  # slow: wanted only when a recording is read
        from pyarrow import parquet

        self._name = name
        try:
            self._file = parquet.ParquetFile(path, pre_buffer=False)
        except (pyarrow.ArrowException, OSError) as error:
            raise _unreadable(name, error) from error
        schema = self._file.schema_arrow
        self.layout: Layout = read_layout(
            [HeaderCell(text, Place(name, 1, i + 1)) for i, text in enumerate(schema.names)], plan, options
        )
        for column in (self.layout.time, *self.layout.columns):
            _check_type(schema.field(column.position), column.position, name)

    def batches(self) -> Iterator[tuple[NDArray[np.int64], list[Cells]]]:
        """Give times (int64 microseconds) and the layout's columns, at most 65,536 rows at a time.

        Raises TraceError at the first row that is wrong, or if there is no row.
        """
        import pyarrow  # slow: wanted only when a recording is read

        positions = sorted({self.layout.time.position, *(c.position for c in self.layout.columns)})
        at = {p: i for i, p in enumerate(positions)}
        names = [self._file.schema_arrow.names[p] for p in positions]
        rows = 0
        last_us: int | None = None
        try:
            for batch in self._file.iter_batches(MOST_TICKS, columns=names):
                cells = [_cells(column) for column in batch.columns]
                columns = [cells[at[c.position]] for c in self.layout.columns]
                times, fault = find_fault(cells[at[self.layout.time.position]], columns, self.layout, last_us)
                if fault is not None:
                    place = Place(self._name, rows + fault.row + 1, fault.position + 1)
                    raise TraceError(fault.message, place, expected=fault.expected, hint=fault.hint)
                if not len(times):
                    continue
                rows += len(times)
                last_us = int(times[-1])
                yield times, columns
        except (pyarrow.ArrowException, OSError) as error:
            raise _unreadable(self._name, error) from error
        if not rows:
            raise TraceError(
                "there is no row", Place(self._name, 1, 1), expected="at least one row of numbers"
            )

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def _unreadable(name: str, error: Exception) -> TraceError:
    return TraceError(
        f"this Parquet file cannot be read: {str(error).splitlines()[0]}",
        Place(name, 1, 1),
        expected="a whole Parquet file",
        hint="was it cut off? Its table of contents stands at the end",
    )


def _check_type(field: Any, position: int, name: str) -> None:
    from pyarrow import types  # slow: wanted only when a recording is read

    kind = field.type
    if types.is_floating(kind) or types.is_integer(kind) or types.is_boolean(kind):
        return
    raise TraceError(
        f"column {field.name} holds {kind}",
        Place(name, 1, position + 1),
        expected="numbers",
        hint="write the column as numbers; times are counted in s, ms or us",
    )


def _cells(column: Any) -> Cells:
    import pyarrow  # slow: wanted only when a recording is read

    filled = None if column.null_count == 0 else column.is_valid().to_numpy(zero_copy_only=False)
    if pyarrow.types.is_boolean(column.type):
        column = column.cast(pyarrow.uint8())
    return column.cast(pyarrow.float64(), safe=False).to_numpy(zero_copy_only=False), filled
