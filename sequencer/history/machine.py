"""Holding what the machine did against what the dry run does with the same inputs."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.history.amounts import at
from sequencer.history.blocks import (
    BY_ANYWHERE,
    BY_GUARD,
    BY_RESET,
    BY_RULE,
    BY_TIMEOUT,
    HistoryBlock,
)
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import MachineMove, MachineRecord

_BECAUSE = {
    BY_RESET: "reset",
    BY_TIMEOUT: "timeout",
    BY_GUARD: "guard",
    BY_ANYWHERE: "anywhere",
    BY_RULE: "rule",
}


@dataclass(frozen=True, slots=True)
class Parting:
    """The first place where the machine and the dry run differ.

    tick: from 0. line: of the log. what: which thing differs. machine, dry: how it stood in each, as text.
    """

    tick: int
    at_ms: int
    line: int
    what: str
    machine: str
    dry: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether the machine did what the dry run does.

    lines: how many ticks the log tells of, up to the parting. moves: changes of phase that it tells of.
    every_tick: the log has a line for every tick, so that everything can be compared; else only the order of
    the changes of phase is. doubt: the first tick from which the inputs are not all known, with the reason,
    if it is not after the parting. carried: which of setpoints and outputs the log holds.
    """

    source: str
    lines: int
    moves: int
    every_tick: bool
    parting: Parting | None
    doubt: tuple[int, str] | None
    carried: tuple[str, ...]

    @property
    def differs(self) -> bool:
        """True if the difference cannot come from inputs that the log lacks."""
        return self.parting is not None and self.doubt is None and self.every_tick

    @property
    def words(self) -> str:
        """The verdict in one line."""
        if self.parting is None:
            return self._same()
        p = self.parting
        where = f"tick {p.tick} ({at(p.at_ms)}; {self.source}:{p.line})"
        said = f"{p.what} is {p.machine} on the machine and {p.dry} in the dry run"
        if not self.every_tick:
            why = "but the log has no line for every tick, so the dry run had to do without inputs in between"
            return f"the machine and the dry run part in {where}: {said}; {why}"
        if self.doubt is None:
            return f"the machine did not do what the dry run does: first in {where}, {said}"
        tick, why = self.doubt
        same = f"up to tick {tick} the machine did what the dry run does"
        return f"{same}; there {why}, and they part in {where}: {said}"

    def _same(self) -> str:
        moves = "1 change" if self.moves == 1 else f"{self.moves} changes"
        if not self.every_tick:
            return (
                f"the machine went through the phases that the dry run goes through ({moves}); "
                "more cannot be told, for the log has no line for every tick"
            )
        things = ", ".join(("phases", "drives", *self.carried))
        said = f"the machine did what the dry run does, to the bit, in all {self.lines} ticks of the log"
        return f"{said} ({things}; {moves} of phase)" + (f", though {self.doubt[1]}" if self.doubt else "")


