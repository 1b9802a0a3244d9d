"""From rows of a recording to blocks of ticks.

Tick k has now = k * tick and takes the rows in (now - tick, now]. The last cell of each column counts, the
others are counted as skipped; an empty cell is not fresh. Numbers are binary64 until here and are rounded
once to binary32; one too large for that becomes infinite, and the tick counts it as bad.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.plan.tables import Plan
from sequencer.trace.blocks import HEARD, HELPING, STEP, STEPPING, ParameterWrite, TickBlock
from sequencer.trace.layout import Column, Layout, TraceOptions

MOST_TICKS = 65_536  # of one block
LONGEST_GAP_US = 24 * 3600 * 1_000_000
_HELD_LONGER = HELPING | STEPPING
LATEST_US = 9e15  # whole microseconds are exact in binary64 up to 2^53

Cells = tuple[NDArray[np.float64], NDArray[np.bool_] | None]
"""A column's numbers, and where a cell is filled (None: everywhere)."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong in row `row` of a batch, in the given column of the file (from 0)."""

    row: int
    position: int
    message: str
    expected: str
    hint: str


def find_fault(
    time: Cells, columns: Sequence[Cells], layout: Layout, last_us: int | None
) -> tuple[NDArray[np.int64], Fault | None]:
    """Turn times into whole microseconds and look for the first wrong row.

    The binary64 number of the file is multiplied in binary64 and rounded half to even, so that the cell
    0.07 (seconds) is 70,000 us whatever binary64 makes of 0.07.
    """
    seconds, filled = time
    with np.errstate(over="ignore"):  # told below as too large
        scaled = seconds * layout.time.factor
    faults = [_time_fault(scaled, filled, layout)]
    safe = np.where(np.abs(scaled) <= LATEST_US, scaled, 0.0)
    times = np.rint(safe).astype(np.int64)
    faults.append(_order_fault(times, layout, last_us))
    faults += [_cell_fault(cells, c) for cells, c in zip(columns, layout.columns, strict=True)]
    found = [f for f in faults if f is not None]
    return times, min(found, key=lambda f: (f.row, f.position)) if found else None


def _first(where: NDArray[np.bool_]) -> int | None:
    return int(where.argmax()) if where.any() else None


def _time_fault(
    scaled: NDArray[np.float64], filled: NDArray[np.bool_] | None, layout: Layout
) -> Fault | None:
    at = layout.time.position
    if filled is not None and not filled.all():
        row = int(filled.argmin())
        return Fault(row, at, "this row has no time", "a number", "take the row out or fill in its time")
    row_or_none = _first(~(np.abs(scaled) <= LATEST_US))
    if row_or_none is None:
        return None
    number = scaled[row_or_none]
    said = f"{number} is no time" if not np.isfinite(number) else "this time is too large"
    return Fault(
        row_or_none, at, said, "a finite time", "is the unit in the time column's name the right one?"
    )


def _order_fault(times: NDArray[np.int64], layout: Layout, last_us: int | None) -> Fault | None:
    if not len(times):
        return None
    steps = np.diff(times, prepend=times[0] if last_us is None else last_us)
    row = _first((steps < 0) | (steps > LONGEST_GAP_US))
    if row is None:
        return None
    now, before = times[row] / 1e6, (times[row] - steps[row]) / 1e6
    if steps[row] < 0:
        return Fault(
            row,
            layout.time.position,
            f"time goes backwards: {now:.6g} s after {before:.6g} s",
            "times that do not fall",
            "sort the rows, or split the recording where the clock was set back",
        )
    return Fault(
        row,
        layout.time.position,
        f"time jumps by {(now - before) / 3600:.1f} h: {now:.6g} s after {before:.6g} s",
        "gaps of at most 24 h",
        "is the unit in the time column's name the right one (s, ms or us)?",
    )


def _cell_fault(cells: Cells, column: Column) -> Fault | None:
    numbers, filled = cells
    bit = column.role in ("event", "switch", "helping")
    wrong = (numbers != 0) & (numbers != 1) if bit else ~np.isfinite(numbers)
    if filled is not None:
        wrong &= filled
    row = _first(wrong)
    if row is None:
        return None
    if bit:
        said = f"{numbers[row]:g} stands in the column of {column.role} {column.name}"
        return Fault(row, column.position, said, "0 or 1", "write 1 where it is on, 0 or nothing elsewhere")
    said = f"{numbers[row]:g} in column {column.name} is not a finite number"
    return Fault(
        row, column.position, said, "a finite number", "leave the cell empty where there is no sample"
    )


