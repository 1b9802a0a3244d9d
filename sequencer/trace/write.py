"""Writing recordings, as CSV or, for a name that ends in .parquet, as Parquet.

A column per signal (``x`` raw, ``x.value`` for values), event, switch and parameter, with ``remote`` if there
is one and ``helping.on`` and so on if the machine can be helped; empty cells where a signal is not fresh; a
switch only where it changes. Reading the file back gives the same ticks to the bit. Beside them there may be
columns that no executor reads (`sequencer.trace.truth`).
"""

import contextlib
import itertools
import os
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import MisuseError
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, HELPING_BITS, RESET, STEP, TickBlock
from sequencer.trace.read import open_trace
from sequencer.trace.ticks import LONGEST_GAP_US

_WRAP = 1 << 32


@dataclass(frozen=True, slots=True)
class Beside:
    """Columns beside those of the ticks: names, and values, float32 (ticks, columns); NaN is empty."""

    names: tuple[str, ...]
    values: NDArray[np.float32]


def write_trace(
    path: str | Path,
    plan: Plan,
    blocks: Iterable[TickBlock],
    *,
    overwrite: bool = False,
    beside: Beside | None = None,
) -> int:
    """Write blocks of ticks to a file and return how many ticks there were.

    The file appears whole or not at all. Raises MisuseError if it exists and `overwrite` is false, if it
    cannot be written, or for ticks that a recording cannot hold: resets, numbers that are not finite, and
    times that are not rising multiples of the tick.
    """
    path = Path(path)
    if os.path.lexists(path) and not (overwrite and path.is_file()):
        raise MisuseError(f"{path} exists already", hint="give another name, or --force to overwrite it")
    rest = iter(blocks)
    first = next((b for b in rest if len(b)), None)
    if first is None:
        raise MisuseError(f"there are no ticks to write to {path}")
    parquet = path.suffix.lower() == ".parquet"
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".writing-") as folder:
            aside = Path(folder, "recording")
            rows = _Rows(plan, _forms(first), beside)
            ticks = _write(aside, rows, itertools.chain([first], rest), parquet)
            aside.replace(path)
    except OSError as error:
        raise MisuseError(f"{path} cannot be written: {error.strerror or error}") from error
    return ticks


Form = tuple[int, int]
"""A signal's index and FRESH_RAW or FRESH_VALUE: one column."""


def _write(aside: Path, rows: "_Rows", blocks: Iterator[TickBlock], parquet: bool) -> int:
    """Write to `aside`; if a signal turns up in another form, start again with more columns.

    Which columns are needed is only known after the last block, so what was written so far is read back.
    """
    ticks, surprise = 0, None
    with _sink(aside, rows, parquet) as sink:
        for block in blocks:
            if not _forms(block) <= rows.forms:
                surprise = block
                break
            sink.write_table(rows.table(block, texts=not parquet))
            ticks += len(block)
    if surprise is None:
        return ticks
    earlier = aside.with_name(f"earlier-{len(rows.forms)}")
    aside.replace(earlier)
    with open_trace(earlier, rows.plan) as reader:
        again = itertools.chain(reader, [surprise], blocks)
        wider = _Rows(rows.plan, rows.forms | _forms(surprise), rows.beside)
        return _write(aside, wider, again, parquet)


def _forms(block: TickBlock) -> frozenset[Form]:
    return frozenset(
        (int(signal), form)
        for form in (FRESH_RAW, FRESH_VALUE)
        for signal in np.flatnonzero((block.fresh == form).any(axis=0))
    )


@contextlib.contextmanager
def _sink(aside: Path, rows: "_Rows", parquet: bool) -> Iterator[Any]:
    from pyarrow import csv  # slow: wanted only when a recording is written
    from pyarrow import parquet as pq

    if parquet:
        with pq.ParquetWriter(aside, rows.schema(texts=False)) as sink:
            yield sink
    else:
        options = csv.WriteOptions(include_header=False, quoting_style="none")
        schema = rows.schema(texts=True)
        with aside.open("wb") as file:
            file.write((",".join(schema.names) + "\n").encode())
            with csv.CSVWriter(file, schema, write_options=options) as sink:
                yield sink


@dataclass(frozen=True, slots=True)
class _Column:
    name: str
    kind: str  # time, signal, event, switch, remote, helping, parameter, beside
    index: int = 0
    form: int = 0


