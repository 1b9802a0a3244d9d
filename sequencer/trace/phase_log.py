"""Logs that tell their phases themselves: a CSV table by the builder's own program, read without a gait.

Such a file may have been written by anything, and its run can't be repeated. So it is read more leniently
than a recording: a cell that is no number counts as none, a row with too many or too few cells is left out,
and both are counted and told. Only what cannot be understood at all is an error: no phases, no time, a time
that falls, a file that is not text.
"""

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.trace.csv_text import CsvText, check_bytes
from sequencer.trace.layout import Layout
from sequencer.trace.lines import (
    LONGEST_LINE,
    Piece,
    cells_of,
    decode_line,
    not_a_number,
    raise_first_fault,
    split_cells,
)
from sequencer.trace.log_cells import NO_SAMPLE, number_of, whole, with_decimal_commas
from sequencer.trace.opening import (
    PARQUET,
    STANDARD_INPUT,
    Reader,
    buffered,
    open_file,
    put_aside,
    told_apart,
)
from sequencer.trace.phase_header import LogColumn, LoggedSequence, PhaseHeader, read_header
from sequencer.trace.ticks import find_fault

MOST_PHASES = 255
LONGEST_NAME = 200  # characters
NOT_YET = "(not told yet)"  # before the first cell of a column `phase` that is filled
_BOM = b"\xef\xbb\xbf"
_LEAST_NUMBERS = 0.5  # of the filled cells in the first piece, for a column to be one of numbers

Numbers = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LogRows:
    """Some rows in order.

    at_us: int64 (n,), does not fall. phases: of each sequence int64 (n,), into `PhaseLog.phases`. causes: of
    each sequence the texts, n of them; None without such a column. numbers: of each column float64 (n,), NaN
    where there is no finite number. empty: of each column where the cell is empty, bool (n,); None: nowhere.
    """

    at_us: NDArray[np.int64]
    phases: list[Codes]
    causes: list[list[str] | None]
    numbers: list[Numbers]
    empty: list[NDArray[np.bool_] | None]


@dataclass(slots=True)
class Doubts:
    """What was left out: rows with too many or too few cells, cells that are no numbers (by column)."""

    rows: int = 0
    first_row: str = ""
    cells: dict[str, int] = field(default_factory=dict)
    text: list[str] = field(default_factory=list)  # columns that hold text


