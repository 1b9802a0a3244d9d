"""Exploring a plan: findings, and for each a recording that shows it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from sequencer.base.findings import Finding, Severity
from sequencer.check.explore.judge import Claim, Judge
from sequencer.check.explore.proofs import rules_left_out, rules_told
from sequencer.check.explore.search import BY_DEFAULT, Bounds, Reached, Search
from sequencer.check.facts import Facts
from sequencer.check.subjects import phase_name
from sequencer.plan.tables import Plan

if TYPE_CHECKING:
    from sequencer.trace.blocks import TickBlock

MOST_STEPS_SAID = 5


@dataclass(frozen=True, slots=True)
class Counterexample:
    """A recording that shows a finding, run in the reference executor when it was made.

    name: the finding's code with a number ("mutual-wait-1"). ends: the phase of each sequence at its end.
    """

    name: str
    finding: Finding
    block: "TickBlock"
    ends: tuple[int, ...]


@dataclass
class Exploring:
    """How to explore, and what came of it.

    bounds: how far to go; None leaves it out. tell: gets, now and then, how many configurations were looked
    at and how many are known. replay: words that say how to replay a counterexample, with NAME in them.
    counterexamples: what came of it. finished: whether all configurations were looked at.
    """

    bounds: Bounds | None = BY_DEFAULT
    tell: Callable[[int, int], None] | None = None
    replay: str = "`sequencer check --counterexamples DIR` writes it as a recording, NAME.csv, for a dry-run"
    counterexamples: list[Counterexample] = field(default_factory=list)
    finished: bool = False


def check_explored(plan: Plan, exploring: Exploring) -> list[Finding]:
    """Explore the configurations of a plan within bounds; return what is wrong with what can be reached."""
    if exploring.bounds is None:
        return rules_left_out(plan)
    search = Search(plan, Facts(plan), exploring.bounds)
    reached = search.run(exploring.tell)
    exploring.finished = reached.finished
    walk = search.run(exploring.tell, faultless=True) if search.has_faults else reached
    again = Again(search, walk)
    claims = Judge(search, reached, walk).claims()
    told = [(claim, _told(search, claim, again, exploring)) for claim in claims]
    shown = {(finding.code, finding.place) for _, finding in told}
    findings = [
        finding
        for claim, finding in told
        if finding.code == claim.finding.code or (claim.finding.code, finding.place) not in shown
    ]
    refuted = frozenset(
        claim.rule for claim, f in told if claim.rule is not None and f.code == claim.finding.code
    )
    findings += rules_told(plan, search.layout, reached, refuted)
    if not reached.finished:
        findings.append(_not_finished(search, reached))
    return findings


class Again:
    """Other paths to what was claimed.

    First those on which nothing goes wrong: a timeout must pass to the tick, and two seldom meet. Then those
    on which nothing must wait where a sequence has to move at once.
    """

    def __init__(self, search: Search, walk: Reached) -> None:
        self.search, self.walk = search, walk
        self._patient: tuple[Reached, Reached] | None = None
        self._claims: list[Claim] = []

    def claims(self, like: Claim) -> Iterator[Claim]:
        """Yield the same claim with other paths, then claims of the same kind and place, then parts of it."""
        yield from _led(like, self.walk)
        if self._patient is None:
            walk = self.search.run(patient=True, faultless=True)
            every = self.search.run(patient=True)
            every.finished = walk.finished = False  # so that nothing is said of what was left out
            self._patient = walk, every
            self._claims = Judge(self.search, every, walk).claims()
        for run in self._patient:
            yield from _led(like, run)
        same = (like.finding.code, like.finding.place, like.rule)
        for claim in self._claims:
            if (claim.finding.code, claim.finding.place, claim.rule) == same:
                yield claim
        for part in like.parts:
            yield part
            yield from _led(part, self.walk)


def _led(claim: Claim, by: Reached) -> Iterator[Claim]:
    """Yield a claim with the path on which a run came to its configuration, if it did."""
    end = 1 if claim.guards else 0  # the last step of a race is its own
    *before, config = claim.path[: len(claim.path) - end]
    if config in by.order:
        path = by.path(by.order.index(config))
        if path[:-1] != before:
            yield replace(claim, path=(*path, *claim.path[len(claim.path) - end :]))


def _told(search: Search, claim: Claim, again: Again, exploring: Exploring) -> Finding:
    from sequencer.check.explore.witness import recording  # loads the executor: only if there is something

    block = recording(search, claim)
    if block is None:
        for other in again.claims(claim):
            block = recording(search, other)
            if block is not None:
                claim = other
                break
    finding = claim.finding
    if block is None:
        return Finding(
            "undecided",
            Severity.NOTE,
            finding.place,
            f"exploring: it could not be decided whether {finding.message} ({finding.code}): "
            "the configuration seems within reach, but no recording was found that leads there",
            fix="make the waits of the phases on the way shorter than their timeouts, or look at it by hand",
        )
    number = 1 + sum(c.finding.code == finding.code for c in exploring.counterexamples)
    name = f"{finding.code}-{number}"
    told = replace(
        finding,
        example=_way(search, claim, len(block)),
        notes=(*finding.notes, (finding.place, exploring.replay.replace("NAME", name))),
    )
    ends = search.layout.phases_of(claim.path[-1])
    exploring.counterexamples.append(Counterexample(name, told, block, ends))
    return told


def _way(search: Search, claim: Claim, ticks: int) -> str:
    """Say in a few words how it comes about."""
    steps = []
    stands = [search.layout.phases_of(config) for config in claim.path]
    for before, after in pairwise(stands):
        moved = [phase_name(search.plan, s, p) for s, p in enumerate(after) if p != before[s]]
        steps.append(" and ".join(moved) if moved else "once more")
    if len(steps) > MOST_STEPS_SAID:
        steps = [f"{len(steps) - MOST_STEPS_SAID + 1} moves", *steps[1 - MOST_STEPS_SAID :]]
    seconds = (ticks - 1) * search.plan.tick_ms / 1000
    return f"within {seconds:g} s: {', then '.join(steps) or 'as it starts'}"


def _not_finished(search: Search, reached: Reached) -> Finding:
    bounds = search.bounds
    if search.mover.cut:
        why = "so many sequences may move in one tick that not every combination was tried"
    elif search.mover.steps > bounds.steps:
        why = f"the bound is {bounds.steps:,} joint moves tried"
    else:
        why = f"the bound is {bounds.configurations:,} configurations"
    further = "" if bounds != BY_DEFAULT else "`sequencer check --exhaustive` goes further; or "
    return Finding(
        "not-finished",
        Severity.NOTE,
        search.plan.sequences[0].place,
        f"exploring was not finished: {len(reached.order):,} configurations were reached, then it stopped "
        f"({why}); what was found holds, but nothing is said of the rest",
        fix=f"{further}let guards read fewer counters and phases of each other",
    )