class _Rows:
    """Turns blocks into tables of rows; remembers where the switches stand."""

    def __init__(self, plan: Plan, forms: frozenset[Form], beside: Beside | None) -> None:
        self.plan = plan
        self.forms = forms
        self.beside = beside
        self._columns = _columns(plan, forms, beside)
        self._ticks = 0
        self._switches: int | None = None
        self._helped: int | None = None
        self._last_ms: int | None = None

    def schema(self, *, texts: bool) -> Any:
        """Give the columns' names and types; `texts` for CSV, where we spell the numbers ourselves."""
        import pyarrow  # slow: wanted only when a recording is written

        number = pyarrow.string() if texts else pyarrow.float32()
        types = {"time": pyarrow.int64(), "signal": number, "parameter": number, "beside": number}
        return pyarrow.schema([(c.name, types.get(c.kind, pyarrow.uint8())) for c in self._columns])

    def table(self, block: TickBlock, *, texts: bool) -> Any:
        """Lay a block out: a row per tick, and more before it if a parameter is written twice in it."""
        import pyarrow  # slow: wanted only when a recording is written

        if bool((block.control & RESET).any()):
            raise MisuseError("a recording cannot hold a reset", hint="write one file per run")
        times = self._times(block.now)
        layers = _layers(block)
        repeat = np.ones(len(block), np.int64)
        for (tick, layer), _ in layers:
            repeat[tick] = max(repeat[tick], layer + 1)
        last = np.cumsum(repeat) - 1  # the row of each tick that holds all but earlier writes
        rows = int(last[-1]) + 1
        filled = {c.name: self._cells(c, block) for c in self._columns[1:] if c.kind != "parameter"}
        self._switches, self._helped = int(block.switches[-1]), int(block.control[-1])
        self._ticks += len(block)
        arrays = [pyarrow.array(np.repeat(times, repeat))]
        for column in self._columns[1:]:
            if column.kind == "parameter":
                values, there = _written(column.index, layers, last - repeat + 1, rows)
            else:
                values, there = _spread(filled[column.name], last, rows)
            arrays.append(_array(values, there, column, texts))
        return pyarrow.Table.from_arrays(arrays, schema=self.schema(texts=texts))

    def _times(self, now: NDArray[np.uint32]) -> NDArray[np.int64]:
        """Give the ticks' times in milliseconds without the wrap, int64 (n,)."""
        tick = self.plan.tick_ms
        if self._last_ms is None:
            turns = (int(now[0]) + t * _WRAP for t in range(tick))
            start = next((t for t in turns if t % tick == 0), None)
            if start is None:
                raise MisuseError(f"now = {now[0]} ms is no multiple of the tick, {tick} ms")
            steps = np.diff(now, prepend=now[:1]).astype(np.int64)
            steps[0] = tick
            self._last_ms = start - tick
        else:
            steps = np.diff(now, prepend=np.uint32(self._last_ms % _WRAP)).astype(np.int64)
        wrong = (steps <= 0) | (steps % tick != 0) | (steps * 1000 > LONGEST_GAP_US)
        if wrong.any():
            at = int(wrong.argmax())
            raise MisuseError(
                f"now = {now[at]} ms does not come whole ticks of {tick} ms after the tick before"
            )
        times = self._last_ms + np.cumsum(steps)
        self._last_ms = int(times[-1])
        return times

    def _cells(self, column: _Column, block: TickBlock) -> tuple[NDArray[Any], NDArray[np.bool_]]:
        """Give a column's cells, one per tick, and where they are filled."""
        if column.kind == "signal":
            there: NDArray[np.bool_] = block.fresh[:, column.index] == column.form
            return block.raw[:, column.index], there
        if column.kind == "beside":
            assert self.beside is not None
            values = self.beside.values[self._ticks : self._ticks + len(block), column.index]
            return values, ~np.isnan(values)
        if column.kind == "remote":
            heard = (block.control & HEARD).astype(np.uint8)
            return heard, heard != 0
        bits, state = block.switches, self._switches
        if column.kind == "event":
            bits = block.events
        elif column.kind == "helping":
            bits, state = block.control.astype(np.uint32), self._helped
        on = ((bits >> np.uint32(column.index)) & np.uint32(1)).astype(np.uint8)
        if column.kind == "event" or (column.kind == "helping" and 1 << column.index == STEP):
            return on, on != 0
        before = 2 if state is None else (state >> column.index) & 1
        return on, np.diff(on.astype(np.int8), prepend=np.int8(before)) != 0


