"""Tables of a report that do not change with the moment: times in the phases, how rules fared."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sequencer.history.blocks import RULE_BROKEN
from sequencer.show.report.document import Battery, Moves, Recorded, ReportDocument, RuleSpans
from sequencer.show.report.pack import unpack

MOST_MOMENTS = 10  # of one rule, in its row


@dataclass(frozen=True, slots=True)
class Times:
    """How long a phase took in one run, in ms; stays that the run's end cut off do not count."""

    count: int
    median: float | None
    least: float | None
    most: float | None


@dataclass(frozen=True, slots=True)
class PhaseTimes:
    """A phase with its times in each run."""

    sequence: int
    phase: int
    runs: list[Times]


@dataclass(frozen=True, slots=True)
class RuleFared:
    """How often a rule was broken in a run, when (ms; the first of them), and how long it was unjudged."""

    broken: int
    moments: list[tuple[float, float]]
    unjudged_ms: float


def supply_spare(battery: Battery) -> float | None:
    """Tell how far the supply stayed above what cuts the motors, at its lowest; None if nothing does."""
    return None if battery.low is None else battery.least - battery.low


def phase_times(document: ReportDocument) -> list[PhaseTimes]:
    """List the phases that were left at least once in any of the runs, in document order."""
    left = [_left(run.moves) for run in document.runs]
    found = []
    for s, sequence in enumerate(document.walk.sequences):
        for p in range(len(sequence.phases)):
            runs = [_times(times.get((s, p), [])) for times in left]
            if any(times.count for times in runs):
                found.append(PhaseTimes(s, p, runs))
    return found


def rules_fared(document: ReportDocument) -> list[list[RuleFared]]:
    """Say of each run how each rule fared."""
    count = len(document.walk.gait.rules) if document.walk.gait else 0
    return [list(_fared(run, count)) for run in document.runs]


def _left(moves: Moves) -> dict[tuple[int, int], list[float]]:
    columns = (unpack(packed).tolist() for packed in (moves.sequence, moves.left, moves.stayed))
    found: dict[tuple[int, int], list[float]] = {}
    for sequence, phase, stayed in zip(*columns, strict=True):
        found.setdefault((sequence, phase), []).append(stayed)
    return found


def _times(times: list[float]) -> Times:
    if not times:
        return Times(0, None, None, None)
    return Times(len(times), float(np.median(times)), min(times), max(times))


def _fared(run: Recorded, rules: int) -> Iterator[RuleFared]:
    spans = _spans(run.rules)
    for rule in range(rules):
        broken = [(start, to) for start, to, which, state in spans if (which, state) == (rule, RULE_BROKEN)]
        unjudged = sum(
            to - start for start, to, which, state in spans if which == rule and state != RULE_BROKEN
        )
        yield RuleFared(len(broken), broken[:MOST_MOMENTS], unjudged)


def _spans(rules: RuleSpans | None) -> list[tuple[float, float, int, int]]:
    if rules is None:
        return []
    columns = (unpack(packed).tolist() for packed in (rules.from_, rules.to, rules.rule, rules.state))
    return list(zip(*columns, strict=True))
