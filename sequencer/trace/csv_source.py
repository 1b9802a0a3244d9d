"""Rows of a recording in CSV: pyarrow turns each piece of the text into columns."""

from collections.abc import Iterator
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import TraceError
from sequencer.plan.tables import Plan
from sequencer.trace.csv_text import CsvText, check_bytes
from sequencer.trace.layout import Layout, TraceOptions, read_layout
from sequencer.trace.lines import LONGEST_LINE, Piece, raise_first_fault
from sequencer.trace.ticks import Cells, Fault, find_fault


class CsvSource:
    """The rows of one CSV stream; `name` is what errors call it."""

    def __init__(self, stream: IO[bytes], name: str, plan: Plan, options: TraceOptions) -> None:
        self._text = CsvText(stream, name)
        self.layout: Layout = read_layout(self._text.header, plan, options)

    def batches(self) -> Iterator[tuple[NDArray[np.int64], list[Cells]]]:
        """Give times (int64 microseconds) and the layout's columns, piece by piece.

        Raises TraceError at the first line that is wrong, or if there is no row.
        """
        last_us: int | None = None
        rows = 0
        for piece in self._text.pieces():
            table = self._parse(piece)
            if not len(table):
                continue
            at = {p: i for i, p in enumerate(self._positions())}
            cells = [_cells(column) for column in table.columns]
            columns = [cells[at[c.position]] for c in self.layout.columns]
            times, fault = find_fault(cells[at[self.layout.time.position]], columns, self.layout, last_us)
            if fault is not None:
                raise self._placed(fault, piece)
            rows += len(times)
            last_us = int(times[-1])
            yield times, columns
        if not rows:
            raise self._text.no_row()

    def _positions(self) -> list[int]:
        return sorted({self.layout.time.position, *(c.position for c in self.layout.columns)})

    def _parse(self, piece: Piece) -> Any:
        """Turn a piece into a pyarrow table of binary64 columns; TraceError with the place if it is wrong."""
        import pyarrow  # slow: wanted only when a recording is read
        from pyarrow import csv

        data = piece.data
        names = [str(i) for i in range(self.layout.width)]
        wanted = [str(p) for p in self._positions()]
        try:
            check_bytes(data)
            return csv.read_csv(
                pyarrow.py_buffer(data),
                read_options=csv.ReadOptions(column_names=names, block_size=LONGEST_LINE),
                parse_options=csv.ParseOptions(delimiter=self._text.delimiter),
                convert_options=csv.ConvertOptions(
                    column_types=dict.fromkeys(wanted, pyarrow.float64()),
                    include_columns=wanted,
                    null_values=[""],
                ),
            )
        except (pyarrow.ArrowInvalid, ValueError) as error:
            raise_first_fault(piece, self.layout, self._text.delimiter, str(error).splitlines()[0])
            raise  # not reached: the line above always raises

    def _placed(self, fault: Fault, piece: Piece) -> TraceError:
        place = self._text.place_of(piece, fault.row, fault.position)
        return TraceError(fault.message, place, expected=fault.expected, hint=fault.hint)


def _cells(column: Any) -> Cells:
    filled = None if column.null_count == 0 else column.is_valid().to_numpy()
    return column.to_numpy(), filled
