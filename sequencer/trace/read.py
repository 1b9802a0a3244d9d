"""Reading recordings: CSV, Parquet or a telemetry log from a file; CSV or a log from standard input."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from sequencer.base.errors import TraceError
from sequencer.base.places import Place
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.csv_source import CsvSource
from sequencer.trace.layout import Layout, TraceOptions
from sequencer.trace.opening import PARQUET, STANDARD_INPUT, Reader, buffered, open_file, told_apart
from sequencer.trace.parquet_source import ParquetSource
from sequencer.trace.telemetry import TelemetrySource
from sequencer.trace.ticks import TickAssembler

Rows = CsvSource | ParquetSource | TelemetrySource


class TraceReader(Reader):
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
    stream = open_file(Path(source))
    try:
        return _open(stream, str(source), plan, options, path=Path(source))
    except BaseException:
        stream.close()
        raise


def _open(
    stream: IO[bytes], name: str, plan: Plan, options: TraceOptions, path: Path | None = None
) -> TraceReader:
    stream, start = buffered(stream, name)
    if start == PARQUET:
        if path is None:
            raise TraceError(
                "Parquet cannot be read from standard input: its table of contents stands at the end",
                Place(name, 1, 1),
                expected="CSV",
                hint="give the file's name",
            )
        return TraceReader(stream, ParquetSource(path, name, plan, options), name, plan, options)
    stream, telemetry = told_apart(stream)
    rows = (TelemetrySource if telemetry else CsvSource)(stream, name, plan, options)
    return TraceReader(stream, rows, name, plan, options)
