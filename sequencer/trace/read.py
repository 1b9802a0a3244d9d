"""Reading recordings: CSV, Parquet or a telemetry log from a file; CSV or a log from standard input."""

import io
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Self

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.csv_source import CsvSource
from sequencer.trace.layout import Layout, TraceOptions, nearest
from sequencer.trace.parquet_source import ParquetSource
from sequencer.trace.telemetry import TelemetrySource
from sequencer.trace.telemetry_lines import looks_like_telemetry
from sequencer.trace.ticks import TickAssembler

if TYPE_CHECKING:
    from typing_extensions import Buffer

STANDARD_INPUT = "<stdin>"
_LOOKED_AT = 1 << 16  # bytes at the start that tell a telemetry log from a table
_COPIED = 1 << 20  # bytes at once
Rows = CsvSource | ParquetSource | TelemetrySource
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_WRONG_KIND = (
    (b"\x1f\x8b", "this file is compressed with gzip", "unpack it: gunzip -c FILE | ... -"),
    (b"PK\x03\x04", "this is a spreadsheet or a zip archive", "save the table as CSV UTF-8, or unpack it"),
    (b"\x28\xb5\x2f\xfd", "this file is compressed with zstd", "unpack it: zstd -dc FILE | ... -"),
)


class TraceReader:
    """A recording as blocks of ticks; iterate over it once, then close it (or use `with`).

    source: what errors call it. unused: columns that nothing takes. missing: signals without a column.
    rows, ticks: how many were read so far. remarks: what people should know of it, one line each.
    """

    def __init__(self, stream: IO[bytes], rows: Rows, name: str, plan: Plan, options: TraceOptions) -> None:
        self._stream = stream
        self._rows = rows
        self._assembler = TickAssembler(plan, rows.layout, options)
        self.source = name
        self.rows = 0
        self.ticks = 0

    @property
    def layout(self) -> Layout:
        """What each column means."""
        return self._rows.layout

    @property
    def of_machine(self) -> bool:
        """Whether it is a telemetry log."""
        return isinstance(self._rows, TelemetrySource)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What of a telemetry log was left out, and which run was taken."""
        return self._rows.remarks if isinstance(self._rows, TelemetrySource) else ()

    @property
    def unused(self) -> tuple[str, ...]:
        """Columns that nothing takes, as they are called in the file."""
        return self.layout.unused

    @property
    def missing(self) -> tuple[str, ...]:
        """Signals that have no column."""
        return self.layout.missing

    def __iter__(self) -> Iterator[TickBlock]:
        """Give the blocks in order, each of at most 65,536 ticks; TraceError at the first wrong row."""
        blocks = (
            self._rows.blocks() if isinstance(self._rows, TelemetrySource) else self._assembled(self._rows)
        )
        for block in blocks:
            self.ticks += len(block)
            if block.machine is not None:
                self.rows += len(block.machine.row)
            yield block

    def _assembled(self, rows: CsvSource | ParquetSource) -> Iterator[TickBlock]:
        for times, columns in rows.batches():
            self.rows += len(times)
            yield from self._assembler.feed(times, columns)
        yield from self._assembler.finish()

    def close(self) -> None:
        """Close the file."""
        if isinstance(self._rows, ParquetSource):
            self._rows.close()
        if self._stream is not sys.stdin.buffer:
            self._stream.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_trace(
    source: str | Path | IO[bytes], plan: Plan, options: TraceOptions | None = None
) -> TraceReader:
    """Open a recording: a path, ``-`` for standard input, or a binary stream (both not Parquet).

    The header is read at once, a telemetry log once through. Raises TraceError with the place for a file that
    cannot be used, MisuseError for options that name nothing.
    """
    options = options or TraceOptions()
    if source == "-":
        return _open(sys.stdin.buffer, STANDARD_INPUT, plan, options)
    if not isinstance(source, str | Path):
        return _open(source, str(getattr(source, "name", STANDARD_INPUT)), plan, options)
    name = str(source)
    try:
        stream = _open_regular(Path(source))
    except OSError as error:
        raise TraceError(
            f"the recording cannot be opened: {error.strerror or error}",
            Place(name, 1, 1),
            expected="a CSV or Parquet file or a telemetry log that can be read",
            hint=_other_file(Path(source)),
        ) from error
    try:
        return _open(stream, name, plan, options, path=Path(source))
    except BaseException:
        stream.close()
        raise


def _other_file(path: Path) -> str:
    """Say what was meant by a path that cannot be opened."""
    try:
        if path.exists():
            return "give a recording's file name; for a pipe or a device, use - and send it to standard input"
        names = [entry.name for entry in path.parent.iterdir()]
    except OSError:
        return ""
    return nearest(path.name, names)


def _open_regular(path: Path) -> IO[bytes]:
    """Open a regular file; OSError for anything else, without waiting for the other end of a pipe."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    mode = os.fstat(descriptor).st_mode
    if not stat.S_ISREG(mode):
        os.close(descriptor)
        raise OSError(0, "it is a directory" if stat.S_ISDIR(mode) else "it is not a regular file")
    return os.fdopen(descriptor, "rb")