class PhaseLog(Reader):
    """A log; `batches` may be gone through several times. Close it, or use `with`.

    name: the file, as errors call it. sequences: in the file's order. columns: those of numbers.
    phases: of each sequence the names, in the order in which they first come; they grow as rows are read.
    doubts: what was left out, as of the last time through.
    """

    def __init__(self, source: str | Path | IO[bytes], mapping: Mapping[str, str] | None = None) -> None:
        self._stream, self.name = _open(source)
        try:
            self._text = CsvText(self._stream, self.name)
            self._header: PhaseHeader = read_header(self._text.header, mapping or {})
            first = next(filter(_filled, self._text.pieces()), None)
            if first is None:
                raise self._text.no_row()
            self._commas = self._text.delimiter != "," and with_decimal_commas(first.data)
            self.doubts = Doubts()
            self._odd: set[int] = set()  # columns that hold something else than numbers
            self.columns = self._numeric(first)
        except BaseException:
            self.close()
            raise
        self.phases: list[list[str]] = [[] for _ in self.sequences]
        self._codes: list[dict[str, int]] = [{} for _ in self.sequences]

    @property
    def sequences(self) -> tuple[LoggedSequence, ...]:
        """The sequences."""
        return self._header.sequences

    def close(self) -> None:
        """Close the file."""
        if self._stream is not sys.stdin.buffer:
            self._stream.close()

    def take_phases(self, other: "PhaseLog") -> None:
        """Take over the numbers of phases of another log of the same sequences; new ones come behind."""
        self.phases = [list(names) for names in other.phases]
        self._codes = [{name: i for i, name in enumerate(names)} for names in self.phases]

    def batches(self) -> Iterator[LogRows]:
        """Give all rows, piece by piece; TraceError at the first that cannot be understood."""
        self._stream.seek(0)
        self._text = CsvText(self._stream, self.name)
        self.doubts = Doubts(text=self.doubts.text)
        last_us: int | None = None
        rows = 0
        held: list[int | None] = [None for _ in self.sequences]
        misfit: Piece | None = None
        for piece in filter(_filled, self._text.pieces()):
            before = self.doubts.rows
            table = self._parse(piece)
            misfit = piece if self.doubts.rows and not before else misfit
            if not len(table):
                continue
            batch = self._batch(piece, table, last_us, held)
            rows += len(batch.at_us)
            last_us = int(batch.at_us[-1])
            yield batch
        if misfit is not None and self.doubts.rows > rows:
            raise_first_fault(misfit, self._layout, self._text.delimiter, "rows do not fit the header")
        if not rows:
            raise self._text.no_row()

    @property
    def _layout(self) -> Layout:
        return Layout(self._header.time, (), self._header.width, (), ())

    def _batch(self, piece: Piece, table: Any, last_us: int | None, held: list[int | None]) -> LogRows:
        time = table.column(str(self._header.time.position))
        filled = None if time.null_count == 0 else time.is_valid().to_numpy()
        at_us, fault = find_fault((time.to_numpy(), filled), [], self._layout, last_us)
        if fault is not None:
            place = self._text.place_of(piece, fault.row, fault.position)
            raise TraceError(fault.message, place, expected=fault.expected, hint=fault.hint)
        numbers, empty = [], []
        for column in self.columns:
            cells, nothing = self._numbers(table.column(str(column.position)), column)
            numbers.append(cells)
            empty.append(nothing)
        phases = [self._phase_codes(table, s, held) for s in range(len(self.sequences))]
        causes = [
            None if sequence.cause is None else table.column(str(sequence.cause)).to_pylist()
            for sequence in self.sequences
        ]
        return LogRows(at_us, phases, causes, numbers, empty)

    def _numbers(self, cells: Any, column: LogColumn) -> tuple[Numbers, NDArray[np.bool_] | None]:
        import pyarrow  # slow: wanted only when a log is read

        if pyarrow.types.is_floating(cells.type):
            empty = None if cells.null_count == 0 else ~cells.is_valid().to_numpy()
            numbers = np.array(cells.to_numpy(), np.float64)
        else:
            numbers, empty, odd = self._read_text(cells)
            if odd:
                self.doubts.cells[column.name] = self.doubts.cells.get(column.name, 0) + odd
        numbers[~np.isfinite(numbers)] = np.nan
        return numbers, empty

    def _read_text(self, cells: Any) -> tuple[Numbers, NDArray[np.bool_] | None, int]:
        """Read texts as numbers, each text once: the numbers, where cells are empty, how many are odd."""
        coded = cells.combine_chunks().dictionary_encode()
        texts: list[str] = coded.dictionary.to_pylist()
        row = coded.indices.to_numpy()
        known = [number_of(text, commas=self._commas) for text in texts]
        nothing = np.array([text.strip() in NO_SAMPLE for text in texts], np.bool_)
        odd = np.array([number is None for number in known], np.bool_) & ~nothing
        values = np.array([np.nan if number is None else number for number in known], np.float64)
        empty = nothing[row]
        return values[row], empty if empty.any() else None, int(np.count_nonzero(odd[row]))

    def _phase_codes(self, table: Any, sequence: int, held: list[int | None]) -> Codes:
        """Turn phases into numbers; where the cell is empty the one before goes on."""
        coded = table.column(str(self.sequences[sequence].phase)).combine_chunks().dictionary_encode()
        codes = np.array([self._code(sequence, text) for text in coded.dictionary.to_pylist()], np.int64)
        row: Codes = codes[coded.indices.to_numpy()]
        if (row < 0).any():
            before = held[sequence]
            if before is None:
                before = self._intern(sequence, NOT_YET) if row[0] < 0 else 0
            last = np.maximum.accumulate(np.where(row >= 0, np.arange(len(row)), -1))
            row = np.where(last >= 0, row[np.maximum(last, 0)], before)
        held[sequence] = int(row[-1])
        return row

    def _code(self, sequence: int, text: str) -> int:
        name = whole(text)
        return -1 if name.lower() in ("", "nan") else self._intern(sequence, name)

    def _intern(self, sequence: int, name: str) -> int:
        codes = self._codes[sequence]
        if name not in codes:
            said = ""
            if len(name) > LONGEST_NAME:
                said = f"a text of {len(name):,} characters"
            elif len(codes) == MOST_PHASES:
                said = f"more than {MOST_PHASES} different values, such as {name}"
            if said:
                theirs = self.sequences[sequence]
                raise TraceError(
                    f"column {theirs.column} holds {said}",
                    theirs.place,
                    expected="the name or number of a phase",
                    hint="is it something else? Then say which column is the phase: --map phase=NAME",
                )
            codes[name] = len(codes)
            self.phases[sequence].append(name)
        return codes[name]

    def _numeric(self, first: Piece) -> tuple[LogColumn, ...]:
        """Choose the columns that hold numbers, by the first piece; the others are noted as text."""
        candidates = self._header.columns
        self._odd = {column.position for column in candidates}
        self.columns = candidates
        table = self._parse(first)
        self._odd = set()
        found = []
        for column in candidates:
            numbers, empty, odd = self._read_text(table.column(str(column.position)))
            filled = len(numbers) - (0 if empty is None else int(np.count_nonzero(empty)))
            if odd > (1 - _LEAST_NUMBERS) * filled:
                self.doubts.text.append(column.name)
                continue
            if odd:
                self._odd.add(column.position)
            found.append(column)
        return tuple(found)

    def _parse(self, piece: Piece) -> Any:
        """Turn a piece into a pyarrow table; TraceError with the place if that can't be done."""
        import pyarrow  # slow: wanted only when a log is read

        try:
            check_bytes(piece.data)
            return self._table(piece, self._odd)
        except (pyarrow.ArrowInvalid, ValueError) as error:
            self._refuse_broken(piece, str(error).splitlines()[0])
        try:
            table = self._table(piece, {column.position for column in self.columns})
        except (pyarrow.ArrowInvalid, ValueError) as error:
            raise self._unreadable(piece, str(error).splitlines()[0]) from error
        for column in self.columns:
            if self._read_text(table.column(str(column.position)))[2]:
                self._odd.add(column.position)
        return table

    def _refuse_broken(self, piece: Piece, why: str) -> None:
        """Raise TraceError for what is wrong besides numbers that are none: text, quotes, times."""
        time = self._header.time
        for offset, raw in enumerate(piece.data.split(b"\n")):
            number = piece.first_line + offset
            text = decode_line(raw, piece.file, number)
            cells = cells_of(text, self._text.delimiter, piece.file, number)
            if len(cells) != self._header.width:
                continue
            start, cell = cells[time.position]
            if cell.strip() and number_of(cell, commas=self._commas) is None:
                raise not_a_number(cell, time.name, Place(piece.file, number, start + 1), time=True)
        if why.startswith("a "):  # said by check_bytes, and not found again: a mark amid a cell
            raise self._unreadable(piece, why)

    def _unreadable(self, piece: Piece, why: str) -> TraceError:
        place = Place(piece.file, piece.first_line, 1)
        return TraceError(f"this part of the file cannot be read: {why}", place, expected="a table in text")

    def _table(self, piece: Piece, as_text: set[int]) -> Any:
        import pyarrow
        from pyarrow import csv

        head = self._header
        numeric = [column.position for column in self.columns if column.position not in as_text]
        texts = [s.phase for s in head.sequences]
        texts += [s.cause for s in head.sequences if s.cause is not None]
        texts += [column.position for column in self.columns if column.position in as_text]
        types = dict.fromkeys(map(str, texts), pyarrow.string())
        types |= dict.fromkeys(map(str, [head.time.position, *numeric]), pyarrow.float64())
        misfits: list[int] = []

        def leave_out(row: Any) -> str:
            misfits.append(row.actual_columns)
            return "skip"

        table = csv.read_csv(
            pyarrow.py_buffer(piece.data),
            read_options=csv.ReadOptions(
                column_names=[str(i) for i in range(head.width)], block_size=LONGEST_LINE
            ),
            parse_options=csv.ParseOptions(delimiter=self._text.delimiter, invalid_row_handler=leave_out),
            convert_options=csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=sorted(NO_SAMPLE),
                decimal_point="," if self._commas else ".",
            ),
        )
        if misfits and not self.doubts.rows:
            self.doubts.first_row = self._first_misfit(piece)
        self.doubts.rows += len(misfits)
        return table

    def _first_misfit(self, piece: Piece) -> str:
        width = self._header.width
        for offset, raw in enumerate(piece.data.split(b"\n")):
            text = raw.removesuffix(b"\r").decode(errors="replace")
            cells = len(split_cells(text, self._text.delimiter))
            if text and cells != width:
                counted = f"{cells} cell{'' if cells == 1 else 's'}"
                return f"line {piece.first_line + offset}: {counted} where the header has {width}"
        return ""