def _columns(plan: Plan, forms: frozenset[Form], beside: Beside | None) -> list[_Column]:
    columns = [_Column("time [ms]", "time")]
    for i, signal in enumerate(plan.signals):
        unit = f" [{signal.unit}]" if signal.unit else ""
        if (i, FRESH_RAW) in forms:
            raw_unit = " [counts]" if signal.scaled else unit
            columns.append(_Column(f"{signal.name}{raw_unit}", "signal", i, FRESH_RAW))
        if (i, FRESH_VALUE) in forms:
            columns.append(_Column(f"{signal.name}.value{unit}", "signal", i, FRESH_VALUE))
    columns += [_Column(e.name, "event", i) for i, e in enumerate(plan.events)]
    columns += [_Column(s.name, "switch", i) for i, s in enumerate(plan.switches)]
    if plan.remote is not None:
        columns.append(_Column("remote", "remote"))
    if plan.helping:
        columns += [_Column(f"helping.{n}", "helping", b.bit_length() - 1) for n, b in HELPING_BITS.items()]
    for i, parameter in enumerate(plan.parameters):
        unit = f" [{parameter.unit}]" if parameter.unit else ""
        columns.append(_Column(f"{parameter.name}{unit}", "parameter", i))
    names = () if beside is None else beside.names
    columns += [_Column(name, "beside", i) for i, name in enumerate(names)]
    return columns


def _layers(block: TickBlock) -> list[tuple[tuple[int, int], tuple[int, float]]]:
    """Order a block's writes as ((tick, row within the tick), (parameter, value)).

    Within a row, writes are read in the order of the columns, so one that breaks it needs a further row.
    All of them stand in the first rows of their tick, and the signals in the last.
    """
    layers = []
    tick, layer, before = -1, 0, -1
    for write in sorted(block.writes, key=lambda w: w.row):
        if write.row != tick:
            tick, layer, before = write.row, 0, -1
        if write.parameter <= before:
            layer += 1
        before = write.parameter
        layers.append(((tick, layer), (write.parameter, write.value)))
    return layers


def _written(
    parameter: int,
    layers: list[tuple[tuple[int, int], tuple[int, float]]],
    first: NDArray[np.int64],
    rows: int,
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    values, there = np.zeros(rows, np.float32), np.zeros(rows, np.bool_)
    for (tick, layer), (index, value) in layers:
        if index == parameter:
            values[first[tick] + layer] = value
            there[first[tick] + layer] = True
    return values, there


def _spread(
    cells: tuple[NDArray[Any], NDArray[np.bool_]], last: NDArray[np.int64], rows: int
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Put one cell per tick into the last row of each tick."""
    values, there = cells
    if rows == len(last):
        return values, there
    wide, filled = np.zeros(rows, values.dtype), np.zeros(rows, np.bool_)
    wide[last], filled[last] = values, there
    return wide, filled


def _array(values: NDArray[Any], there: NDArray[np.bool_], column: _Column, texts: bool) -> Any:
    import pyarrow  # slow: wanted only when a recording is written

    if column.kind in ("signal", "parameter", "beside"):
        if not np.isfinite(values[there]).all():
            raise MisuseError(f"{column.name} holds a number that is not finite, which a recording cannot")
        if texts:
            return _spell(values, there)
    return pyarrow.array(values, mask=~there)


def _spell(values: NDArray[np.float32], there: NDArray[np.bool_]) -> Any:
    """Spell binary32 numbers so that they read back to the same bits, by way of binary64.

    pyarrow gives the shortest decimal that is nearest to the binary32 number. A reader rounds it to binary64
    first, which in rare cases lands on the border between two binary32 numbers; those are spelled in full.
    """
    import pyarrow  # slow: wanted only when a recording is written
    from pyarrow import compute

    texts = pyarrow.array(values, mask=~there).cast(pyarrow.string())
    back = compute.cast(texts, pyarrow.float64()).to_numpy(zero_copy_only=False).astype(np.float32)
    wrong = there & (back.view(np.uint32) != np.ascontiguousarray(values).view(np.uint32))
    if not wrong.any():
        return texts
    full = pyarrow.array([repr(float(v)) for v in values])
    return compute.if_else(pyarrow.array(wrong), full, texts)