class MachineJudge:
    """Compares block by block until the first difference; memory does not grow with time.

    Use: ``judge.add(record, history)`` for each block, then ``judge.verdict()``.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._ticks = self._lines = self._moves = 0
        self._phases: NDArray[np.uint8] | None = None  # after the block before
        self._parting: Parting | None = None
        self._doubt: tuple[int, str] | None = None
        self._record: MachineRecord | None = None
        self._order = [_Order() for _ in plan.sequences]

    def add(self, record: MachineRecord, history: HistoryBlock, at_ms: NDArray[np.int64]) -> None:
        """Take the record of both for the same ticks; `at_ms` is their time, int64 (ticks,)."""
        self._record = record
        if record.doubts and self._doubt is None and self._parting is None:
            row, why = record.doubts[0]
            self._doubt = (self._ticks + row, why)
        if self._parting is None:
            if record.every_tick:
                self._compare(record, history, at_ms)
            else:
                self._compare_order(record, history, at_ms)
        self._phases = history.phase[-1].copy()
        self._ticks += len(history)

    def verdict(self) -> Verdict | None:
        """Give the verdict; None if nothing was told of the machine."""
        record = self._record
        if record is None:
            return None
        parting, doubt = self._parting, self._doubt
        if parting is not None and doubt is not None and doubt[0] > parting.tick:
            doubt = None
        carried = (("setpoints", record.setpoint), ("outputs", record.output))
        return Verdict(
            source=record.source,
            lines=self._lines,
            moves=self._moves,
            every_tick=record.every_tick,
            parting=parting,
            doubt=doubt,
            carried=tuple(name for name, there in carried if there is not None),
        )

    def _compare(self, record: MachineRecord, history: HistoryBlock, at_ms: NDArray[np.int64]) -> None:
        found = [*self._values(record, history), *self._told_moves(record, history)]
        if found:
            row, line, what, machine, dry = min(found, key=lambda f: f[0])
            self._parting = Parting(self._ticks + row, int(at_ms[row]), line, what, machine, dry)
            self._lines += int((record.row < row).sum())
            self._moves += sum(move.row < row for move in record.moves)
        else:
            self._lines += len(record.row)
            self._moves += len(record.moves)

    def _values(
        self, record: MachineRecord, history: HistoryBlock
    ) -> Iterator[tuple[int, int, str, str, str]]:
        """Give the first difference of each thing that lines tell: row, line, what, and both values."""
        plan, rows = self._plan, record.row
        pairs: list[tuple[str, NDArray[Any], NDArray[Any]]] = [
            ("phase", record.phase, history.phase),
            ("drives", record.drives, history.drives),
        ]
        if record.setpoint is not None:
            pairs.append(("setpoint", record.setpoint, history.setpoint))
        if record.output is not None:
            pairs.append(("output", record.output, history.output))
        for kind, machine, dry in pairs:
            ours = dry[rows]
            unequal = (_bits(machine) != _bits(ours)).reshape(len(rows), -1)
            if not unequal.any():
                continue
            first = int(unequal.any(axis=1).argmax())
            column = int(unequal[first].argmax())
            mine = machine.reshape(len(rows), -1)[first, column]
            its = ours.reshape(len(rows), -1)[first, column]
            what, texts = _spelled(plan, kind, column, (mine, its))
            yield int(rows[first]), int(record.line[first]), what, *texts

    def _told_moves(
        self, record: MachineRecord, history: HistoryBlock
    ) -> Iterator[tuple[int, int, str, str, str]]:
        """Give the first change of phase that the dry run does not have in the same tick."""
        for move in record.moves:
            dry = self._dry_move(move, history)
            if (move.left, move.entered, move.cause) != dry and not _same_reset(move, dry):
                machine, ours = (
                    _move_text(self._plan, move.sequence, *m)
                    for m in ((move.left, move.entered, move.cause), dry)
                )
                yield (
                    move.row,
                    move.line,
                    f"the change of phase of {self._plan.sequences[move.sequence].name}",
                    machine,
                    ours,
                )
                return

    def _dry_move(self, move: MachineMove, history: HistoryBlock) -> tuple[int, int, int]:
        entered = int(history.phase[move.row, move.sequence])
        if move.row > 0:
            left = int(history.phase[move.row - 1, move.sequence])
        else:
            left = entered if self._phases is None else int(self._phases[move.sequence])
        return left, entered, int(history.cause[move.row, move.sequence])

    def _compare_order(self, record: MachineRecord, history: HistoryBlock, at_ms: NDArray[np.int64]) -> None:
        """Compare only the order of changes of phase: when they came is not the same without all inputs."""
        self._lines += len(record.row)
        self._moves += len(record.moves)
        for move in record.moves:
            order = self._order[move.sequence]
            order.machine.append(
                (self._ticks + move.row, int(at_ms[move.row]), move.line, move.entered, move.cause)
            )
        rows, sequences = np.nonzero(history.cause)
        for row, sequence in zip(rows.tolist(), sequences.tolist(), strict=True):
            entered, cause = int(history.phase[row, sequence]), int(history.cause[row, sequence])
            self._order[sequence].dry.append((entered, cause))
        for sequence, order in enumerate(self._order):
            self._parting = self._parting or order.parting(self._plan, sequence)


class _Order:
    """Changes of phase of one sequence that are not yet compared."""

    def __init__(self) -> None:
        self.machine: list[tuple[int, int, int, int, int]] = []
        self.dry: list[tuple[int, int]] = []

    def parting(self, plan: Plan, sequence: int) -> Parting | None:
        """Compare as far as both go."""
        both = min(len(self.machine), len(self.dry))
        for (tick, at_ms, line, *machine), dry in zip(self.machine[:both], self.dry[:both], strict=True):
            if tuple(machine) != dry:
                texts = (_move_text(plan, sequence, None, *m) for m in (machine, dry))
                return Parting(
                    tick, at_ms, line, f"the change of phase of {plan.sequences[sequence].name}", *texts
                )
        del self.machine[:both], self.dry[:both]
        return None


def _same_reset(move: MachineMove, dry: tuple[int, int, int]) -> bool:
    """At a reset the phase that was left means nothing."""
    return move.cause >> 8 == BY_RESET and (move.entered, move.cause) == dry[1:]


def _bits(values: NDArray[np.generic]) -> NDArray[np.generic]:
    """Give what is compared: the bits of floats, with one pattern for all that are not numbers."""
    if values.dtype != np.float32:
        return values
    bits = np.ascontiguousarray(values).view(np.uint32).copy()
    bits[np.isnan(values)] = 0x7FC00000
    return bits


def _spelled(
    plan: Plan, kind: str, column: int, values: tuple[np.generic, np.generic]
) -> tuple[str, tuple[str, str]]:
    if kind == "phase":
        sequence = plan.sequences[column]
        names = [sequence.phases[int(v)].name for v in values]
        return f"the phase of {sequence.name}", (names[0], names[1])
    if kind == "drives":
        on = ["on" if v else "off" for v in values]
        return "the state of the drives", (on[0], on[1])
    name, unit = plan.outputs[column].name if kind == "output" else "", ""
    if kind == "setpoint":
        name, unit = plan.setpoints[column].name, f" {plan.setpoints[column].unit}".rstrip()
    texts = [f"{v!s}{unit}" for v in values]
    if texts[0] == texts[1]:
        texts = [f"{v!s} (0x{v.view(np.uint32):08x}){unit}" for v in values]
    return f"{kind} {name}", (texts[0], texts[1])


def _move_text(plan: Plan, sequence: int, left: int | None, entered: int, cause: int) -> str:
    phases = plan.sequences[sequence].phases
    if cause == 0:
        return "none"
    kind, index = cause >> 8, cause & 0xFF
    number = f" {index + 1}" if kind in (BY_GUARD, BY_ANYWHERE, BY_RULE) else ""
    because = _BECAUSE.get(kind, f"cause {cause:04X}") + number
    come = "" if left is None or kind == BY_RESET else f"{phases[left].name} -> "
    return f"{come}{phases[entered].name} ({because})"
