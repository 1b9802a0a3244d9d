"""From the lines of one run of a telemetry log to blocks of ticks, with what the machine did in them."""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from sequencer.plan.tables import Plan
from sequencer.trace.blocks import (
    FRESH_RAW,
    HEARD,
    HELPING,
    RESET,
    STEP,
    STEPPING,
    MachineMove,
    MachineRecord,
    ParameterWrite,
    TickBlock,
)
from sequencer.trace.telemetry_lines import (
    FLAG_DRIVES,
    FLAG_HEARD,
    FLAG_HELPING,
    FLAG_SKIPPED,
    FLAG_STEP,
    FLAG_STEPPING,
    NOTHING,
    Head,
    Move,
    State,
    Written,
    bits_of,
)
from sequencer.trace.ticks import LONGEST_GAP_US, MOST_TICKS

LONGEST_GAP_MS = LONGEST_GAP_US // 1000
BY_RESET = 1  # the kind of a cause, in its high byte
_WRAP = 1 << 32
_MISSED = 10  # so many lines may be missing at a run's start


def later_by(now: int, before: int) -> int | None:
    """Tell by how many milliseconds `now` is later; None if it is earlier, or later by more than a day."""
    delta = (now - before) % _WRAP
    return delta if delta <= LONGEST_GAP_MS else None