def _filled(piece: Piece) -> bool:
    """Tell whether there is anything in a piece; of nothing pyarrow makes an error."""
    return bool(piece.data.replace(_BOM, b"").strip())


def _open(source: str | Path | IO[bytes]) -> tuple[IO[bytes], str]:
    """Open a log so that it can be gone through twice."""
    if source == "-":
        stream, name = put_aside(sys.stdin.buffer), STANDARD_INPUT
    elif isinstance(source, str | Path):
        stream, name = open_file(Path(source)), str(source)
    else:
        stream, name = source, str(getattr(source, "name", STANDARD_INPUT))
        stream = stream if stream.seekable() else put_aside(stream)
    try:
        stream, start = buffered(stream, name)
        if start == PARQUET:
            raise TraceError(
                "this is a Parquet file, and no gait says what its columns mean",
                Place(name, 1, 1),
                expected="a recording and its gait (--gait FILE), or a CSV table with a column phase",
                hint="say which gait with --gait, or save it as CSV",
            )
        stream, telemetry = told_apart(stream)
        if telemetry:
            raise TraceError(
                "this is a telemetry log, and no gait says what its numbers mean",
                Place(name, 1, 1),
                expected="the log and its gait",
                hint="say which gait with --gait",
            )
    except BaseException:
        stream.close()
        raise
    return stream, name
