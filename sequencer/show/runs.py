"""A run as text for people: phases visited, broken rules, samples, faults, and one line to remember."""

from collections.abc import Sequence

import numpy as np

from sequencer.history.amounts import amount, at, duration
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_RULE, BY_TIMEOUT, RULE_BROKEN
from sequencer.history.cause import Wait, cause_words, waits_at_end
from sequencer.history.margins import GuardVisit, detail_kept, guard_unit, guard_visits
from sequencer.history.run import Run
from sequencer.history.spare import Spare, spares
from sequencer.history.summary import Fault, Summary
from sequencer.show.terminal import place_text
from sequencer.show.text import PLAIN, Style, clean, clip, table

MOST_ROWS = 24  # of single phases; a longer run is summed up by phase
MOST_FAULTS = 10

_CAUSES = {
    BY_RESET: "reset",
    BY_TIMEOUT: "timeout",
    BY_GUARD: "guard {}",
    BY_ANYWHERE: "anywhere {}",
    BY_RULE: "rule {}",
}


def failed(run: Run) -> bool:
    """Tell whether the run counts as failed.

    It does if a timeout led into a stop phase, a rule was broken, or an output stalled or was cut.
    """
    moves = run.transitions
    for row in np.flatnonzero(moves.cause >> 8 == BY_TIMEOUT):
        move = moves[int(row)]
        if run.plan.sequences[move.sequence].phases[move.entered].stop is not None:
            return True
    return bool(run.stopped_outputs) or any(i.state == RULE_BROKEN for i in run.rules)


def run_text(
    run: Run, summary: Summary, style: Style = PLAIN, *, every_phase: bool = False, columns: int = 0
) -> str:
    """Write the run.

    every_phase: list each phase that was visited, however many. columns: cut the table to so many terminal
    columns; 0 for no limit.
    """
    visits = [clip(line, columns or 1000) for line in _visits(run, every_phase=every_phase)]
    blocks = ["\n".join([style(visits[0], "bold"), *visits[1:]])]
    blocks.append(_samples(run, style))
    blocks += [_fault(fault, style) for fault in summary.faults[:MOST_FAULTS]]
    if len(summary.faults) > MOST_FAULTS:
        blocks.append(f"and {len(summary.faults) - MOST_FAULTS} faults more")
    blocks += [f"at the end: {clean(wait.words)}" for wait in stuck_at_end(run)]
    blocks.append(style(clean(summary.words), "bold"))
    return "\n\n".join(block for block in blocks if block)


def _fault(fault: Fault, style: Style) -> str:
    kind = "stop" if fault.kind == "stop" else "fault"
    head = style(f"{kind} at {at(fault.at_ms)}:", "red" if kind == "fault" else "yellow", "bold")
    where = place_text(fault.place)
    return f"{head} {clean(fault.words)}" + (f"\n    see {where}" if where else "")


def stuck_at_end(run: Run, waits: Sequence[Wait] | None = None) -> list[Wait]:
    """List what was still waited for at the end, if longer than ever before (and a second) in that phase.

    waits: of each sequence at the end, if they are known already.
    """
    found = []
    for wait in waits_at_end(run) if waits is None else waits:
        before = [s.to_ms - s.from_ms for s in run.stays(wait.sequence)[:-1] if s.phase == wait.phase]
        if not wait.rest and not wait.stop and wait.waited_ms > max(before, default=1000):
            found.append(wait)
    return found


def _visits(run: Run, *, every_phase: bool) -> list[str]:
    if every_phase or len(run.transitions) <= MOST_ROWS:
        head, rows, right = _single(run)
    else:
        head, rows, right = _summed_up(run)
    if len(run.plan.sequences) == 1:  # the first column names the sequence
        head, rows, right = head[1:], [row[1:] for row in rows], frozenset(i - 1 for i in right)
    return table(head, rows, right=right)


_Table = tuple[tuple[str, ...], list[tuple[str, ...]], frozenset[int]]


