"""Reports of logs that no gait of ours made: any CSV with a column `phase`."""

import math
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import MisuseError
from sequencer.history.sides import other_side
from sequencer.show.report import document as d
from sequencer.show.report.build import made_from
from sequencer.show.report.columns import ColumnHead
from sequencer.show.report.contacts import Intervals, between, contact
from sequencer.show.report.log_columns import contact_columns, line_of, plots_of_log, role_of
from sequencer.show.report.log_story import (
    commanded,
    figures_of_log,
    moments,
    moves_of_log,
    sides_of_log,
    stays_of_log,
    summary_of_log,
    troubles_of_log,
)
from sequencer.show.report.log_survey import Holding, Survey
from sequencer.show.report.recorded import symmetry_of
from sequencer.show.report.thin import AROUND_MS, Keeper, choose
from sequencer.show.text import clean
from sequencer.trace.layout import nearest
from sequencer.trace.phase_log import LogRows, PhaseLog

MOST_COLUMNS = 96  # drawn; a page with more can't be read

Floats = NDArray[np.float64]


def logs_document(
    paths: Sequence[str],
    notes: Sequence[str] = (),
    mapping: Mapping[str, str] | None = None,
    columns: Sequence[str] = (),
    look_ms: tuple[float, float] | None = None,
) -> d.ReportDocument:
    """Read one log, or two to be laid over each other, and describe them.

    mapping: our name -> the column's name in the file. columns: those to be drawn, by name; else all, up to
    MOST_COLUMNS. look_ms: a time whose rows are kept one by one also of a long log. Raises TraceError for a
    log that can't be read, MisuseError for logs of different sequences or columns that are not there.
    """
    with ExitStack() as opened:
        logs = [opened.enter_context(PhaseLog(path, mapping)) for path in paths]
        surveys: list[Survey] = []
        for log in logs:
            if surveys:
                _fit(logs[0], log)
                log.take_phases(logs[0])
            surveys.append(Survey(log, look_ms))
        names = ["standard input" if path == "-" else Path(path).name for path in paths]
        runs = [
            _recorded(log, survey, name, path, columns)
            for log, survey, name, path in zip(logs, surveys, names, paths, strict=True)
        ]
        title = " over ".join(names)
        last = logs[-1]
        walk = d.Walk(
            clean(title),
            [_sequence(s.name, names) for s, names in zip(last.sequences, last.phases, strict=True)],
            None,
        )
    return d.ReportDocument(clean(title), [clean(note) for note in notes], walk, runs)


def _fit(first: PhaseLog, second: PhaseLog) -> None:
    ours, theirs = ([s.name for s in log.sequences] for log in (first, second))
    if ours != theirs:
        raise MisuseError(
            f"{first.name} has the sequences {', '.join(ours)}, but {second.name} has {', '.join(theirs)}",
            hint="logs of one program only can be laid over each other; --map left.phase=NAME renames",
        )


def _sequence(name: str, phases: Sequence[str]) -> d.SequenceShown:
    shown = []
    for phase in phases:
        turned = other_side(phase)
        mirror = list(phases).index(turned) if turned is not None and turned in phases else None
        shown.append(d.PhaseShown(clean(phase) or "?", "", "step", None, "", mirror, None))
    return d.SequenceShown(clean(name), shown)


class _Watched:
    """The second time through a log: keeps what the page shows of each column, and when feet were down."""

    def __init__(self, log: PhaseLog, survey: Survey, drawn: Sequence[int], moments: Sequence[int]) -> None:
        names = [column.name for column in log.columns]
        self.touching = contact_columns(names, survey.columns)
        self.feet = [Intervals() for _ in self.touching]
        self._down = [False for _ in self.touching]
        self._drawn = drawn
        self._holdings = [Holding(facts, survey.rows) for facts in survey.columns]
        heads = [
            ColumnHead(clean(names[i]), clean(log.columns[i].unit), role_of(names[i], survey.columns[i]))
            for i in drawn
        ]
        around = math.ceil(AROUND_MS / survey.usual_ms) if survey.usual_ms else 1
        self.kept = choose(survey.rows, len(drawn), moments, around, survey.look)
        self.keeper = Keeper(heads, self.kept, survey.rows)
        for rows in log.batches():
            self._add(rows, survey.at_ms(rows.at_us))
        for down in self.feet:
            down.finish(survey.end_ms)

    def _add(self, rows: LogRows, at_ms: Floats) -> None:
        values = [h.held(x, e) for h, x, e in zip(self._holdings, rows.numbers, rows.empty, strict=True)]
        with np.errstate(over="ignore"):  # too large for binary32: infinite, which the page shows as none
            self.keeper.add([values[i].astype(np.float32) for i in self._drawn], at_ms)
        for i, its in enumerate(self.touching):
            so = between(values[its.column], its.half, its.half, was=self._down[i])
            self._down[i] = bool(so[-1])
            self.feet[i].add(so, at_ms)

    @property
    def contacts(self) -> list[d.Contact]:
        """When each foot was on the ground."""
        return [
            contact(clean(its.name), its.foot, "measured", down)
            for its, down in zip(self.touching, self.feet, strict=True)
        ]


def _recorded(log: PhaseLog, survey: Survey, name: str, path: str, wanted: Sequence[str]) -> d.Recorded:
    drawn = _drawn(log, survey, wanted)
    changes = [survey.changes(s) for s in range(len(log.sequences))]
    watched = _Watched(log, survey, drawn, moments(changes))
    contacts = watched.contacts or commanded(log, changes, survey.end_ms)
    troubles = troubles_of_log(log, changes)
    lines = [
        line_of(at, log.columns[i].name, clean(log.columns[i].unit), survey.columns[i])
        for at, i in enumerate(drawn)
    ]
    return d.Recorded(
        name=clean(name),
        summary=clean(summary_of_log(log, survey, changes, contacts, watched.feet)),
        failed=bool(troubles),
        ticks=survey.rows,
        start=survey.start_ms,
        end=survey.end_ms,
        kept=watched.kept,
        clock=watched.keeper.clock(survey.usual_ms),
        columns=watched.keeper.columns(),
        plots=plots_of_log(lines),
        stays=[stays_of_log(its, survey.end_ms) for its in changes],
        moves=moves_of_log(changes),
        marks=None,
        rules=None,
        contacts=contacts,
        troubles=troubles,
        symmetry=symmetry_of(sides_of_log(log, changes), contacts),
        battery=None,
        drawn=[],
        writes=[],
        figures=[*figures_of_log(log, survey, drawn), *made_from(None, None if path == "-" else path)],
    )


def _drawn(log: PhaseLog, survey: Survey, wanted: Sequence[str]) -> list[int]:
    """Choose the columns that are drawn."""
    known = {column.name: i for i, column in enumerate(log.columns)}
    for name in wanted:
        if name not in known:
            raise MisuseError(
                f"{log.name} has no column of numbers called {name}",
                hint=nearest(name, known) or f"its columns of numbers are {', '.join(list(known)[:12])}",
            )
    filled = [i for i, facts in enumerate(survey.columns) if facts.numbers]
    return [known[name] for name in dict.fromkeys(wanted)] if wanted else filled[:MOST_COLUMNS]
