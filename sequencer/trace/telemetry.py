"""Telemetry logs of the board program, read as recordings: what the machine measured, and what it did.

A log is what came over the console's line: telemetry (`telemetry_lines` has its form) among remarks and torn
lines. A run begins where `now` falls back or the stage becomes running, and ends where it is no longer; of
several runs the last is taken, or the one asked for. Lines that are torn, of a wrong checksum or version, or
that do not fit the gait are counted and never used.

The file is gone through twice: once to find the runs, once to read the one that is taken. Memory stays
constant but for the list of runs.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import IO

from sequencer.base.errors import MisuseError, TraceError
from sequencer.base.places import Place
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, TickBlock
from sequencer.trace.layout import Column, Layout, TraceOptions
from sequencer.trace.telemetry_lines import (
    LONGEST_LINE,
    RUNNING,
    Head,
    Move,
    State,
    Told,
    Unused,
    Written,
    parse_line,
)
from sequencer.trace.telemetry_rows import RunRows, columns_of, later_by, width_of

_SHA_DIGITS = 16


@dataclass(slots=True)
class LoggedRun:
    """A run in a log: where it starts (bytes; lines before it), its G1 line, how many ticks were told."""

    offset: int
    lines_before: int
    head: Head
    lines: int = 0


class _Judge:
    """Follows the lines of a log: which fit, and where runs begin."""

    def __init__(self, plan: Plan, head: Head | None = None) -> None:
        self._plan = plan
        self.head = head
        self._columns = {} if head is None else columns_of(plan, head.carries)
        self.going = False
        self.began = False  # the line judged last is the first T1 of a run
        self._last = 0
        self._headed = False  # a line G1 came since the last T1

    def judge(self, told: Told) -> Unused | None:
        """Say why a line cannot be used; None if it can."""
        self.began = False
        if isinstance(told, Head):
            return self._take_head(told)
        if self.head is None:
            return Unused.HEADLESS
        ours = self.head.sha == self._plan.sha[:_SHA_DIGITS]
        if ours and not _fits(self._plan, self._columns, told):
            return Unused.MISFIT
        return self._take_state(told, self.head.tick_ms) if isinstance(told, State) else None

    def _take_state(self, told: State, tick_ms: int) -> Unused | None:
        headed, self._headed = self._headed, False
        if told.stage != RUNNING:
            self.going = False
            return None
        delta = later_by(told.now, self._last) if self.going else None
        if delta == 0 and headed:
            delta = None  # enabled again before the second tick
        elif delta == 0:
            return Unused.TWICE
        if delta is not None and delta % tick_ms:
            return Unused.MISFIT
        self.began = delta is None
        self.going, self._last = True, told.now
        return None

    def _take_head(self, head: Head) -> Unused | None:
        ours = head.sha == self._plan.sha[:_SHA_DIGITS]
        if ours and head.tick_ms != self._plan.tick_ms:
            return Unused.MISFIT
        if head != self.head:
            self.going = False
        self.head, self._headed = head, True
        self._columns = columns_of(self._plan, head.carries)
        return None


def _fits(plan: Plan, columns: Mapping[str, slice], told: State | Move | Written) -> bool:
    """Tell whether a line names only what the plan has."""
    if isinstance(told, Written):
        return told.parameter < len(plan.parameters)
    if isinstance(told, Move):
        if told.sequence >= len(plan.sequences):
            return False
        phases = len(plan.sequences[told.sequence].phases)
        return told.left < phases and told.entered < phases
    if len(told.phases) != len(plan.sequences) or len(told.items) != width_of(columns):
        return False
    return (
        all(phase < len(s.phases) for phase, s in zip(told.phases, plan.sequences, strict=True))
        and told.events >> len(plan.events) == 0
        and told.switches >> len(plan.switches) == 0
        and all(b"" not in told.items[columns[group]] for group in "so" if group in columns)
    )


def _lines(stream: IO[bytes], number: int) -> Iterator[tuple[int, int, bytes]]:
    """Give each line's offset, number and bytes; of an overlong one only the beginning, which is too long."""
    offset = stream.tell()
    while raw := stream.readline(LONGEST_LINE + 2):
        number += 1
        size = len(raw)
        while not raw.endswith(b"\n") and size > LONGEST_LINE:
            more = stream.readline(1 << 16)
            size += len(more)
            if not more or more.endswith(b"\n"):
                break
        yield offset, number, raw
        offset += size