class TickAssembler:
    """Turns batches of rows into blocks of at most 65,536 ticks.

    The last tick of a batch is held back, since the next batch may bring more rows for it.
    """

    def __init__(self, plan: Plan, layout: Layout, options: TraceOptions) -> None:
        self._layout = layout
        self._signals = len(plan.signals)
        self._tick_ms = plan.tick_ms
        self._by_signal = [
            [(i, c) for i, c in layout.of_role("signal") if c.index == s] for s in range(self._signals)
        ]
        self._switches = sum(1 << i for i, s in enumerate(plan.switches) if s.name in options.switches_on)
        self._heard = self._heard_columns(plan, always=options.remote_heard)
        self._helped = HELPING * options.helped
        self._pending: TickBlock | None = None
        self._pending_tick = 0

    def _heard_columns(self, plan: Plan, *, always: bool) -> list[tuple[int, bool]] | None:
        """List the columns that say when the remote was heard and whether the cell must not be 0.

        None if it is heard in every tick.
        """
        if plan.remote is None:
            return None
        own = self._layout.of_role("remote")
        if own:
            return [(i, True) for i, _ in own]
        if always:
            return None
        carried = [(i, False) for i, c in self._layout.of_role("event") if c.index in plan.remote.events]
        carried += [(i, False) for i, c in self._layout.of_role("switch") if c.index in plan.remote.switches]
        return carried or None

    def feed(self, times: NDArray[np.int64], columns: Sequence[Cells]) -> Iterator[TickBlock]:
        """Take rows with rising times (microseconds, int64 (n,)) and one entry per column of the layout."""
        rows = len(times)
        if not rows:
            return
        ticks = -(-times // (self._tick_ms * 1000))
        start = self._pending_tick if self._pending is not None else int(ticks[0])
        first = 0
        while first < rows:
            last = int(np.searchsorted(ticks, start + MOST_TICKS))
            stop = start + MOST_TICKS if last < rows else int(ticks[-1]) + 1
            part = [(v[first:last], None if f is None else f[first:last]) for v, f in columns]
            block = self._build(start, stop, ticks[first:last] - start, part)
            if self._pending is not None:
                block = _merge(self._pending, block)
                self._pending = None
            if last < rows:
                yield block
            elif len(block) > 1:
                yield _all_but_last(block)
                self._pending = _last(block)
            else:
                self._pending = block
            self._pending_tick = stop - 1
            start, first = stop, last

    def finish(self) -> Iterator[TickBlock]:
        """Give out the last tick."""
        if self._pending is not None:
            yield self._pending
            self._pending = None

    def _build(self, start: int, stop: int, at: NDArray[np.int64], columns: Sequence[Cells]) -> TickBlock:
        """Lay the rows out over ticks start to stop - 1; `at` is each row's tick, counted from start."""
        count = stop - start
        raw = np.zeros((count, self._signals), np.float32)
        fresh = np.zeros((count, self._signals), np.uint8)
        skipped = np.zeros(self._signals, np.int64)
        dense = len(at) == count and bool((at == np.arange(count)).all())
        with np.errstate(over="ignore"):  # too large for binary32: the tick counts it as bad
            for s, its in enumerate(self._by_signal):
                if dense and len(its) == 1 and columns[its[0][0]][1] is None:
                    raw[:, s] = columns[its[0][0]][0] * its[0][1].factor
                    fresh[:, s] = its[0][1].form
                elif its:
                    skipped[s] = _scatter(raw[:, s], fresh[:, s], at, [(columns[i], c) for i, c in its])
        return TickBlock(
            now=(np.arange(start, stop, dtype=np.int64) * self._tick_ms).astype(np.uint32),
            raw=raw,
            fresh=fresh,
            events=self._events(count, at, columns),
            switches=self._held(count, at, columns),
            control=self._control(count, at, columns),
            writes=self._writes(at, columns),
            skipped=skipped,
        )

    def _events(self, count: int, at: NDArray[np.int64], columns: Sequence[Cells]) -> NDArray[np.uint32]:
        events = np.zeros(count, np.uint32)
        for i, column in self._layout.of_role("event"):
            events[at[_not_zero(columns[i])]] |= np.uint32(1 << column.index)
        return events

    def _held(self, count: int, at: NDArray[np.int64], columns: Sequence[Cells]) -> NDArray[np.uint32]:
        """Hold each switch at its last cell; remember where it stands at the end."""
        state = np.full(count, self._switches, np.uint32)
        for i, column in self._layout.of_role("switch"):
            numbers, filled = columns[i]
            rows = at if filled is None else at[filled]
            if not len(rows):
                continue
            bit = np.uint32(1 << column.index)
            on = _held(rows, numbers if filled is None else numbers[filled], (state & bit) != 0)
            state = np.where(on, state | bit, state & ~bit)
        self._switches = int(state[-1])
        return state

    def _control(self, count: int, at: NDArray[np.int64], columns: Sequence[Cells]) -> NDArray[np.uint8]:
        control = np.full(count, HEARD * (self._heard is None) | self._helped, np.uint8)
        self._add_helping(control, at, columns)
        for i, must_not_be_zero in self._heard or ():
            filled = columns[i][1]
            if must_not_be_zero:
                control[at[_not_zero(columns[i])]] |= HEARD
            else:
                control[at if filled is None else at[filled]] |= HEARD
        return control

    def _add_helping(
        self, control: NDArray[np.uint8], at: NDArray[np.int64], columns: Sequence[Cells]
    ) -> None:
        """Enter how the machine is helped: for as long as its cell says, or in the tick of a single step."""
        for i, column in self._layout.of_role("helping"):
            numbers, filled = columns[i]
            rows = at if filled is None else at[filled]
            if column.index == STEP:
                control[at[_not_zero(columns[i])]] |= STEP
            elif len(rows):
                bit = np.uint8(column.index)
                on = _held(rows, numbers if filled is None else numbers[filled], (control & bit) != 0)
                control[:] = np.where(on, control | bit, control & ~bit)
        self._helped = int(control[-1]) & _HELD_LONGER

    def _writes(self, at: NDArray[np.int64], columns: Sequence[Cells]) -> tuple[ParameterWrite, ...]:
        found: list[tuple[int, int, ParameterWrite]] = []
        for i, column in self._layout.of_role("parameter"):
            numbers, filled = columns[i]
            rows = np.arange(len(at)) if filled is None else np.flatnonzero(filled)
            with np.errstate(over="ignore"):  # refused by the tick, as it is not finite
                values = (numbers[rows] * column.factor).astype(np.float32)
            found += [
                (row, column.position, ParameterWrite(int(at[row]), column.index, float(value)))
                for row, value in zip(rows.tolist(), values, strict=True)
            ]
        return tuple(write for _, _, write in sorted(found, key=lambda f: f[:2]))


def _held(
    rows: NDArray[np.int64], cells: NDArray[np.float64], before: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Hold a bit at its last cell; `before`: where it stands without, bool (ticks,). Later rows count."""
    count = len(before)
    cell = np.full(count, -1, np.int8)
    cell[rows] = cells
    latest = np.maximum.accumulate(np.where(cell >= 0, np.arange(count), -1))
    return np.where(latest >= 0, cell[latest] == 1, before)


def _not_zero(cells: Cells) -> NDArray[np.bool_]:
    numbers, filled = cells
    there: NDArray[np.bool_] = numbers != 0
    return there if filled is None else there & filled


def _scatter(
    raw: NDArray[np.float32],
    fresh: NDArray[np.uint8],
    at: NDArray[np.int64],
    its: Sequence[tuple[Cells, Column]],
) -> int:
    """Write a signal's cells to their ticks, later rows last; return how many were replaced.

    With an index more than once, numpy's assignment leaves the last value. A signal with a raw and a value
    column takes whichever comes later; in one row, the column further right.
    """
    rows, values, forms = [], [], []
    for (numbers, filled), column in its:
        row = np.arange(len(at)) if filled is None else np.flatnonzero(filled)
        rows.append(row)
        values.append(numbers[row] * column.factor)
        forms.append(np.full(len(row), column.form, np.uint8))
    row, value, form = np.concatenate(rows), np.concatenate(values), np.concatenate(forms)
    if len(its) > 1:
        order = np.argsort(row, kind="stable")
        row, value, form = row[order], value[order], form[order]
    tick = at[row]
    raw[tick] = value
    fresh[tick] = form
    return len(tick) - int(np.count_nonzero(fresh))


def _merge(pending: TickBlock, block: TickBlock) -> TickBlock:
    """Put the held-back tick under the block's first one, which is the same tick."""
    before, now = pending.fresh[0], block.fresh[0]
    keep = (before != 0) & (now == 0)
    block.raw[0, keep] = pending.raw[0, keep]
    block.skipped[:] += pending.skipped + ((before != 0) & (now != 0))
    block.fresh[0, keep] = before[keep]
    block.events[0] |= pending.events[0]
    block.control[0] |= pending.control[0] & ~np.uint8(_HELD_LONGER)  # of what is held the later counts
    return replace(block, writes=pending.writes + block.writes) if pending.writes else block


def _all_but_last(block: TickBlock) -> TickBlock:
    last = len(block) - 1
    return TickBlock(
        now=block.now[:last],
        raw=block.raw[:last],
        fresh=block.fresh[:last],
        events=block.events[:last],
        switches=block.switches[:last],
        control=block.control[:last],
        writes=tuple(w for w in block.writes if w.row < last),
        skipped=block.skipped,
    )


def _last(block: TickBlock) -> TickBlock:
    """Copy the last tick, so as not to keep the whole block alive; what was skipped counts in the rest."""
    last = len(block) - 1
    return TickBlock(
        now=block.now[last:].copy(),
        raw=block.raw[last:].copy(),
        fresh=block.fresh[last:].copy(),
        events=block.events[last:].copy(),
        switches=block.switches[last:].copy(),
        control=block.control[last:].copy(),
        writes=tuple(replace(w, row=0) for w in block.writes if w.row == last),
        skipped=np.zeros_like(block.skipped),
    )
