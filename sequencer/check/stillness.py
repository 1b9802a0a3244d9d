"""Findings about guards that ask for more stillness than noise leaves, although the joint stands right."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.base.findings import Edit, Finding, Severity
from sequencer.check.chance import mean_wait_samples, tail, within
from sequencer.check.facts import Facts
from sequencer.check.holds import period_ms, time_words
from sequencer.check.sampling import samples_in_row
from sequencer.check.subjects import Subject
from sequencer.check.suggest import rounded
from sequencer.check.travel import required_leaves
from sequencer.plan.tables import Compare, Follow, Leaf, Level
from sequencer.plan.words import leaf_words, number_words

SHARE_OF_TIMEOUT = 0.25  # waiting for a lucky run of samples may take so much of the timeout; our choice
STILL = 4.0  # times the noise: one sample in 16,000 is farther off (the normal tail)
RELEASES = (2.0, 2.5, 3.0, 3.5, STILL)  # times the noise; the first that is enough is proposed


@dataclass(frozen=True, slots=True)
class _Width:
    """How far a signal may be off for a comparison to be true, at the best that the joint can stand.

    width counts until it is true, release from then on. sides: 2 if it may be off either way, else 1.
    """

    leaf: int
    signal: int
    width: float
    release: float
    sides: int

    def right(self, noise: float, *, released: bool) -> float:
        """Return the probability that a sample is within it."""
        width = self.release if released else self.width
        return within(width, noise) if self.sides == 2 else 1.0 - tail(width / noise)


def check_stillness(facts: Facts, sequence: int, phase: int, subject: Subject) -> list[Finding]:
    """Find a way out whose samples in a row are long in coming although everything stands right."""
    plan = facts.plan
    timeout = plan.sequences[sequence].phases[phase].timeout
    widths = [w for w in _widths(facts, subject) if plan.signals[w.signal].noise]
    if timeout is None or not widths:
        return []
    guard = plan.guards[subject.guard]
    period = max(period_ms(plan, w.signal) for w in widths)
    samples = max(samples_in_row(plan, guard, w.signal) for w in widths)
    allowed = SHARE_OF_TIMEOUT * timeout.after_ms / period + samples

    def wait(release: float | None) -> float:
        """Return the mean wait in samples, with another release (in times of the noise) if one is given."""
        first = after = 1.0
        for width in widths:
            noise = plan.signals[width.signal].noise
            first *= width.right(noise, released=False)
            wider = 0.0 if release is None else _chance(width, release)
            after *= max(width.right(noise, released=True), wider)
        return mean_wait_samples(first, samples, after)

    if wait(None) <= allowed:
        return []
    worst = min(widths, key=lambda w: w.right(plan.signals[w.signal].noise, released=False))
    release = next((times for times in RELEASES if wait(times) <= allowed), None)
    return [_too_narrow(facts, subject, worst, (wait(None) * period, samples), release)]


def _chance(width: _Width, times_noise: float) -> float:
    return within(times_noise, 1.0) if width.sides == 2 else 1.0 - tail(times_noise)


def _widths(facts: Facts, subject: Subject) -> Iterator[_Width]:
    """Give the widths that a guard cannot be true without."""
    plan = facts.plan
    for index in sorted(required_leaves(plan.guards[subject.guard].nodes)):
        leaf = plan.leaves[index]
        if isinstance(leaf, Follow):
            wide = facts.level(leaf.tolerance)[1]
            release = facts.level(leaf.release)[1] if leaf.release else wide
            sides = 2 if leaf.op == "at_target" else 1
            for follower in plan.setpoints[leaf.setpoint].followers:
                yield _Width(index, follower.signal, wide, release, sides)
        elif isinstance(leaf, Compare) and leaf.source == "signal" and leaf.op == "within":
            wide = _half(facts, leaf.low, leaf.high)
            release = _half(facts, leaf.release_low, leaf.release_high) if leaf.release_low else wide
            yield _Width(index, leaf.index, wide, release, 2)


def _half(facts: Facts, low: Level | None, high: Level | None) -> float:
    assert low is not None and high is not None
    return (facts.level(high)[1] - facts.level(low)[0]) / 2


def _too_narrow(
    facts: Facts, subject: Subject, width: _Width, waits: tuple[float, int], release: float | None
) -> Finding:
    plan = facts.plan
    wait_ms, samples = waits
    signal = plan.signals[width.signal]
    told = "for ever" if math.isinf(wait_ms) else f"about {_time(wait_ms)} on average"
    fix, edits = _wider(facts, width, release)
    return Finding(
        "tolerance-under-noise",
        Severity.WARNING,
        subject.place,
        f"{subject.name}, waits {told} for {samples} sample{'s in a row' if samples > 1 else ''} within its "
        f"tolerance although the joint stands right: {leaf_words(plan, width.leaf)}, and {signal.name} has a "
        f"noise of {number_words(rounded(signal.noise), signal.unit)}",
        fix=fix,
        edits=edits,
    )


def _wider(facts: Facts, width: _Width, release: float | None) -> tuple[str, tuple[Edit, ...]]:
    """Propose a release that lets the samples that follow the first one be farther off, or more tolerance."""
    leaf, signal = facts.plan.leaves[width.leaf], facts.plan.signals[width.signal]
    times = STILL if release is None else release
    wide = rounded(times * signal.noise)
    words = number_words(wide, signal.unit)
    if release is None or wide <= width.width:
        what = "room either way" if isinstance(leaf, Compare) else "tolerance"
        fix = f"a {what} of {words}, which is {STILL:g} times the noise, or more"
        return fix, _wider_tolerance(leaf, wide, words)
    value = words
    if isinstance(leaf, Compare):
        assert leaf.low is not None and leaf.high is not None
        middle = (facts.level(leaf.high)[1] + facts.level(leaf.low)[0]) / 2
        ends = (number_words(rounded(middle + off, 4), signal.unit) for off in (-wide, wide))
        value = f"[{', '.join(ends)}]"
    fix = f"release: {value}, so that what once was within may be {times:g} times the noise off from then on"
    return fix, (Edit(leaf.place, "release", value, (0, wide)),)


def _wider_tolerance(leaf: Leaf, wide: float, words: str) -> tuple[Edit, ...]:
    """Set a tolerance that is a number; a release that is no wider would make no sense any more."""
    if not isinstance(leaf, Follow) or leaf.tolerance.parameter is not None or leaf.release is not None:
        return ()
    key = "tolerance" if leaf.op == "at_target" else "short_by"
    return (Edit(leaf.place, key, words, (0, wide)),)


def _time(ms: float) -> str:
    if ms >= 3_600_000:
        return f"{ms / 3_600_000:.2g} hours"
    return f"{ms / 1000:.2g} s" if ms >= 1000 else time_words(round(ms))