class TelemetrySource:
    """One run of a telemetry log; `name` is what errors call the file.

    runs: all runs of the log. run: which is read, from 1. remarks: what people should know of the log, one
    line each, with places.
    """

    def __init__(self, stream: IO[bytes], name: str, plan: Plan, options: TraceOptions) -> None:
        if options.mapping:
            raise MisuseError(f"{name} is a telemetry log, which has no columns to map")
        self._stream, self._name, self._plan = stream, name, plan
        self._unused: dict[Unused, tuple[int, int]] = {}  # how many, and the first one's line
        self._last_head: Head | None = None
        self._stages: set[int] = set()
        self._start = stream.tell()
        self.runs = self._find_runs()
        self.run = self._choose(options.run)
        self.layout = _layout(plan)
        self.remarks = tuple(self._remarks(asked=options.run is not None))

    def blocks(self) -> Iterator[TickBlock]:
        """Give the run's ticks in blocks, with what the machine did in them."""
        run = self.runs[self.run - 1]
        rows = RunRows(self._plan, run.head, self._name)
        judge = _Judge(self._plan, run.head)
        self._stream.seek(run.offset)
        left = run.lines
        for _, number, raw in _lines(self._stream, run.lines_before):
            told = parse_line(raw)
            if isinstance(told, Head) and not left:
                break  # what comes now may belong to the next run
            if told is None or isinstance(told, Unused | Head) or judge.judge(told) is not None:
                continue
            if not isinstance(told, State):
                rows.note(told, number)
            elif not left:
                break  # the next run, or what the machine did after this one
            elif told.stage == RUNNING:
                left -= 1
                yield from rows.state(told, number)
        yield from rows.finish()

    def _find_runs(self) -> list[LoggedRun]:
        """Go through the whole file; a run starts with the first line after the T1 before its own first."""
        judge, runs = _Judge(self._plan), list[LoggedRun]()
        start: tuple[int, int] | None = None
        for offset, number, raw in _lines(self._stream, 0):
            told = parse_line(raw)
            if told is None:
                continue
            why = told if isinstance(told, Unused) else judge.judge(told)
            if why is not None:
                count, first = self._unused.get(why, (0, number))
                self._unused[why] = (count + 1, first)
                continue
            start = start or (offset, number - 1)
            if isinstance(told, State):
                self._stages.add(told.stage)
                if judge.began and judge.head is not None:
                    runs.append(LoggedRun(*start, judge.head))
                if told.stage == RUNNING:
                    runs[-1].lines += 1
                start = None
        self._last_head = judge.head
        return runs

    def _choose(self, asked: int | None) -> int:
        if not self.runs:
            raise self._no_run()
        count = len(self.runs)
        if asked is not None and not 1 <= asked <= count:
            has = "1 run" if count == 1 else f"{count} runs"
            raise MisuseError(f"{self._name} holds {has}; there is no run {asked}")
        number = asked or count
        run, ours = self.runs[number - 1], self._plan.sha[:_SHA_DIGITS]
        place = Place(self._name, run.lines_before + 1, 1)
        if run.head.sha != ours:
            fitting = [i for i, r in enumerate(self.runs, 1) if r.head.sha == ours]
            hint = "flash what this gait generates, or give the gait that the machine was flashed with"
            if fitting:
                hint = f"run {fitting[-1]} of the log is of this gait: --run {fitting[-1]}"
            raise TraceError(
                f"this log is of another gait: {run.head.gait} with the hash {run.head.sha}",
                place,
                expected=f"{self._plan.name} with the hash {ours}",
                hint=hint,
            )
        if "i" not in run.head.carries and self._plan.signals:
            raise TraceError(
                "this log holds no signals, so it cannot be run again",
                place,
                expected="telemetry that carries signals",
                hint="write carries: [signals, ...] under console in the machine file's wiring",
            )
        return number

    def _no_run(self) -> TraceError:
        place, hint = Place(self._name, 1, 1), "give the machine enable before the walk, and log from then on"
        if self._stages:
            said = "the machine never ran in this log: its motors had no enable all the time"
        elif Unused.VERSION in self._unused:
            place = Place(self._name, self._unused[Unused.VERSION][1], 1)
            said = "this telemetry is of another version"
            hint = "flash the board anew with what this version of sequencer generates"
        elif Unused.HEADLESS in self._unused:
            said = "there is no line G1, which says what the others hold"
            hint = "start the log before the board, or send it the command version"
        else:
            said = "no line of this telemetry log can be used"
            hint = (
                "does the terminal program put the time before each line? Turn that off; check the baud rate"
            )
        return TraceError(said, place, expected="a log of a run, telemetry version 1", hint=hint)

    def _remarks(self, *, asked: bool) -> Iterator[str]:
        for why, (count, first) in self._unused.items():
            lines = "1 line is" if count == 1 else f"{count} lines are"
            also = "" if count == 1 else " (this is the first)"
            yield f"{self._name}:{first}: {lines} {why.value}, and not used{also}"
        if len(self.runs) > 1:
            last = ", the last" if self.run == len(self.runs) else ""
            more = "" if asked else "; --run N takes another"
            yield f"{self._name} holds {len(self.runs)} runs, and this is run {self.run}{last}{more}"


def _layout(plan: Plan) -> Layout:
    """Say what a log holds in the terms of a table: everything that the plan knows has its column."""
    columns = [Column(0, s.name, "signal", i, FRESH_RAW) for i, s in enumerate(plan.signals)]
    columns += [Column(0, e.name, "event", i) for i, e in enumerate(plan.events)]
    columns += [Column(0, s.name, "switch", i) for i, s in enumerate(plan.switches)]
    columns += [Column(0, p.name, "parameter", i) for i, p in enumerate(plan.parameters)]
    if plan.remote is not None:
        columns.append(Column(0, "remote", "remote"))
    return Layout(Column(0, "now", "time"), tuple(columns), len(columns) + 1, (), ())
