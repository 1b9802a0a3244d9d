"""Where exactly a line of a recording is wrong.

The fast path reads whole pieces of a file and only says that something does not fit. This slow one goes
through the piece again, line by line, to name the line and the column.
"""

import re
from dataclasses import dataclass

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.trace.layout import Layout

LONGEST_LINE = 1 << 20  # bytes

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_COMMA = re.compile(r"[+-]?\d+,\d+")
_DATE = re.compile(r"\d{2,4}[-/.:]\d{1,2}[-/.:]\d{1,4}.*")
_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Piece:
    """Whole lines of a file: its name, the bytes, the number of the first line, whether it is the end."""

    file: str
    data: bytes
    first_line: int
    last: bool


def split_cells(line: str, delimiter: str) -> list[tuple[int, str]]:
    """Split a line into cells, each with its column from 0; quotes are taken off, doubled ones halved."""
    if '"' not in line:
        cells, start = [], 0
        for text in line.split(delimiter):
            cells.append((start, text))
            start += len(text) + len(delimiter)
        return cells
    cells, start, quoted = [], 0, False
    for i, letter in enumerate(line + delimiter):
        if letter == '"':
            quoted = not quoted
        elif letter == delimiter and (not quoted or i == len(line)):
            cells.append((start, _unquote(line[start:i])))
            start = i + 1
    return cells


def cells_of(line: str, delimiter: str, file: str, number: int) -> list[tuple[int, str]]:
    """Split a line as `split_cells` does; TraceError if a quotation mark is left open."""
    if line.count('"') % 2:
        raise TraceError(
            "a quotation mark is not closed on its line",
            Place(file, number, line.rindex('"') + 1),
            expected="cells without line breaks",
            hint="take the mark out or close it",
        )
    return split_cells(line, delimiter)


def _unquote(text: str) -> str:
    if len(text) >= 2 and text[0] == text[-1] == '"':
        return text[1:-1].replace('""', '"')
    return text


def decode_line(raw: bytes, file: str, number: int) -> str:
    """Turn a line's bytes into text; TraceError if it is too long, not UTF-8, or has a lone return."""
    if len(raw) > LONGEST_LINE:
        raise TraceError(
            f"this line is longer than {LONGEST_LINE:,} bytes",
            Place(file, number, 1),
            expected="a table with one row a line",
            hint="is this really a CSV file?",
        )
    try:
        text = raw.removesuffix(b"\n").removesuffix(b"\r").decode()
    except UnicodeDecodeError as error:
        column = len(raw[: error.start].decode()) + 1
        raise TraceError(
            f"byte 0x{raw[error.start]:02x} is not UTF-8",
            Place(file, number, column),
            expected="text in UTF-8",
            hint="save the file as CSV UTF-8",
        ) from error
    if "\r" in text:
        raise TraceError(
            "a carriage return without a line feed",
            Place(file, number, text.index("\r") + 1),
            expected="lines that end in a line feed",
            hint="save the file with Unix or Windows line ends",
        )
    return text


def raise_first_fault(piece: Piece, layout: Layout, delimiter: str, why: str) -> None:
    """Raise a TraceError for the piece's first wrong line; `why` is said if none is found."""
    read = {c.position: c.name for c in (layout.time, *layout.columns)}
    lines = piece.data.split(b"\n")
    for offset, raw in enumerate(lines):
        number = piece.first_line + offset
        text = decode_line(raw, piece.file, number)
        if not text:
            continue
        cells = cells_of(text, delimiter, piece.file, number)
        cut = piece.last and offset == len(lines) - 1
        if len(cells) < layout.width:
            raise _short(Place(piece.file, number, len(text) + 1), len(cells), layout.width, cut=cut)
        if len(cells) > layout.width:
            place = Place(piece.file, number, cells[layout.width][0] + 1)
            raise _too_long(place, len(cells), layout.width, delimiter)
        for position, name in read.items():
            start, cell = cells[position]
            if cell and not _NUMBER.fullmatch(cell.strip(" \t")):
                place = Place(piece.file, number, start + 1)
                raise not_a_number(cell, name, place, time=position == layout.time.position)
    raise TraceError(
        f"this part of the file cannot be read: {why}",
        Place(piece.file, piece.first_line, 1),
        expected="a table of numbers",
    )


def _short(place: Place, got: int, width: int, *, cut: bool) -> TraceError:
    said = "the file is cut off in this row" if cut else "this row is short"
    hint = "delete this last line, or copy the file again" if cut else "leave cells empty rather than out"
    return TraceError(f"{said}: {_count(got)}", place, expected=f"{width}, as in the first line", hint=hint)


def _too_long(place: Place, got: int, width: int, delimiter: str) -> TraceError:
    hint = "is there one delimiter too many?"
    if delimiter == ",":
        hint += " If the decimals have commas: write 1.5, not 1,5"
    said = f"this row is too long: {_count(got)}"
    return TraceError(said, place, expected=f"{width}, as in the first line", hint=hint)


def _count(cells: int) -> str:
    return f"{cells} cell" if cells == 1 else f"{cells} cells"


_YES_NO = {"true": 1, "yes": 1, "on": 1, "false": 0, "no": 0, "off": 0}


def not_a_number(cell: str, name: str, place: Place, *, time: bool) -> TraceError:
    """Make the error for a cell that holds no number."""
    shown = cell if len(cell) <= _SHOWN else cell[:_SHOWN] + "..."
    text = cell.strip(" \t")
    expected, hint = "a number with a decimal point, or nothing", "take the text out"
    if not text:
        shown, hint = "a space", "leave the cell empty where there is no sample"
        return TraceError(f"{shown} in column {name} is not a number", place, expected=expected, hint=hint)
    if _NOT_FINITE.fullmatch(text):
        hint = "leave the cell empty where there is no sample"
    elif _COMMA.fullmatch(text):
        hint = f"decimal commas are not read: write {text.replace(',', '.')}"
    elif text.lower() in _YES_NO:
        expected, hint = "1 or 0", f"write {_YES_NO[text.lower()]}"
    elif time and _DATE.fullmatch(text):
        expected, hint = "a number of s, ms or us", "count the time from the start of the recording"
    return TraceError(f'"{shown}" in column {name} is not a number', place, expected=expected, hint=hint)
