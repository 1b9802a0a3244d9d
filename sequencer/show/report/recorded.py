"""A run of a gait as it stands in a report's file."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import BY_ANYWHERE, BY_TIMEOUT, RULE_BROKEN, HistoryBlock
from sequencer.history.margins import rows_of_block
from sequencer.history.recorder import Watch
from sequencer.history.run import Ints, Run
from sequencer.history.sides import BothSides, SideNames, feet_on_both_sides, phases_on_both_sides
from sequencer.history.summary import Summary
from sequencer.history.told import Telling, Told
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

MOST_MOMENTS = 200  # of a kind, around which ticks are kept; more windows than anybody looks through
MOST_TIGHT = 50

Again = Callable[[Watch], None]


@dataclass(frozen=True, slots=True)
class RunSource:
    """A run that is to be shown.

    name: its recording's file. run: the run, with or without its ticks. again: runs it once more and hands
    its record over, with detail, block by block; needed only if the run was kept without its ticks.
    figures: what else is to be said of it, such as hashes. look_ms: a time whose ticks are kept one by one
    also of a long run, if they fit.
    """

    name: str
    run: Run
    again: Again | None = None
    figures: Sequence[d.Figure] = ()
    extra: "Extra | None" = None
    look_ms: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Extra:
    """Columns that no signal stands for, one number for each tick: what a rehearsal knows besides."""

    heads: Sequence[ColumnHead]
    values: Sequence[Floats]
    contacts: Sequence[d.Contact] = ()


def recorded(source: RunSource, sources: Sources) -> d.Recorded:
    """Describe a run; everything that is told in words is told in the words of the dry run."""
    run, plan = source.run, source.run.plan
    told = _told(source)
    kept = _Kept(source, _moments(run, told))
    _play(source, kept.add)
    contacts = list(source.extra.contacts if source.extra else ()) or kept.feet.contacts(run.end_ms)
    packed = kept.keeper.columns()
    return d.Recorded(
        name=clean(source.name),
        summary=clean("; ".join([told.summary.words, *_parting(run)])),
        failed=failed(run) or (run.machine is not None and run.machine.differs),
        ticks=run.ticks,
        start=run.start_ms,
        end=run.end_ms,
        kept=kept.kept,
        clock=kept.keeper.clock(plan.tick_ms),
        columns=packed,
        plots=[*plots_of(plan, kept.columns), *_extra_plots(packed)],
        stays=stays_of(run),
        moves=moves_of(run, told),
        marks=kept.marks.marks(),
        rules=rule_spans(run),
        contacts=contacts,
        troubles=troubles_of(run, told, sources),
        symmetry=symmetry_of(_sides(run), contacts),
        battery=kept.supply.battery(kept.columns.signal),
        drawn=_drawn(packed),
        writes=_writes(run),
        figures=[*_figures(run, told.summary), *source.figures],
    )


class _Kept:
    """What the page shows of a run's ticks, collected block by block."""

    def __init__(self, source: RunSource, moments: Sequence[int]) -> None:
        plan, ticks = source.run.plan, source.run.ticks
        self._extra = source.extra.values if source.extra else ()
        self.columns = RunColumns(plan)
        heads = [*self.columns.heads, *(source.extra.heads if source.extra else ())]
        drawn = sum(head.role in DRAWN for head in heads)
        self.kept = choose(ticks, drawn, moments, round(AROUND_MS / plan.tick_ms), _look(source))
        self.keeper = Keeper(heads, self.kept, ticks)
        self.feet, self.supply, self.marks = FeetDown(plan), SupplyWatch(plan), MarkFinder(source.run)
        self._tick = 0

    def add(self, history: HistoryBlock, at_ms: Ints) -> None:
        """Take the next ticks, with detail."""
        first, count = self._tick, len(at_ms)
        values = self.columns.values(history)
        values += [column[first : first + count] for column in self._extra]
        self.keeper.add(values, at_ms)
        self.feet.add(history, at_ms)
        self.supply.add(history, at_ms)
        for start, to in self.kept.windows:
            rows = slice(max(start - first, 0), max(to - first, 0))
            if rows.stop > rows.start and rows.start < count:
                self.marks.add(rows_of_block(history, rows), at_ms[rows], first + rows.start)
        self._tick += count


