"""What happened in a log that no gait of ours made: changes of phase, troubles, contacts, figures."""

from collections.abc import Sequence

import numpy as np

from sequencer.history.amounts import duration
from sequencer.history.sides import BothSides, SideNames, phases_on_both_sides
from sequencer.show.report import document as d
from sequencer.show.report.contacts import Intervals, contact, foot_name
from sequencer.show.report.log_columns import swinging
from sequencer.show.report.log_survey import Changes, Survey
from sequencer.show.report.pack import pack
from sequencer.show.text import clean
from sequencer.trace.phase_log import PhaseLog


def moments(changes: Sequence[Changes]) -> list[int]:
    """List rows that matter: changes of phase, spread out."""
    rows = np.unique(np.concatenate([its.row[1:] for its in changes]))
    spread = rows[np.linspace(0, len(rows) - 1, min(len(rows), 200)).astype(int)] if len(rows) else rows
    return [int(row) for row in spread]


def stays_of_log(its: Changes, end_ms: float) -> d.Stays:
    """Give the phases of one sequence over time."""
    ends = np.append(its.at_ms[1:], end_ms)
    return d.Stays(pack(its.at_ms, "f8"), pack(ends, "f8"), pack(its.phase, "u1"))


def moves_of_log(changes: Sequence[Changes]) -> d.Moves:
    """Give the changes of phase of all sequences, with the causes that the log tells."""
    sequence = np.concatenate([np.full(len(its.row) - 1, s) for s, its in enumerate(changes)])
    row = np.concatenate([its.row[1:] for its in changes])
    order = np.lexsort((sequence, row))
    texts = [text for its in changes for text in its.causes[1:]]
    told = [clean(texts[i]) or "as the log says" for i in order.tolist()]
    numbers = {text: i for i, text in enumerate(dict.fromkeys(told))}
    few = {text: min(i, d.NO_GUARD) for text, i in numbers.items()}
    at = np.concatenate([its.at_ms[1:] for its in changes])[order]
    nothing = np.full(len(order), np.nan)
    return d.Moves(
        at=pack(at, "f8"),
        tick=pack(row[order], "u4"),
        sequence=pack(sequence[order], "u1"),
        left=pack(np.concatenate([its.phase[:-1] for its in changes])[order], "u1"),
        entered=pack(np.concatenate([its.phase[1:] for its in changes])[order], "u1"),
        stayed=pack(np.concatenate([np.diff(its.at_ms) for its in changes])[order], "f8"),
        cause=pack(np.array([few[text] for text in told], np.uint16), "u2"),
        causes=list(numbers)[: d.NO_GUARD + 1],
        guard=pack(np.full(len(order), d.NO_GUARD), "u2"),
        spare=pack(nothing, "f4"),
        spare_units=[],
        settled=pack(np.ones(len(order)), "u1"),
    )


def troubles_of_log(log: PhaseLog, changes: Sequence[Changes]) -> list[d.Trouble]:
    """List the changes that the log says a timeout made."""
    found = []
    for s, its in enumerate(changes):
        for i in range(1, len(its.row)):
            if "timeout" in its.causes[i].lower():
                left = log.phases[s][int(its.phase[i - 1])]
                stayed = duration(round(its.at_ms[i] - its.at_ms[i - 1]))
                words = clean(f"{left} was left after {stayed}: {its.causes[i]}")
                found.append(d.Trouble("timeout", float(its.at_ms[i]), words, None))
    return sorted(found, key=lambda trouble: trouble.at)


def commanded(log: PhaseLog, changes: Sequence[Changes], end_ms: float) -> list[d.Contact]:
    """Tell contacts from a sequence for each foot whose phases' names say when it is up."""
    known = [
        (swinging(s.name, names), its)
        for s, names, its in zip(log.sequences, log.phases, changes, strict=True)
    ]
    feet = [told[0] for told, _ in known if told is not None]
    if len(feet) < 2 or len(set(feet)) < len(feet):
        return []
    rows = 1 + max(foot.row for foot in feet)
    found = []
    for told, its in known:
        if told is None:
            continue
        foot, up = told
        down = Intervals()
        down.add(~np.isin(its.phase, list(up)), its.at_ms)
        down.finish(end_ms)
        found.append(contact(foot_name(foot, rows), foot, "commanded", down))
    return sorted(found, key=lambda c: (c.row, c.side))


def sides_of_log(log: PhaseLog, changes: Sequence[Changes]) -> list[BothSides]:
    """Set the times in phases of both sides beside each other."""
    names, times = [], []
    for s, sequence in enumerate(log.sequences):
        phases = log.phases[s]
        names.append(SideNames(sequence.name, phases, [None] * len(phases)))
        its = changes[s]
        # the first stay may have begun before the log, the last may have gone on after it
        stayed, phase = np.diff(its.at_ms)[1:], its.phase[1:-1]
        times.append([stayed[phase == p] for p in range(len(phases))])
    return phases_on_both_sides(names, times)


def summary_of_log(
    log: PhaseLog,
    survey: Survey,
    changes: Sequence[Changes],
    contacts: Sequence[d.Contact],
    feet: Sequence[Intervals],
) -> str:
    """Say in one sentence what happened. feet: of the measured contacts, when each was down."""
    lasted = duration(round(survey.end_ms - survey.start_ms))
    count = sum(len(its.row) - 1 for its in changes) + survey.cut
    if count:
        text = f"{count} change{'' if count == 1 else 's'} of phase in {lasted}"
    else:
        stayed = " and ".join(
            names[int(its.phase[0])] for names, its in zip(log.phases, changes, strict=True)
        )
        text = f"stayed in {stayed} for {lasted}"
    if feet:
        touches = [
            f"{its.name} {len(down.from_ms) - (down.from_ms[:1] == [survey.start_ms])}"
            for its, down in zip(contacts, feet, strict=True)
        ]
        text = f"{text}; touches: {', '.join(touches)}"
    return text


def figures_of_log(log: PhaseLog, survey: Survey, drawn: Sequence[int]) -> list[d.Figure]:
    """List what else is to be said: rows, gaps, and what was left out."""
    doubts = log.doubts
    usual = f", usually {survey.usual_ms:.4g} ms apart" if survey.usual_ms else ""
    found = [("rows", f"{survey.rows:,}{usual}")]
    if survey.zero_us:
        found.append(("the clock's 0", f"{survey.zero_us / 1e6:.3f} s in the log"))
    if survey.gaps:
        start, to = max(survey.gaps, key=lambda gap: gap[1] - gap[0])
        longest = f"the longest {duration(round(to - start))} at {start / 1000:.2f} s"
        found.append(("gaps in time", f"{len(survey.gaps)}, {longest}"))
    if survey.cut:
        found.append(("changes of phase that are not shown", f"the last {survey.cut:,}"))
    if doubts.rows:
        found.append(("rows left out", f"{doubts.rows:,}; first {doubts.first_row}"))
    if doubts.cells:
        cells = ", ".join(f"{name} {count:,}" for name, count in list(doubts.cells.items())[:12])
        found.append(("cells that are no numbers", cells))
    if doubts.text:
        found.append(("columns of text, not drawn", ", ".join(doubts.text[:12])))
    empty = [c.name for c, facts in zip(log.columns, survey.columns, strict=True) if not facts.numbers]
    if empty:
        found.append(("columns without a number", ", ".join(empty[:12])))
    more = sum(facts.numbers > 0 for facts in survey.columns) - len(drawn)
    if more:
        found.append(("columns that are not drawn", f"{more:,}"))
    return [d.Figure(clean(name), clean(value)) for name, value in found]