class RunRows:
    """Takes the lines of a run in their order and gives blocks of at most 65,536 ticks.

    A tick of which no line tells has no fresh sample. Ticks that the machine says it skipped have no row.
    The last line's row is held back, since changes of phase in it may be told after it.
    """

    def __init__(self, plan: Plan, head: Head, source: str) -> None:
        self._plan = plan
        self._tick = plan.tick_ms
        self._every_tick = head.telemetry_ms <= plan.tick_ms
        self._period = max(head.telemetry_ms, plan.tick_ms)
        self._carries = head.carries
        self._source = source
        self._now = 0
        self._at = 0  # of the last row; milliseconds since the run's now was 0, without the wrap
        self._given = 0  # rows in blocks given out before
        self._rows = 0
        self._starts: list[tuple[int, int]] = []  # row and time where a gapless stretch begins
        self._states: list[tuple[int, State, int]] = []
        self._loose: list[tuple[int, Move | Written, int]] = []  # by time, not yet in a block
        self._early: list[tuple[Move | Written, int]] = []  # before the first T1
        self._switches = 0
        self._doubts: list[tuple[int, str]] = []
        self._helping = False
        self._helping_flags = 0
        self._begun = False

    def note(self, told: Move | Written, line: int) -> None:
        """Take a change of phase or a parameter write."""
        if not self._begun:
            self._early.append((told, line))
            return
        delta = later_by(told.now, self._now)
        if delta is not None:  # else it belongs to the start of the next run
            self._loose.append((self._at + delta, told, line))

    def state(self, state: State, line: int) -> Iterator[TickBlock]:
        """Take the line of a tick; gives out the blocks that are full."""
        if not self._begun:
            missing = self._begin(state)
            skipped = False
        else:
            delta = later_by(state.now, self._now) or 0
            missing = delta // self._tick - 1
            self._now = state.now
            skipped = self._every_tick and bool(state.flags & FLAG_SKIPPED)
        if missing and skipped:
            self._at += missing * self._tick
            missing = 0
            self._starts.append((self._rows, self._at + self._tick))
        elif missing and self._every_tick:
            self._doubt(self._rows, f"lines are missing before line {line}")
        yield from self._add(missing + 1)
        if state.flags & FLAG_HELPING and not self._plan.helping and not self._helping:
            self._helping = True
            self._doubt(self._rows - 1, "helping was on, and then timeouts only warn")
        self._states.append((self._rows - 1, state, line))

    def finish(self) -> Iterator[TickBlock]:
        """Give out what is left."""
        if self._rows:
            yield self._build()

    def _begin(self, state: State) -> int:
        """Start at 0 if the first line is near enough to it; return how many ticks lie before that line."""
        self._begun = True
        self._now = state.now
        from_zero = state.now <= _MISSED * self._period and state.now % self._tick == 0
        self._at = (0 if from_zero else state.now) - self._tick
        self._starts.append((0, self._at + self._tick))
        if not from_zero:
            self._doubt(0, "the log begins in the middle of the run")
        for told, line in self._early:
            back = later_by(state.now, told.now)
            if back is not None:
                self._loose.append((state.now - back, told, line))
        return (state.now - self._at) // self._tick - 1

    def _doubt(self, row: int, why: str) -> None:
        self._doubts.append((row, why))

    def _add(self, rows: int) -> Iterator[TickBlock]:
        while rows:
            if self._rows == MOST_TICKS:
                yield self._build()
            part = min(rows, MOST_TICKS - self._rows)
            self._rows += part
            self._at += part * self._tick
            rows -= part

    def _times(self) -> NDArray[np.int64]:
        """Give the time of each row of the block, int64 (rows,)."""
        at = np.empty(self._rows, np.int64)
        ends = [row for row, _ in self._starts[1:]] + [self._rows]
        for (row, start), end in zip(self._starts, ends, strict=True):
            at[row:end] = start + np.arange(end - row) * self._tick
        return at

    def _build(self) -> TickBlock:
        plan, count, signals = self._plan, self._rows, len(self._plan.signals)
        at = self._times()
        rows = np.array([row for row, _, _ in self._states], np.int64)
        items = self._items()
        raw, fresh = np.zeros((count, signals), np.float32), np.zeros((count, signals), np.uint8)
        events, control = np.zeros(count, np.uint32), np.zeros(count, np.uint8)
        if "i" in self._carries:
            cells = items[:, :signals]
            raw[rows] = _floats(cells)
            fresh[rows] = np.where(cells == NOTHING, 0, FRESH_RAW)
        events[rows] = np.array([s.events for _, s, _ in self._states], np.uint32)
        heard = [plan.remote is None or bool(s.flags & FLAG_HEARD) for _, s, _ in self._states]
        if plan.remote is None:
            control[:] = HEARD
        control[rows] = np.where(heard, HEARD, 0)
        if plan.helping:
            control |= self._helped(rows, count)
        writes, moves = self._placed(at)
        for move in moves:
            if move.cause >> 8 == BY_RESET and self._given + move.row > 0:
                control[move.row] |= RESET
        block = TickBlock(
            now=(at % _WRAP).astype(np.uint32),
            raw=raw,
            fresh=fresh,
            events=events,
            switches=self._held(rows, count),
            control=control,
            writes=tuple(writes),
            skipped=np.zeros(signals, np.int64),
            machine=self._record(rows, items, tuple(moves)),
        )
        self._given += count
        self._rows, self._states, self._doubts = 0, [], []
        self._starts = [(0, self._at + self._tick)]
        return block

    def _items(self) -> NDArray[np.int64]:
        width = width_of(columns_of(self._plan, self._carries))
        bits = [bits_of(item) for _, s, _ in self._states for item in s.items]
        return np.array(bits, np.int64).reshape(len(self._states), width)

    def _held(self, rows: NDArray[np.int64], count: int) -> NDArray[np.uint32]:
        """Hold the switches of each line until the next."""
        states = np.array([self._switches, *(s.switches for _, s, _ in self._states)], np.uint32)
        self._switches = int(states[-1])
        held: NDArray[np.uint32] = states[np.searchsorted(rows, np.arange(count), side="right")]
        return held

    def _helped(self, rows: NDArray[np.int64], count: int) -> NDArray[np.uint8]:
        """Hold until the next line how the machine was helped; a single step belongs to its line's tick."""
        flags = np.array([self._helping_flags, *(s.flags for _, s, _ in self._states)], np.uint32)
        self._helping_flags = int(flags[-1])
        held = flags[np.searchsorted(rows, np.arange(count), side="right")]
        control = np.where(held & FLAG_HELPING, HELPING, 0) | np.where(held & FLAG_STEPPING, STEPPING, 0)
        control[rows] |= np.where(flags[1:] & FLAG_STEP, STEP, 0)
        return control.astype(np.uint8)

    def _placed(self, at: NDArray[np.int64]) -> tuple[list[ParameterWrite], list[MachineMove]]:
        """Lay writes and changes of phase on the first row that is not before them; keep later ones."""
        due = [one for one in self._loose if one[0] <= at[-1]]
        self._loose = [one for one in self._loose if one[0] > at[-1]]
        found = zip(np.searchsorted(at, [one[0] for one in due]).tolist(), due, strict=True)
        writes, moves = [], []
        for row, (_, told, line) in sorted(found, key=lambda f: f[0]):
            if isinstance(told, Written):
                value = float(np.array(told.bits, np.uint32).view(np.float32))
                writes.append(ParameterWrite(row, told.parameter, value))
            else:
                moves.append(MachineMove(row, told.sequence, told.left, told.entered, told.cause, line))
        return writes, moves

    def _record(
        self, rows: NDArray[np.int64], items: NDArray[np.int64], moves: tuple[MachineMove, ...]
    ) -> MachineRecord:
        plan, states = self._plan, [s for _, s, _ in self._states]
        phases = np.array([s.phases for s in states], np.uint8).reshape(len(states), len(plan.sequences))
        where = columns_of(plan, self._carries)
        return MachineRecord(
            row=rows,
            line=np.array([line for _, _, line in self._states], np.int64),
            phase=phases,
            drives=np.array([bool(s.flags & FLAG_DRIVES) for s in states], np.uint8),
            setpoint=_floats(items[:, where["s"]]) if "s" in where else None,
            output=_floats(items[:, where["o"]]) if "o" in where else None,
            moves=moves,
            every_tick=self._every_tick,
            doubts=tuple(self._doubts),
            source=self._source,
        )


def columns_of(plan: Plan, carries: str) -> dict[str, slice]:
    """Tell where the items of each group stand in a T1 line that carries these groups."""
    found, end = {}, 0
    for letter, group in (("i", plan.signals), ("s", plan.setpoints), ("o", plan.outputs)):
        if letter in carries:
            found[letter] = slice(end, end + len(group))
            end += len(group)
    return found


def width_of(columns: Mapping[str, slice]) -> int:
    """Count the items of a T1 line from where its groups stand."""
    return max((part.stop for part in columns.values()), default=0)


def _floats(bits: NDArray[np.int64]) -> NDArray[np.float32]:
    """Read items as binary32; an empty one becomes 0."""
    whole = np.ascontiguousarray(np.where(bits == NOTHING, 0, bits).astype(np.uint32))
    return whole.view(np.float32)
