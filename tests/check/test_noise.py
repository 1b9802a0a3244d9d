"""The figures about noise, against scipy, a handbook value, and chance itself."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from support.commands import REPOSITORY

from sequencer.base.places import Place
from sequencer.check import check
from sequencer.check.chance import (
    ALLOWED_PER_HOUR,
    MS_PER_HOUR,
    distance_needed,
    mean_wait_samples,
    samples_needed,
    tail,
    trips_per_hour,
    within,
)
from sequencer.check.facts import Facts
from sequencer.check.flips import distance_of
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import NO_CHANGE
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan, parse_plan
from sequencer.trace.blocks import FRESH_VALUE, empty_block

SOUND = REPOSITORY / "tests" / "corpus" / "sound"
HERE = Place("planted.gait.yaml", 9000, 1)


@pytest.mark.parametrize("x", [-3.0, 0.0, 0.5, 1.0, 2.0, 4.0, 6.0, 8.0])
def test_the_tail_is_that_of_scipy(x: float) -> None:
    assert tail(x) == pytest.approx(norm.sf(x), rel=1e-12)
    assert within(abs(x), 1.0) == pytest.approx(norm.cdf(abs(x)) - norm.cdf(-abs(x)), rel=1e-12, abs=1e-15)


def test_the_proposed_hold_and_distance_are_just_enough() -> None:
    for distance, noise, period in [(2.0, 1.0, 10.0), (3.0, 1.0, 20.0), (0.6, 0.5, 10.0)]:
        samples = samples_needed(distance, noise, period)
        assert samples is not None and samples > 1
        assert trips_per_hour(distance, noise, period, samples) <= ALLOWED_PER_HOUR
        assert trips_per_hour(distance, noise, period, samples - 1) > ALLOWED_PER_HOUR
        far = distance_needed(noise, period)
        assert norm.sf(far / noise) * MS_PER_HOUR / period == pytest.approx(ALLOWED_PER_HOUR, rel=1e-6)


def test_a_threshold_at_the_true_value_cannot_be_helped_by_any_hold_of_sense() -> None:
    assert samples_needed(0.0, 1.0, 1.0) == 29  # half of all samples are beyond it: 2**-29 of 3.6 million
    assert samples_needed(-3.0, 1.0, 10.0) is None


def test_the_wait_for_a_run_is_the_handbooks() -> None:
    """Five heads in a row take 62 throws of a coin on average (Feller, vol. 1, XIII.7; from memory)."""
    assert mean_wait_samples(0.5, 5) == pytest.approx(62)
    assert mean_wait_samples(1.0, 3) == 3
    assert mean_wait_samples(0.0, 3) == float("inf")


def test_trips_come_as_often_as_chance_makes_them() -> None:
    """Monte Carlo: 4 million samples of Gaussian noise, the threshold 2 standard deviations away."""
    rng = np.random.default_rng(20)
    beyond = rng.standard_normal(4_000_000) > 2.0
    for samples in (1, 2):
        runs = beyond[: len(beyond) - samples + 1].copy()
        for k in range(1, samples):
            runs &= beyond[k : len(beyond) - samples + 1 + k]
        counted = runs.mean() * MS_PER_HOUR / 10.0
        assert trips_per_hour(2.0, 1.0, 10.0, samples) == pytest.approx(counted, rel=0.05)


def test_the_wait_for_still_samples_is_what_chance_makes_it() -> None:
    rng = np.random.default_rng(21)
    waits = []
    for _ in range(4000):
        run = count = 0
        while run < 3:
            run = run + 1 if abs(rng.standard_normal()) <= 1.0 else 0
            count += 1
        waits.append(count)
    assert mean_wait_samples(within(1.0, 1.0), 3) == pytest.approx(np.mean(waits), rel=0.05)


@pytest.mark.parametrize(("first", "after", "samples"), [(0.2, 0.9, 3), (0.5, 0.95, 5), (0.3, 1.0, 4)])
def test_the_wait_with_a_release_is_what_chance_makes_it(first: float, after: float, samples: int) -> None:
    """Monte Carlo of the latch: the first sample within the tolerance, the next within the release."""
    rng = np.random.default_rng(22)
    waits = []
    for _ in range(6000):
        run = count = 0
        while run < samples:
            run = run + 1 if rng.random() < (first if run == 0 else after) else 0
            count += 1
        waits.append(count)
    assert mean_wait_samples(first, samples, after) == pytest.approx(np.mean(waits), rel=0.05)


@pytest.mark.parametrize(
    ("first", "after", "samples"), [(1.5, 1.5, 2), (2.0, 0.5, 2), (1.5, -0.5, 3), (2.0, -3.0, 4)]
)
def test_trips_with_a_release_come_as_often_as_chance_makes_them(
    first: float, after: float, samples: int
) -> None:
    """Monte Carlo of the latch and the hold: runs of just so many samples, 800,000 samples of noise."""
    runs = latch = trips = 0
    for x in np.random.default_rng(23).standard_normal(800_000).tolist():
        latch = x > (after if latch else first)
        runs = runs + 1 if latch else 0
        if runs == samples:  # it fires and the phase begins anew
            trips += 1
            runs = latch = 0
    counted = trips / 800_000 * MS_PER_HOUR / 10.0
    assert trips_per_hour(first, 1.0, 10.0, samples, after) == pytest.approx(counted, rel=0.15)


@pytest.mark.parametrize("samples", [1, 2, 7])
def test_a_release_that_is_no_wider_changes_no_wait(samples: int) -> None:
    for p in (0.1, 0.6, 0.99):
        assert mean_wait_samples(p, samples, p) == pytest.approx(mean_wait_samples(p, samples), rel=1e-12)
        geometric = (1 - p**samples) / ((1 - p) * p**samples)  # Feller's formula, as in the module
        assert mean_wait_samples(p, samples) == pytest.approx(geometric, rel=1e-9)


ALWAYS_ASKING = """
gait: waits
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    load: {unit: N, span: [-60, 60], every: 10 ms, noise: 1 N, lost_after: 100 ms}
phases:
  lower:
    leave:
      - {to: lower, when: %s}
