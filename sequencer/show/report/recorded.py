"""A run of a gait as it stands in a report's file."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import BY_GUARD, HistoryBlock
from sequencer.history.margins import rows_of_block
from sequencer.history.recorder import Watch
from sequencer.history.run import Ints, Run
from sequencer.history.sides import BothSides, SideNames, feet_on_both_sides, phases_on_both_sides
from sequencer.history.summary import Summary, summary
from sequencer.show.report import document as d
from sequencer.show.report.columns import ColumnHead, Floats, RunColumns
from sequencer.show.report.contacts import FeetDown
from sequencer.show.report.happened import moves_of, rule_spans, stays_of, troubles_of
from sequencer.show.report.marks import MarkFinder
from sequencer.show.report.pack import Packed, unpack
from sequencer.show.report.places import Sources
from sequencer.show.report.plots import plots_of
from sequencer.show.report.supply import SupplyWatch
from sequencer.show.report.thin import AROUND_MS, DRAWN, Keeper, choose
from sequencer.show.runs import failed
from sequencer.show.text import clean

Again = Callable[[Watch], None]


@dataclass(frozen=True, slots=True)
class RunSource:
    """A run that is to be shown.

    name: its recording's file. run: the run, with or without its ticks. again: runs it once more and hands
    its record over, with detail, block by block; needed only if the run was kept without its ticks.
    figures: what else is to be said of it, such as hashes.
    """

    name: str
    run: Run
    again: Again | None = None
    figures: Sequence[d.Figure] = ()
    extra: "Extra | None" = None


@dataclass(frozen=True, slots=True)
class Extra:
    """Columns that no signal stands for, one number for each tick: what a rehearsal knows besides."""

    heads: Sequence[ColumnHead]
    values: Sequence[Floats]
    contacts: Sequence[d.Contact] = ()


def recorded(source: RunSource, sources: Sources) -> d.Recorded:
    """Describe a run; everything that is told in words is told in the words of the dry run."""
    run, plan = source.run, source.run.plan
    columns = RunColumns(plan)
    figures = summary(run)
    heads = [*columns.heads, *(source.extra.heads if source.extra else ())]
    drawn = sum(head.role in DRAWN for head in heads)
    around = round(AROUND_MS / plan.tick_ms)
    kept = choose(run.ticks, drawn, _moments(run, figures), around)
    keeper, feet, supply = Keeper(heads, kept, run.ticks), FeetDown(plan), SupplyWatch(plan)
    marks = MarkFinder(run)
    tick = 0

    def watch(history: HistoryBlock, at_ms: Ints) -> None:
        nonlocal tick
        values = columns.values(history)
        if source.extra:
            values += [column[tick : tick + len(at_ms)] for column in source.extra.values]
        keeper.add(values, at_ms)
        feet.add(history, at_ms)
        supply.add(history, at_ms)
        for start, to in kept.windows:
            rows = slice(max(start - tick, 0), max(to - tick, 0))
            if rows.stop > rows.start and rows.start < len(at_ms):
                marks.add(rows_of_block(history, rows), at_ms[rows], tick + rows.start)
        tick += len(at_ms)

    _play(source, watch)
    contacts = list(source.extra.contacts if source.extra else ()) or feet.contacts(run.end_ms)
    packed = keeper.columns()
    return d.Recorded(
        name=clean(source.name),
        summary=clean(figures.words),
        failed=failed(run),
        ticks=run.ticks,
        start=run.start_ms,
        end=run.end_ms,
        kept=kept,
        clock=keeper.clock(plan.tick_ms),
        columns=packed,
        plots=[*plots_of(plan, columns), *_extra_plots(packed)],
        stays=stays_of(run),
        moves=moves_of(run),
        marks=marks.marks(),
        rules=rule_spans(run),
        contacts=contacts,
        troubles=troubles_of(run, figures, sources),
        symmetry=symmetry_of(_sides(run), contacts),
        battery=supply.battery(columns.signal),
        drawn=_drawn(packed),
        writes=_writes(run),
        figures=[*_figures(run, figures), *source.figures],
    )


def _play(source: RunSource, watch: Watch) -> None:
    run = source.run
    if run.history is not None and run.history.detail is not None and run.at_ms is not None:
        watch(run.history, run.at_ms)
    elif source.again is not None:
        source.again(watch)


def _moments(run: Run, figures: Summary) -> list[int]:
    """List the ticks that matter, the most important first: troubles, then changes of phase, spread out."""
    moves = run.transitions
    wrong = [fault.at_ms for fault in figures.faults]
    found = np.searchsorted(moves.at_ms, wrong).tolist() if len(moves) else []
    first = [int(moves.tick[min(row, len(moves) - 1)]) for row in found]
    rows = np.flatnonzero(moves.cause >> 8 == BY_GUARD)
    spread = rows[np.linspace(0, len(rows) - 1, min(len(rows), 200)).astype(int)] if len(rows) else rows
    return [*first, *(int(tick) for tick in moves.tick[spread])]


def _sides(run: Run) -> list[BothSides]:
    names, times = [], []
    for s, sequence in enumerate(run.plan.sequences):
        phases = [phase.name for phase in sequence.phases]
        images = [
            next((i for i, p in enumerate(sequence.phases) if p.mirrored_from == phase.name), None)
            for phase in sequence.phases
        ]
        names.append(SideNames(sequence.name, phases, images))
        moves = run.transitions.of(s)
        times.append([moves.stayed_ms[moves.left == p].astype(np.float64) for p in range(len(phases))])
    return phases_on_both_sides(names, times)


def symmetry_of(phases: Sequence[BothSides], contacts: Sequence[d.Contact]) -> list[d.SymmetryShown]:
    """Set left beside right: times in phases, then times on the ground and in the air."""
    feet = [(c.name, _times(c.from_), _times(c.to)) for c in contacts]
    return [
        d.SymmetryShown(
            clean(pair.what),
            "ms",
            *(
                d.SideFigures(clean(side.name), side.count, side.median, side.least, side.most)
                for side in (pair.left, pair.right)
            ),
        )
        for pair in [*phases, *feet_on_both_sides(feet)]
    ]


def _times(packed: Packed) -> NDArray[np.float64]:
    return np.asarray(unpack(packed), np.float64)


def _extra_plots(columns: Sequence[d.Column]) -> list[d.PlotShown]:
    found = []
    for role, title in (("clearance", "foot clearance"), ("support", "support margin")):
        lines = [i for i, column in enumerate(columns) if column.role == role]
        if lines:
            found.append(d.PlotShown(title, columns[lines[0]].unit, lines))
    return found


def _drawn(columns: Sequence[d.Column]) -> list[d.Drawn]:
    ends: dict[str, dict[str, int]] = {}
    for i, column in enumerate(columns):
        if column.role == "link":
            name, _, end = column.name.rpartition(".")
            ends.setdefault(name, {})[end] = i
    return [
        d.Drawn(name, at["y1"], at["z1"], at["y2"], at["z2"])
        for name, at in ends.items()
        if set(at) >= {"y1", "z1", "y2", "z2"}
    ]


def _writes(run: Run) -> list[d.WriteShown]:
    tick_ms = run.plan.tick_ms
    at = run.at_ms
    return [
        d.WriteShown(
            float(at[write.tick]) if at is not None and write.tick < len(at) else float(write.tick * tick_ms),
            clean(run.plan.parameters[write.parameter].name),
            write.value,
            write.accepted,
        )
        for write in run.writes
    ]


def _figures(run: Run, figures: Summary) -> list[d.Figure]:
    plan = run.plan
    found = [
        d.Figure("steps", f"{figures.steps} ({figures.steps_of})"),
        d.Figure("cycles", str(figures.cycles)),
        d.Figure("ticks", f"{run.ticks} of {plan.tick_ms} ms"),
    ]
    found += [
        d.Figure(f"counter {counter.name}", str(count))
        for counter, count in zip(plan.counters, run.counters, strict=True)
    ]
    for signal, totals in zip(plan.signals, run.signals, strict=True):
        said = [
            f"{count} {what}"
            for what in ("bad", "disbelieved", "outside", "skipped")
            if (count := getattr(totals, what))
        ]
        if said:
            found.append(d.Figure(f"samples of {signal.name}", ", ".join(said)))
    if run.refused:
        found.append(d.Figure("parameter writes refused", str(run.refused)))
    return [d.Figure(clean(figure.name), clean(figure.value)) for figure in found]