def _machine_words(run: Run) -> str:
    """Say whether the machine did the same; a log is named without its folder, as everything on the page."""
    assert run.machine is not None
    return replace(run.machine, source=Path(run.machine.source).name).words


def _parting(run: Run) -> list[str]:
    return [] if run.machine is None or run.machine.parting is None else [_machine_words(run)]


def _play(source: RunSource, watch: Watch) -> None:
    run = source.run
    if run.history is not None and run.history.detail is not None and run.at_ms is not None:
        watch(run.history, run.at_ms)
    elif source.again is not None:
        source.again(watch)


def _look(source: RunSource) -> tuple[int, int] | None:
    """Turn the time that is asked for into ticks, with one more on each side."""
    if source.look_ms is None:
        return None
    run, tick_ms = source.run, source.run.plan.tick_ms
    first, last = ((min(max(at, run.start_ms), run.end_ms) - run.start_ms) / tick_ms for at in source.look_ms)
    return max(math.floor(first) - 1, 0), min(math.ceil(last) + 2, run.ticks)


def _told(source: RunSource) -> Told:
    """Tell the run; if its ticks were not kept, by running it once more."""
    telling = Telling(source.run)
    _play(source, telling.add)
    return telling.finish()


def _moments(run: Run, told: Told) -> list[int]:
    """List the ticks that matter, the most important first.

    Those are: troubles and the beginnings of the phases that timed out, the guards that had least to spare,
    and changes of phase all over the run.
    """
    moves = run.transitions
    tight = sorted(told.spares.values(), key=lambda spare: spare.share)[:MOST_TIGHT]
    fired = np.searchsorted(moves.at_ms, [spare.fired_ms for spare in tight])
    return [*spread_moments(_wrong(run)), *moves.tick[fired].tolist(), *spread_moments(moves.tick)]


def _wrong(run: Run) -> Ints:
    """Give the ticks of troubles, and those in which phases began that timed out, by time."""
    moves = run.transitions
    stops = [[p.stop is not None for p in sequence.phases] for sequence in run.plan.sequences]
    stopped = np.array(
        [stops[s][p] for s, p in zip(moves.sequence.tolist(), moves.entered.tolist(), strict=True)], np.bool_
    )
    kind = moves.cause >> 8
    found = [moves.tick[(kind == BY_TIMEOUT) | ((kind == BY_ANYWHERE) & stopped)]]
    for sequence in range(len(run.plan.sequences)):
        mine = moves.of(sequence)
        found.append(mine.tick[np.flatnonzero(mine.cause[1:] >> 8 == BY_TIMEOUT)])
    found.append(np.array([i.from_tick for i in run.rules if i.state == RULE_BROKEN], np.int64))
    found.append(np.array([i.from_tick for i in run.stopped_outputs], np.int64))
    return np.unique(np.concatenate(found))


def spread_moments(ticks: Ints) -> list[int]:
    """Give at most `MOST_MOMENTS` of them, spread evenly; the first ones of these are spread, too.

    The order is that of their numbers with the bits reversed (0, 1/2, 1/4, 3/4 ...), the base 2 sequence of
    J. G. van der Corput, "Verteilungsfunktionen", 1935 (cited from memory).
    """
    rows = np.unique(np.linspace(0, len(ticks) - 1, min(len(ticks), MOST_MOMENTS)).astype(int))
    bits = max(len(rows) - 1, 1).bit_length()
    order = sorted(range(len(rows)), key=lambda i: f"{i:0{bits}b}"[::-1])
    return [int(ticks[rows[i]]) for i in order]


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
    if run.machine is not None:
        found.append(d.Figure("what the machine did", _machine_words(run)))
    if run.refused:
        found.append(d.Figure("parameter writes refused", str(run.refused)))
    return [d.Figure(clean(figure.name), clean(figure.value)) for figure in found]
