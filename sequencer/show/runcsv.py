"""A run as a table, one row per tick, for a spreadsheet or a plot."""

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import MisuseError
from sequencer.history.blocks import SEEN, HistoryBlock
from sequencer.history.margins import guard_margins, guard_unit
from sequencer.history.run import Run
from sequencer.plan.tables import Plan
from sequencer.plan.words import given_unit
from sequencer.show.runs import short_cause

ROWS_AT_ONCE = 10_000

Column = tuple[str, list[Any]]


def run_csv(run: Run, *, margins: bool = False) -> Iterator[bytes]:
    """Give the run as CSV, UTF-8, in pieces.

    Columns: time_s; phase, and in the tick of entry why, for each sequence; if it can be helped by hand, what
    keeps it (1 its timeout has passed, 2 it waits for a step); setpoints with their targets; counters; rules
    (0 kept, 1 unjudged, 2 broken); drives; what each loop gives; outputs with their states (0 on, 1 off,
    2 stalled, 3 cut); signals. With `margins` the margin of each phase's guards.
    Numbers are written so that they read back to the same binary32. Raises MisuseError if the run was
    recorded without ticks.
    """
    if run.history is None or run.at_ms is None:
        raise MisuseError("this run was recorded without its ticks", hint="leave --no-margins out")
    columns = [("time_s", [f"{ms / 1000:.3f}" for ms in run.at_ms])]
    columns += _columns(run.plan, run.history)
    if margins:
        columns += _margins(run.plan, run.history)
    yield _rows([[name for name, _ in columns]])
    for start in range(0, run.ticks, ROWS_AT_ONCE):
        yield _rows(zip(*(values[start : start + ROWS_AT_ONCE] for _, values in columns), strict=True))


def _rows(rows: Iterable[Iterable[Any]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


def _columns(plan: Plan, history: HistoryBlock) -> Iterator[Column]:
    for i, sequence in enumerate(plan.sequences):
        whose = f"{sequence.name}." if len(plan.sequences) > 1 else ""
        names = [phase.name for phase in sequence.phases]
        yield f"{whose}phase", [names[number] for number in history.phase[:, i].tolist()]
        causes = history.cause[:, i].tolist()
        yield f"{whose}cause", [short_cause(c >> 8, c & 0xFF) if c else "" for c in causes]
        if plan.helping:
            yield f"{whose}waits", history.waits[:, i].tolist()
    detail = history.detail
    for i, setpoint in enumerate(plan.setpoints):
        yield _named(setpoint.name, setpoint.unit), _numbers(history.setpoint[:, i])
        if detail is not None:
            yield _named(f"{setpoint.name}.target", setpoint.unit), _numbers(detail.target[:, i])
    for i, counter in enumerate(plan.counters):
        yield counter.name, history.counter[:, i].tolist()
    for i, rule in enumerate(plan.rules):
        yield f"rule {i + 1}: {rule.name}", history.rule[:, i].tolist()
    yield "drives", history.drives.tolist()
    for i, loop in enumerate(plan.loops):
        yield _named(loop.name, given_unit(plan, i)), _numbers(history.loop[:, i])
    for i, output in enumerate(plan.outputs):
        yield output.name, _numbers(history.output[:, i])
        yield f"{output.name}.state", history.output_state[:, i].tolist()
    if detail is not None:
        for i, signal in enumerate(plan.signals):
            values = np.where(detail.signal_state[:, i] & SEEN, detail.signal[:, i], np.float32("nan"))
            yield _named(f"{signal.name}.value", signal.unit), _numbers(values)


def _margins(plan: Plan, history: HistoryBlock) -> Iterator[Column]:
    if history.detail is None:
        return
    for sequence in plan.sequences:
        whose = f"{sequence.name}." if len(plan.sequences) > 1 else ""
        for phase in sequence.phases:
            for number, way in enumerate(phase.exits):
                name = f"margin: {whose}{phase.name} guard {number + 1}"
                margin = guard_margins(plan, way.guard, history.detail)[1]
                yield _named(name, guard_unit(plan, plan.guards[way.guard]) or ""), _numbers(margin)


def _named(name: str, unit: str) -> str:
    return f"{name} [{unit}]" if unit else name


def _numbers(column: NDArray[np.float32]) -> list[str]:
    """Spell binary32 numbers shortest; one that is not finite becomes an empty cell."""
    known = np.isfinite(column).tolist()
    return [str(x) if finite else "" for x, finite in zip(column, known, strict=True)]