def _single(run: Run) -> _Table:
    """Lay out one row for each phase entered, in order of time."""
    rows: list[tuple[str, ...]] = []
    stays = {
        (sequence, stay.opened): stay
        for sequence in range(len(run.plan.sequences))
        for stay in run.stays(sequence)
    }
    numbers = [0] * len(run.plan.sequences)
    for move in run.transitions:
        table = run.plan.sequences[move.sequence]
        stay = stays[move.sequence, numbers[move.sequence]]
        numbers[move.sequence] += 1
        lasted = ("" if stay.closed is not None else "> ") + duration(stay.to_ms - stay.from_ms)
        because = cause_words(run.plan, move, detail_kept(run))
        rows.append((table.name, at(move.at_ms), table.phases[move.entered].name, lasted, because))
    return ("sequence", "at", "phase", "for", "entered because"), rows, frozenset({1, 3})


def _summed_up(run: Run) -> _Table:
    """Lay out one row for each phase that was visited: how often, how long, what it was left by."""
    rows: list[tuple[str, ...]] = []
    for number, sequence in enumerate(run.plan.sequences):
        moves = run.transitions.of(number)
        last = run.stays(number)[-1]
        for index, phase in enumerate(sequence.phases):
            left = moves.left == index
            lengths = moves.stayed_ms[left]
            causes, counts = np.unique(moves.cause[left], return_counts=True)
            by = [f"{short_cause(c >> 8, c & 0xFF)} x {n}" for c, n in zip(causes, counts, strict=True)]
            if last.phase == index:  # cut off by the end of the run, so its length says nothing
                by.append(f"the end after {duration(last.to_ms - last.from_ms)}")
            if not by:
                continue
            times = (lengths.min(), np.median(lengths), lengths.max()) if len(lengths) else ()
            texts = [duration(int(time)) for time in times] or [""] * 3
            visits = len(lengths) + (last.phase == index)
            rows.append((sequence.name, phase.name, str(visits), *texts, ", ".join(by)))
    head = ("sequence", "phase", "visits", "shortest", "median", "longest", "left by")
    return head, rows, frozenset({2, 3, 4, 5})


def short_cause(kind: int, index: int) -> str:
    """Name a cause in a word or two: ``guard 1``, ``timeout``."""
    return _CAUSES[kind].format(index + 1)


def _samples(run: Run, style: Style) -> str:
    rows: list[tuple[str, ...]] = [
        (signal.name, str(totals.bad), str(totals.disbelieved), str(totals.outside), str(totals.skipped))
        for signal, totals in zip(run.plan.signals, run.signals, strict=True)
        if totals.bad or totals.disbelieved or totals.outside or totals.skipped
    ]
    lines = []
    if rows:
        head = ("samples of", "not finite", "not believed", "outside span", "skipped")
        top, *lines = table(head, rows, right=frozenset({1, 2, 3, 4}))
        lines = [style(top, "bold"), *lines]
    if run.refused:
        lines.append(f"parameter writes refused: {run.refused}")
    return "\n".join(lines)


def margins_text(run: Run, style: Style = PLAIN) -> str:
    """Write each guard's margins: how often it fired, how near it came, the least it had to spare.

    Raises MisuseError if the run was recorded without its ticks.
    """
    least: dict[tuple[int, int, int], Spare] = {}
    for spare in spares(run):
        key = (spare.sequence, spare.phase, spare.exit)
        if spare.settled and (key not in least or spare.amount < least[key].amount):
            least[key] = spare
    visits: dict[tuple[int, int, int], list[GuardVisit]] = {}
    for visit in guard_visits(run):
        visits.setdefault((visit.sequence, visit.stay.phase, visit.exit), []).append(visit)
    rows = [_margin_row(run, key, group, least.get(key)) for key, group in sorted(visits.items())]
    head = ("guard", "waited for", "fired", "best while waiting", "least to spare")
    top, *lines = table(head, rows, right=frozenset({1, 2, 3, 4}))
    return "\n".join([style(top, "bold"), *lines])


def _margin_row(
    run: Run, key: tuple[int, int, int], visits: list[GuardVisit], least: Spare | None
) -> tuple[str, ...]:
    sequence = run.plan.sequences[key[0]]
    phase = sequence.phases[key[1]]
    way = phase.exits[key[2]]
    unit = guard_unit(run.plan, run.plan.guards[way.guard]) or ""
    best = [visit.best for visit in visits if np.isfinite(visit.best)]
    name = f"{phase.name} -> {sequence.phases[way.to].name}"
    if len(run.plan.sequences) > 1:
        name = f"{sequence.name}: {name}"
    return (
        name,
        str(len(visits)),
        str(sum(visit.fired for visit in visits)),
        amount(max(best), unit) if best else "",
        amount(least.amount, least.unit) if least is not None else "",
    )