"""


@pytest.mark.parametrize(
    ("guard", "samples"),
    [
        ("{signal: load, above: 2 N}", 1),
        ("{signal: load, above: 1.5 N}, hold: 2 samples", 2),
        ("{signal: load, above: 2 N, release: 0.5 N}, hold: 2 samples", 2),
        ("{signal: load, above: 2 N, release: -1 N}, hold: 4 samples", 4),
        ("{not: {signal: load, below: 1.5 N, release: 1.8 N}}, hold: 2 samples", 2),
        ("{signal: load, within: [2 N, 60 N], release: [1 N, 60 N]}, hold: 2 samples", 2),
    ],
)
def test_a_guard_is_tripped_as_often_as_said_when_the_sequencer_itself_runs(guard: str, samples: int) -> None:
    """Noise around 0 N, 100,000 ticks of the reference; each trip begins the phase anew."""
    plan = parse_plan(ALWAYS_ASKING % guard)
    leaf = plan.leaves[0]
    assert isinstance(leaf, t.Compare)
    far = distance_of(Facts(plan), leaf, (0.0, 0.0), true=not guard.startswith("{not"))
    assert far is not None
    said = trips_per_hour(far.first, 1.0, 10.0, samples, far.after)
    ticks = 100_000
    block = empty_block(ticks, 1)
    block.now[:] = 10 * np.arange(ticks)
    block.raw[:, 0] = np.random.default_rng(24).standard_normal(ticks)
    block.fresh[:, 0] = FRESH_VALUE
    cause = ReferenceExecutor(plan).run(block).cause[1:, 0]  # the first tick enters the phase
    trips = int((cause != NO_CHANGE).sum())
    assert trips > 200
    assert said == pytest.approx(trips * MS_PER_HOUR / (10.0 * ticks), rel=0.2)


LOADED = (SOUND / "loads-apart.gait.yaml").read_text(encoding="utf-8")


def codes_of(text: str) -> set[str]:
    return {f.code for f in check(parse_plan(text))} & {"noise-trips", "tolerance-under-noise", "chatter"}


@pytest.mark.parametrize(
    ("exit_", "told"),
    [
        ("above: 12 N}, hold: 2 samples", False),
        ("above: 12 N}", False),  # 7 N away, 7 times the noise
        ("above: 9 N}", True),
        ("above: 9 N, release: 2 N}", True),  # a release counts only once it was true
        ("above: 4 N}", False),  # true already when the phase begins: no noise is needed
        ("within: [8 N, 20 N]}", True),
        ("outside: [-1 N, 9 N]}", False),  # what is below 5 N may be below -1 N, too
        ("above: 9 N}, hold: 3 samples", False),
        ("above: 9 N, release: 2 N}, hold: 3 samples", True),  # past the release the first sample decides
        ("above: 9 N, release: 8 N}, hold: 3 samples", False),
    ],
)
def test_what_led_into_the_phase_tells_where_a_signal_begins_that_follows_nothing(
    exit_: str, told: bool
) -> None:
    text = LOADED.replace("above: 12 N}, hold: 2 samples", exit_)
    assert ("noise-trips" in codes_of(text)) is told


@pytest.mark.parametrize(
    ("exit_", "told"),
    [
        ("{not: {signal: load, at_most: 8 N}}", True),
        ("{not: {signal: load, at_most: 8 N}}, hold: 4 samples", False),
        ("{not: {signal: load, at_most: 8 N, release: 11 N}}", False),
        ("{not: {signal: load, at_most: 8 N, release: 8.5 N}}", True),
        ("{any: [{event: go}, {not: {signal: load, at_most: 8 N}}]}", True),
        ("{all: [{event: go}, {not: {signal: load, at_most: 8 N}}]}", False),  # noise alone is not enough
        ("{not: {all: [{signal: load, at_most: 8 N}, {signal: load, at_most: 50 N}]}}", True),
        ("{not: {signal: load, outside: [8 N, 20 N]}}", True),
        ("{not: {signal: load, below: 3 N}}", False),  # true where the phase begins
    ],
)
def test_a_comparison_under_not_trips_where_noise_makes_it_false(exit_: str, told: bool) -> None:
    text = LOADED.replace("{signal: load, above: 12 N}, hold: 2 samples", exit_)
    assert ("noise-trips" in codes_of(text)) is told


@pytest.mark.parametrize(
    ("way_in", "told"),
    [
        ("{signal: load, below: 5 N}, hold: 3 samples", True),
        ("{any: [{signal: load, below: 5 N}, {signal: load, at_most: 4 N}]}", True),
        ("{all: [{event: go}, {signal: load, below: 5 N}]}", True),
        ("{any: [{event: go}, {signal: load, below: 5 N}]}", False),
        ("{not: {signal: load, at_least: 5 N}}", True),
        ("{not: {not: {signal: load, below: 5 N}}}", True),
        ("{not: {signal: load, outside: [1 N, 5 N]}}", True),
        ("{not: {signal: load, within: [1 N, 5 N]}}", False),
        ("{signal: load, below: 5 N, release: 20 N}", True),  # fires as soon as it is true
        ("{signal: load, below: 5 N, release: 20 N}, hold: 3 samples", False),
        ("{all: [{event: go}, {signal: load, below: 5 N, release: 20 N}]}", False),  # true by its release
    ],
)
def test_what_a_way_in_asked_is_read_from_its_whole_guard(way_in: str, told: bool) -> None:
    text = LOADED.replace("{signal: load, below: 5 N}, hold: 3 samples", way_in)
    text = text.replace("above: 12 N}, hold: 2 samples", "above: 9 N}")
    assert ("noise-trips" in codes_of(text)) is told


def test_each_way_into_a_phase_is_judged_by_itself() -> None:
    """From 5 N the threshold is 4 N away; from 30 N on it is passed already."""
    one = "      - {to: lower, when: {signal: load, below: 5 N}, hold: 3 samples}\n"
    other = "      - {to: lower, when: {signal: load, above: 30 N}, hold: 3 samples}\n"
    text = LOADED.replace("above: 12 N}, hold: 2 samples", "above: 9 N}")
    assert codes_of(text.replace(one, one + other)) == {"noise-trips"}
    assert codes_of(text.replace(one, other)) == set()


def test_a_way_in_that_asks_nothing_leaves_the_signal_unknown() -> None:
    text = LOADED.replace("above: 12 N}, hold: 2 samples", "above: 9 N}")
    other = "      - {to: lower, when: {signal: load, below: 5 N}, hold: 3 samples}\n"
    assert other in text
    assert codes_of(text) == {"noise-trips"}
    assert codes_of(text.replace(other, other + "      - {to: lower, when: {event: go}}\n")) == set()


def test_an_entry_of_anywhere_begins_where_the_ways_into_the_phases_say() -> None:
    watched = "{lost: tilt}, "
    assert watched in LOADED
    assert codes_of(LOADED.replace(watched, watched + "{signal: load, above: 6 N}, ")) == {"noise-trips"}
    assert codes_of(LOADED.replace(watched, watched + "{signal: load, above: 40 N}, ")) == set()


KNEE = (REPOSITORY / "tests" / "corpus" / "faulty" / "tolerance-under-noise-1.gait.yaml").read_text()


@pytest.mark.parametrize(
    ("guard", "told"),
    [
        ("at_target: bend, tolerance: 0.2 mm}, hold: 3 samples", True),
        ("at_target: bend, tolerance: 0.2 mm, release: 2 mm}, hold: 3 samples", False),
        ("at_target: bend, tolerance: 0.2 mm, release: 0.3 mm}, hold: 3 samples", True),
        ("at_target: bend, tolerance: 4 mm}, hold: 3 samples", False),
        ("signal: knee, within: [39.9 mm, 40.1 mm]}, hold: 3 samples", True),
        ("signal: knee, within: [36 mm, 44 mm]}, hold: 3 samples", False),
        ("reached: bend, short_by: 0.1 mm}, hold: 12 samples", True),
        ("reached: bend, short_by: 3 mm}, hold: 12 samples", False),
    ],
)
def test_a_width_that_noise_leaves_too_seldom_is_told_unless_a_release_helps(guard: str, told: bool) -> None:
    text = KNEE.replace("at_target: bend, tolerance: 0.2 mm}, hold: 3 samples", guard)
    assert ("tolerance-under-noise" in codes_of(text)) is told


def noisy(plan: t.Plan) -> Iterator[t.Plan]:
    """Each way on by one comparison of a followed signal, its hold taken away, with noise of its own size."""
    for s, sequence in enumerate(plan.sequences):
        for i, phase in enumerate(sequence.phases):
            for way in phase.exits:
                guard = plan.guards[way.guard]
                leaf = plan.leaves[guard.leaves[0]] if len(guard.nodes) == 1 else None
                if not isinstance(leaf, t.Compare) or leaf.source != "signal":
                    continue
                if not any(f.signal == leaf.index for row in plan.setpoints for f in row.followers):
                    continue
                signals = list(plan.signals)
                width = signals[leaf.index].high - signals[leaf.index].low
                signals[leaf.index] = replace(signals[leaf.index], noise=width / 4)
                guards, leaves = list(plan.guards), list(plan.leaves)
                guards[guard.index] = replace(guard, hold=None)
                leaves[guard.leaves[0]] = replace(leaf, release_low=None, release_high=None, latch=None)
                exits = tuple(replace(w, place=HERE) if w is way else w for w in phase.exits)
                phases = list(sequence.phases)
                phases[i] = replace(phase, exits=exits)
                sequences = list(plan.sequences)
                sequences[s] = replace(sequence, phases=tuple(phases))
                yield replace(
                    plan,
                    signals=tuple(signals),
                    guards=tuple(guards),
                    leaves=tuple(leaves),
                    sequences=tuple(sequences),
                )


def test_noise_that_is_planted_is_found() -> None:
    planted = 0
    for path in [
        *sorted(SOUND.glob("*.gait.yaml")),
        *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml")),
    ]:
        for mutant in noisy(load_plan(path)):
            planted += 1
            assert ("noise-trips", HERE) in [(f.code, f.place) for f in check(mutant)], path.name
    assert planted >= 5


@pytest.mark.parametrize(("threshold", "told"), [("45 mm", True), ("58 mm", False), ("30 mm", False)])
@pytest.mark.parametrize("entry", ["{signal: knee, above: %s}", "{signal: knee, outside: [-40 mm, %s]}"])
def test_noise_that_trips_what_is_watched_anywhere_is_found(entry: str, threshold: str, told: bool) -> None:
    """The knee goes up to 40 mm with a noise of 2 mm; at 30 mm the walk itself goes there."""
    text = (SOUND / "crab-leg.gait.yaml").read_text(encoding="utf-8")
    text = text.replace("span: [0, 60], every: 10 ms,", "span: [-50, 60], every: 10 ms, noise: 2 mm,")
    text = text.replace("{lost: tilt}", "{lost: tilt}, " + entry % threshold)
    codes = [f.code for f in check(parse_plan(text)) if f.place.line == 34]
    assert ("noise-trips" in codes) is told
    found = [f for f in check(parse_plan(text)) if f.code == "noise-trips"]
    assert all(f.edits == () and f.fix.startswith("for it, an entry of its own") for f in found)