def _open(
    stream: IO[bytes], name: str, plan: Plan, options: TraceOptions, path: Path | None = None
) -> TraceReader:
    if not isinstance(stream, io.BufferedReader):
        stream = io.BufferedReader(stream)  # type: ignore[type-var]
    start = stream.peek(4)[:4]
    if not start:
        raise TraceError(
            "the file is empty", Place(name, 1, 1), expected="a first line of column names, then rows"
        )
    for magic, said, hint in _WRONG_KIND:
        if start.startswith(magic):
            raise TraceError(said, Place(name, 1, 1), expected="CSV text or Parquet", hint=hint)
    if start.startswith(_UTF16):
        raise TraceError(
            "this file is in UTF-16", Place(name, 1, 1), expected="UTF-8", hint="save it as CSV UTF-8"
        )
    if start == b"PAR1":
        if path is None:
            raise TraceError(
                "Parquet cannot be read from standard input: its table of contents stands at the end",
                Place(name, 1, 1),
                expected="CSV",
                hint="give the file's name",
            )
        return TraceReader(stream, ParquetSource(path, name, plan, options), name, plan, options)
    stream, telemetry = _told_apart(stream)
    rows = (TelemetrySource if telemetry else CsvSource)(stream, name, plan, options)
    return TraceReader(stream, rows, name, plan, options)


class _Again(io.RawIOBase):
    """A stream of which the first part was read already, from its beginning."""

    def __init__(self, first: bytes, rest: IO[bytes]) -> None:
        self._first, self._rest = io.BytesIO(first), rest

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "Buffer") -> int:
        view = memoryview(buffer).cast("B")
        data = self._first.read(len(view)) or self._rest.read(len(view))
        view[: len(data)] = data
        return len(data)

    def close(self) -> None:
        if self._rest is not sys.stdin.buffer:
            self._rest.close()
        super().close()


def _told_apart(stream: IO[bytes]) -> tuple[IO[bytes], bool]:
    """Tell whether it is a telemetry log; give a stream that begins at the beginning.

    A log is gone through twice, so one from standard input is put aside in a temporary file.
    """
    start = stream.read(_LOOKED_AT)
    telemetry = looks_like_telemetry(start)
    if stream.seekable():
        stream.seek(-len(start), os.SEEK_CUR)
        return stream, telemetry
    if not telemetry:
        return io.BufferedReader(_Again(start, stream)), False
    aside = tempfile.TemporaryFile()  # noqa: SIM115 - open until the reader is closed
    aside.write(start)
    while data := stream.read(_COPIED):
        aside.write(data)
    aside.seek(0)
    return aside, True
