"""Rows of a recording in CSV.

The file is cut at line ends into pieces of a few megabytes, and pyarrow turns each piece into columns. So
memory stays constant, standard input can be read, and a piece that does not fit is at hand for the slow
search that names line and column.
"""

import itertools
from collections.abc import Iterator
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.plan.tables import Plan
from sequencer.trace.layout import HeaderCell, Layout, TraceOptions, read_layout
from sequencer.trace.lines import (
    LONGEST_LINE,
    Piece,
    cells_of,
    decode_line,
    raise_first_fault,
    split_cells,
)
from sequencer.trace.ticks import Cells, Fault, find_fault

PIECE_BYTES = 1 << 22
_DELIMITERS = ",;\t"


class CsvSource:
    """The rows of one CSV stream; `name` is what errors call it."""

    def __init__(self, stream: IO[bytes], name: str, plan: Plan, options: TraceOptions) -> None:
        self._stream = stream
        self._name = name
        first = stream.readline(LONGEST_LINE + 1)
        line = decode_line(first, name, 1).removeprefix("\ufeff")
        if "\0" in line:
            raise TraceError(
                "the first line holds zero bytes",
                Place(name, 1, line.index("\0") + 1),
                expected="text in UTF-8",
                hint="save the file as CSV UTF-8",
            )
        self._delimiter = max(_DELIMITERS, key=lambda d: len(split_cells(line, d)))
        cells = [HeaderCell(t, Place(name, 1, at + 1)) for at, t in cells_of(line, self._delimiter, name, 1)]
        self.layout: Layout = read_layout(cells, plan, options)

    def batches(self) -> Iterator[tuple[NDArray[np.int64], list[Cells]]]:
        """Give times (int64 microseconds) and the layout's columns, piece by piece.

        Raises TraceError at the first line that is wrong, or if there is no row.
        """
        last_us: int | None = None
        rows = 0
        for piece in self._pieces():
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
            raise TraceError(
                "there is a header but no row",
                Place(self._name, 2, 1),
                expected="at least one row of numbers",
                hint="was the recording stopped before it began?",
            )

    def _positions(self) -> list[int]:
        return sorted({self.layout.time.position, *(c.position for c in self.layout.columns)})

    def _pieces(self) -> Iterator[Piece]:
        """Cut the stream at line ends; a last line without an end is given too."""
        carry, number = b"", 2
        while data := self._stream.read(PIECE_BYTES):
            cut = data.rfind(b"\n") + 1
            whole, carry = (carry + data[:cut], data[cut:]) if cut else (b"", carry + data)
            if whole:
                yield Piece(self._name, whole, number, last=False)
                number += whole.count(b"\n")
            if len(carry) > LONGEST_LINE:
                decode_line(carry, self._name, number)
        if carry:
            yield Piece(self._name, carry, number, last=True)

    def _parse(self, piece: Piece) -> Any:
        """Turn a piece into a pyarrow table of binary64 columns; TraceError with the place if it is wrong."""
        import pyarrow  # slow: wanted only when a recording is read
        from pyarrow import csv

        data = piece.data
        names = [str(i) for i in range(self.layout.width)]
        wanted = [str(p) for p in self._positions()]
        try:
            _check_bytes(data)
            return csv.read_csv(
                pyarrow.py_buffer(data),
                read_options=csv.ReadOptions(column_names=names, block_size=LONGEST_LINE),
                parse_options=csv.ParseOptions(delimiter=self._delimiter),
                convert_options=csv.ConvertOptions(
                    column_types=dict.fromkeys(wanted, pyarrow.float64()),
                    include_columns=wanted,
                    null_values=[""],
                ),
            )
        except (pyarrow.ArrowInvalid, ValueError) as error:
            raise_first_fault(piece, self.layout, self._delimiter, str(error).splitlines()[0])
            raise  # not reached: the line above always raises

    def _placed(self, fault: Fault, piece: Piece) -> TraceError:
        """Find the line and column of a fault, given by its row: rows are the lines that are not empty."""
        lines = enumerate(piece.data.split(b"\n"), piece.first_line)
        filled = ((number, raw) for number, raw in lines if raw.strip(b"\r"))
        number, raw = next(itertools.islice(filled, fault.row, None))
        cells = split_cells(decode_line(raw, self._name, number), self._delimiter)
        place = Place(self._name, number, cells[fault.position][0] + 1)
        return TraceError(fault.message, place, expected=fault.expected, hint=fault.hint)


def _check_bytes(data: bytes) -> None:
    """Raise ValueError (UnicodeDecodeError included) for what pyarrow would read in its own way."""
    if not data.isascii():
        data.decode()
    if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
        raise ValueError("a carriage return without a line feed")
    if b'"' in data and any(line.count(b'"') % 2 for line in data.split(b"\n")):
        raise ValueError("a quotation mark is not closed")


def _cells(column: Any) -> Cells:
    filled = None if column.null_count == 0 else column.is_valid().to_numpy()
    return column.to_numpy(), filled
