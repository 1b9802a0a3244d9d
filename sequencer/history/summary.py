"""A run in a few figures: steps, cycles, the tightest guard, what went wrong."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sequencer.base.places import Place
from sequencer.history.amounts import amount, at, duration
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, RULE_BROKEN
from sequencer.history.cause import Wait, cause_words, timeouts, waits_at_end
from sequencer.history.facts import found_words
from sequencer.history.helped import helped_words
from sequencer.history.margins import detail_kept
from sequencer.history.run import Run
from sequencer.history.spare import Spare, spares
from sequencer.history.stopped import stopped_outputs

MOST_GUARDS = 3  # of one phase, in one line


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that should not happen in a walk: a timeout, a broken rule, an output out, a stop."""

    kind: Literal["timeout", "rule", "output", "stop"]
    at_ms: int
    words: str
    place: Place


@dataclass(frozen=True, slots=True)
class Slowest:
    """The guard that used most of its phase's timeout before it fired."""

    sequence: int
    phase: int
    to: int
    waited_ms: int
    of_ms: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class Summary:
    """A run in a few figures.

    steps, steps_of: how many steps, and what was counted, resets of counters notwithstanding: the counters of
    all legs ("steps: lf 4, rf 3"), else the counter that rose most, or without counters the visits of the
    phase that guards led to most often.
    cycles: how often the walk came back to the phase to which it first came back; the most of any sequence.
    tightest: of the guards that fired (see `sequencer.history.spare`) the one with least to spare, preferably
    one whose signals had settled; None if the run has no detail or no guard with a margin fired.
    measured: whether there was detail.
    waiting: what each sequence waits for at the end, except in rest phases.
    never_left: if no sequence ever left its first phase, what each of them waits for.
    helped: what came of help by hand and single steps; empty if there was none.
    """

    ticks: int
    lasted_ms: int
    steps: int
    steps_of: str
    cycles: int
    tightest: Spare | None
    tightest_way: str
    slowest: Slowest | None
    slowest_way: str
    measured: bool
    faults: tuple[Fault, ...]
    waiting: tuple[Wait, ...]
    never_left: tuple[Wait, ...]
    helped: str

    @property
    def words(self) -> str:
        """Say in one line what a maker wants to know."""
        return "; ".join(filter(None, (self._walked, self.helped)))

    @property
    def _walked(self) -> str:
        unit = "step" if self.steps == 1 else "steps"
        text = f"made {self.steps} {unit} ({self.steps_of}) in {duration(self.lasted_ms)}"
        if self.never_left:
            text = f"{text}; {_never_left_words(self.never_left)}"
        if self.tightest is not None:
            least = "" if self.tightest.settled else "at least "  # it left while the signal still moved on
            spare = f"{least}{amount(self.tightest.amount, self.tightest.unit)} to spare"
            return f"{text}; tightest guard: {self.tightest_way} had {spare} at {at(self.tightest.best_ms)}"
        if not self.measured:
            return f"{text}; margins were not recorded"
        if self.slowest is not None:
            time = f"{duration(self.slowest.waited_ms)} of {duration(self.slowest.of_ms)}"
            return f"{text}; no guard with a margin fired; slowest: {self.slowest_way} took {time}"
        return text


def _never_left_words(waits: tuple[Wait, ...]) -> str:
    first, more = waits[0], len(waits) - 1
    whose = f"{first.sequence_name}: " if first.sequence_name else ""
    asked = "; ".join(guard.words for guard in first.guards[:MOST_GUARDS]) or "it has no guard"
    others = f" (and {more} sequence{'s' if more > 1 else ''} more)" if more else ""
    return f"{whose}never left {first.phase_name}: {asked}{others}"


def summary(run: Run) -> Summary:
    """Sum up a run."""
    found = None if detail_kept(run) is None else spares(run)
    return summed_up(run, found, faults_of(run, timeouts(run)), waits_at_end(run))


def summed_up(
    run: Run, spared: Sequence[Spare] | None, faults: Sequence[Fault], waits: Sequence[Wait]
) -> Summary:
    """Sum up a run of which it is known otherwise what its guards had to spare and what went wrong.

    spared: None if margins were not recorded. waits: of each sequence at the end.
    """
    found = spared or ()
    # a signal that still moved on gives a lower bound only: it counts where there is nothing better
    settled = [spare for spare in found if spare.settled]
    tightest = min(settled or found, key=lambda spare: spare.share, default=None)
    slowest = _slowest(run)
    steps, steps_of = _steps(run)
    return Summary(
        ticks=run.ticks,
        lasted_ms=run.end_ms - run.start_ms,
        steps=steps,
        steps_of=steps_of,
        cycles=max((_cycles(run, s) for s in range(len(run.plan.sequences))), default=0),
        tightest=tightest,
        tightest_way="" if tightest is None else _way(run, tightest.sequence, tightest.phase, tightest.to),
        slowest=slowest,
        slowest_way="" if slowest is None else _way(run, slowest.sequence, slowest.phase, slowest.to),
        measured=spared is not None,
        faults=tuple(faults),
        waiting=tuple(wait for wait in waits if not wait.rest),
        helped=helped_words(run),
        never_left=() if (run.transitions.cause >> 8 != BY_RESET).any() else tuple(waits),
    )


