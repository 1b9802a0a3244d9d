"""Findings about two phases that lead to each other on one signal, with less between than noise needs."""

from collections.abc import Iterator

from sequencer.base.findings import Edit, Finding, Severity
from sequencer.check.chance import ALLOWED_PER_HOUR, distance_needed, samples_needed, trips_per_hour
from sequencer.check.edges import entered_phases
from sequencer.check.facts import Facts
from sequencer.check.holds import period_ms
from sequencer.check.lengths import hold_edit
from sequencer.check.sampling import often, samples_in_row
from sequencer.check.subjects import Subject, exits_of
from sequencer.check.suggest import rounded
from sequencer.plan.tables import Compare, Plan
from sequencer.plan.words import number_words


def check_chatter(plan: Plan, sequence: int, facts: Facts) -> list[Finding]:
    """Find the pairs of phases of a sequence that chatter."""
    findings = []
    for (phase, up), (other, down) in _pairs(plan, sequence):
        rising, falling = (plan.leaves[plan.guards[way.guard].leaves[0]] for way in (up, down))
        assert isinstance(rising, Compare) and isinstance(falling, Compare) and rising.low and falling.high
        gap = facts.level(rising.low)[0] - facts.level(falling.high)[1]
        signal, period = plan.signals[rising.index], period_ms(plan, rising.index)
        if not signal.noise:
            continue
        half = max(gap, 0.0) / 2
        afters = _afters(facts, rising, falling, half)
        per_hour = max(
            trips_per_hour(
                half, signal.noise, period, samples_in_row(plan, plan.guards[way.guard], rising.index), after
            )
            for way, after in zip((up, down), afters, strict=True)
        )
        if per_hour <= ALLOWED_PER_HOUR:
            continue
        apart = number_words(rounded(2 * distance_needed(signal.noise, period), 2), signal.unit)
        names = [p.name for p in plan.sequences[sequence].phases]
        # where the thresholds overlap, both guards are true at once: no hold helps, it only slows them
        held = [samples_needed(half, signal.noise, period, after) for after in afters if gap > 0]
        fix, edits = _calmer(held, apart, (up, down))
        findings.append(
            Finding(
                "chatter",
                Severity.WARNING,
                up.place,
                f"{names[phase]} and {names[other]} lead to each other on {signal.name} with "
                f"{_between(gap, signal.unit)}, and its noise is "
                f"{number_words(rounded(signal.noise), signal.unit)}: they chatter, {often(per_hour)}",
                fix=fix,
                notes=((down.place, "the way back"),),
                edits=edits,
            )
        )
    return findings


def _afters(facts: Facts, rising: Compare, falling: Compare, half: float) -> tuple[float, float]:
    """Return how far the middle is from what counts after a first sample beyond: the releases, if any."""
    assert rising.low is not None and falling.high is not None
    up, down = facts.level(rising.low)[0] - half, facts.level(falling.high)[1] + half
    rises = half if rising.release_low is None else facts.level(rising.release_low)[0] - up
    falls = half if falling.release_high is None else down - facts.level(falling.release_high)[1]
    return rises, falls


def _between(gap: float, unit: str) -> str:
    if gap < 0:
        return f"thresholds that overlap by {number_words(rounded(-gap), unit)}"
    return f"{number_words(rounded(gap), unit)} between the thresholds"


def _calmer(
    needed: list[int | None], apart: str, ways: tuple[Subject, Subject]
) -> tuple[str, tuple[Edit, ...]]:
    samples = [n for n in needed if n is not None]
    if len(samples) < len(ways):
        return f"put the thresholds {apart} apart", ()
    held = max(samples)
    edits = [edit for way in ways for edit in hold_edit(way.place, samples=held)]
    fix = f"hold: {held} samples on both (under one false trip in 100 hours), or thresholds {apart} apart"
    return fix, tuple(edits)


def _pairs(plan: Plan, sequence: int) -> Iterator[tuple[tuple[int, Subject], tuple[int, Subject]]]:
    """Yield guards that lead from one phase to another when a signal is high, and back when it is low."""
    ups: dict[tuple[int, int, int], Subject] = {}
    downs: dict[tuple[int, int, int], Subject] = {}
    for phase in sorted(entered_phases(plan, sequence)):
        for subject in exits_of(plan, sequence, phase):
            guard = plan.guards[subject.guard]
            leaf = plan.leaves[guard.leaves[0]] if len(guard.nodes) == 1 else None
            if isinstance(leaf, Compare) and leaf.source == "signal":
                rising, falling = leaf.op in {"at_least", "above"}, leaf.op in {"at_most", "below"}
                if rising or falling:
                    (ups if rising else downs).setdefault((phase, subject.to, leaf.index), subject)
    for (phase, to, signal), subject in ups.items():
        back = downs.get((to, phase, signal))
        if back is not None:
            yield (phase, subject), (to, back)
