"""The text of a CSV table: its header, its delimiter, and its rows in pieces of a few megabytes.

The file is cut at line ends, so memory stays constant, standard input can be read, and a piece that does not
fit is at hand for the slow search that names line and column.
"""

import itertools
from collections.abc import Iterator
from typing import IO

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.trace.layout import HeaderCell
from sequencer.trace.lines import LONGEST_LINE, Piece, cells_of, decode_line, split_cells

PIECE_BYTES = 1 << 22
_DELIMITERS = ",;\t"


class CsvText:
    """One CSV stream; `name` is what errors call it, `header` its first line, cut at `delimiter`."""

    def __init__(self, stream: IO[bytes], name: str) -> None:
        self._stream = stream
        self.name = name
        first = stream.readline(LONGEST_LINE + 1)
        line = decode_line(first, name, 1).removeprefix("\ufeff")
        if "\0" in line:
            raise TraceError(
                "the first line holds zero bytes",
                Place(name, 1, line.index("\0") + 1),
                expected="text in UTF-8",
                hint="save the file as CSV UTF-8",
            )
        self.delimiter = max(_DELIMITERS, key=lambda d: len(split_cells(line, d)))
        self.header = [
            HeaderCell(text, Place(name, 1, at + 1)) for at, text in cells_of(line, self.delimiter, name, 1)
        ]

    def pieces(self) -> Iterator[Piece]:
        """Cut the stream at line ends; a last line without an end is given too."""
        carry, number = b"", 2
        while data := self._stream.read(PIECE_BYTES):
            cut = data.rfind(b"\n") + 1
            whole, carry = (carry + data[:cut], data[cut:]) if cut else (b"", carry + data)
            if whole:
                yield Piece(self.name, whole, number, last=False)
                number += whole.count(b"\n")
            if len(carry) > LONGEST_LINE:
                decode_line(carry, self.name, number)
        if carry:
            yield Piece(self.name, carry, number, last=True)

    def no_row(self) -> TraceError:
        """Make the error for a table without a row."""
        return TraceError(
            "there is a header but no row",
            Place(self.name, 2, 1),
            expected="at least one row of numbers",
            hint="was the recording stopped before it began?",
        )

    def place_of(self, piece: Piece, row: int, position: int) -> Place:
        """Find the cell of a row that has as many cells as the header, counted from the piece's first."""
        lines = enumerate(piece.data.split(b"\n"), piece.first_line)
        cut = (
            (number, split_cells(decode_line(raw, self.name, number), self.delimiter))
            for number, raw in lines
            if raw.strip(b"\r")
        )
        fitting = ((number, cells) for number, cells in cut if len(cells) == len(self.header))
        number, cells = next(itertools.islice(fitting, row, None))
        return Place(self.name, number, cells[position][0] + 1)


def check_bytes(data: bytes) -> None:
    """Raise ValueError (UnicodeDecodeError included) for what pyarrow would read in its own way."""
    if not data.isascii():
        data.decode()
    if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
        raise ValueError("a carriage return without a line feed")
    if b'"' in data and any(line.count(b'"') % 2 for line in data.split(b"\n")):
        raise ValueError("a quotation mark is not closed")