def _way(run: Run, sequence: int, phase: int, to: int) -> str:
    """Name a way; with several sequences, whose it is."""
    table = run.plan.sequences[sequence]
    text = f"{table.phases[phase].name} -> {table.phases[to].name}"
    return f"{table.name}: {text}" if len(run.plan.sequences) > 1 else text


def _steps(run: Run) -> tuple[int, str]:
    if run.counted:
        legs, each = _of_each_leg([counter.name for counter in run.plan.counters])
        if each:
            counts = ", ".join(f"{name} {run.counted[index]}" for index, name in each.items())
            return sum(run.counted[index] for index in each), f"{legs}: {counts}"
        best = int(np.argmax(run.counted))
        return run.counted[best], f"counter {run.plan.counters[best].name}"
    moves = run.transitions
    by_guard = moves.cause >> 8 == BY_GUARD
    if not by_guard.any():
        return 0, "visits of a phase"
    pairs = np.stack([moves.sequence[by_guard], moves.entered[by_guard]], axis=1)
    visited, visits = np.unique(pairs, axis=0, return_counts=True)
    sequence, phase = map(int, visited[int(np.argmax(visits))])
    return int(visits.max()), f"visits of {run.plan.sequences[sequence].phases[phase].name}"


def _of_each_leg(names: list[str]) -> tuple[str, dict[int, str]]:
    """Find counters that differ in one word, as lf_steps and rf_steps do: what they count, and of whom."""
    found: dict[str, dict[int, str]] = {}
    for index, name in enumerate(names):
        words = name.split("_")
        for i, word in enumerate(words):
            rest = "_".join([*words[:i], *words[i + 1 :]])
            if rest:
                found.setdefault(rest, {}).setdefault(index, word)
    legs, each = max(found.items(), key=lambda entry: len(entry[1]), default=("", {}))
    return (legs, each) if len(each) > 1 else ("", {})


def _cycles(run: Run, sequence: int) -> int:
    """Count the returns to the phase that was the first to be entered twice by guards."""
    moves = run.transitions.of(sequence)
    entered: list[int] = moves.entered[moves.cause >> 8 == BY_GUARD].tolist()
    seen: set[int] = set()
    for phase in entered:
        if phase in seen:
            return entered.count(phase) - 1
        seen.add(phase)
    return 0


def _slowest(run: Run) -> Slowest | None:
    moves = run.transitions
    by_guard = (moves.cause >> 8 == BY_GUARD) & (moves.left >= 0)
    found: list[Slowest] = []
    for sequence, table in enumerate(run.plan.sequences):
        for number, phase in enumerate(table.phases):
            rows = np.flatnonzero(by_guard & (moves.sequence == sequence) & (moves.left == number))
            if phase.timeout is not None and len(rows):
                move = moves[int(rows[np.argmax(moves.stayed_ms[rows])])]
                after_ms = phase.timeout.after_ms
                found.append(Slowest(sequence, number, move.entered, move.stayed_ms, after_ms, move.at_ms))
    return max(found, key=lambda slow: slow.waited_ms / slow.of_ms, default=None)


def faults_of(run: Run, timed_out: Sequence[Wait]) -> tuple[Fault, ...]:
    """List what should not happen in a walk, by time. timed_out: the run's timeouts."""
    found = [Fault("timeout", wait.to_ms, wait.words, wait.place) for wait in timed_out]
    for interval in run.rules:
        if interval.state == RULE_BROKEN:
            rule = run.plan.rules[interval.which]
            lasted = duration(interval.to_ms - interval.from_ms)
            words = f"rule {rule.name} was broken for {lasted}"
            detail = detail_kept(run)
            if detail is not None and (
                facts := found_words(run.plan, rule.guard, detail, interval.from_tick)
            ):
                words = f"{words}: {facts}"
            found.append(Fault("rule", interval.from_ms, words, rule.place))
    found += [Fault("output", *what) for what in stopped_outputs(run)]
    told: set[tuple[int, int]] = set()  # an entry sends every sequence: one stop, however many they are
    for row in np.flatnonzero(run.transitions.cause >> 8 == BY_ANYWHERE).tolist():
        move = run.transitions[row]
        phase = run.plan.sequences[move.sequence].phases[move.entered]
        if phase.stop is not None and (move.tick, move.index) not in told:
            told.add((move.tick, move.index))
            words = f"stopped in {phase.name}, {cause_words(run.plan, move, detail_kept(run))}"
            found.append(Fault("stop", move.at_ms, words, run.plan.anywhere[move.index].place))
    return tuple(sorted(found, key=lambda fault: fault.at_ms))
