"""Findings about time in guards: holds against sample periods, silence, ticks and timeouts."""

import math

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import Place
from sequencer.check.edges import entered_phases
from sequencer.check.lengths import ANSWER, after_edit, hold_edit, lost_after_edit, spare_ms
from sequencer.check.questions import Askers
from sequencer.check.subjects import Subject, exits_of, listed, watched
from sequencer.plan.compared import signals_compared
from sequencer.plan.tables import Hold, Plan
from sequencer.plan.words import hold_words, ms_words

US = 1000  # microseconds in a millisecond


def time_words(ms: float) -> str:
    """Spell a time that need not be whole milliseconds."""
    return ms_words(int(ms)) if ms == int(ms) else f"{ms:g} ms"


def check_holds(plan: Plan, askers: Askers) -> list[Finding]:
    """Hold each hold, and each silence that counts as a loss, against the sample periods.

    Whether a dead sensor can complete a hold does not matter where nothing is commanded.
    """
    moves = askers.present.facts.commands_anything
    findings = [*_sample_periods(plan), *_remote_period(plan)]
    for sequence, row in enumerate(plan.sequences):
        entered = entered_phases(plan, sequence)
        for phase in sorted(entered):
            for subject in exits_of(plan, sequence, phase):
                findings += _of_hold(plan, subject)
                findings += _outlasting(plan, sequence, phase, subject)
                if (
                    moves and row.phases[subject.to].stop is None
                ):  # a dead sensor that stops the machine is no harm
                    findings += _on_silence(plan, subject)
    for subject in watched(plan):
        findings += _of_hold(plan, subject)
    return findings


def period_ms(plan: Plan, signal: int) -> float:
    """Return a signal's sample period in milliseconds; one that names none is read in every tick."""
    every_us = plan.signals[signal].every_us
    return plan.tick_ms if every_us is None else every_us / US


def compared_signals(plan: Plan, guard: int) -> list[int]:
    """List the signals that a guard compares, each once, in the order in which it asks for them."""
    leaves = (plan.leaves[i] for i in plan.guards[guard].leaves)
    return list(dict.fromkeys(x for leaf in leaves for x in signals_compared(leaf, plan.setpoints)))


def longest_hold_ms(plan: Plan, guard: int) -> float:
    """Return how long a guard has to be true before it fires, at most, if its samples come as declared."""
    hold = plan.guards[guard].hold
    if hold is None:
        return 0.0
    if hold.ms is not None:
        return float(hold.ms)
    assert hold.samples is not None
    return hold.samples * max((period_ms(plan, i) for i in hold.signals), default=0.0)


def shortest_hold_ms(plan: Plan, guard: int) -> float:
    """Return how long a guard has to be true before it fires, at least."""
    hold = plan.guards[guard].hold
    if hold is None:
        return 0.0
    if hold.ms is not None:
        return float(hold.ms)
    assert hold.samples is not None
    # the first of the samples may come in the tick in which the guard becomes true
    return (hold.samples - 1) * max((period_ms(plan, i) for i in hold.signals), default=0.0)


def _sample_periods(plan: Plan) -> list[Finding]:
    findings = []
    for signal in plan.signals:
        if signal.every_us is None:
            continue
        every_ms = signal.every_us / US
        if signal.lost_after_ms is not None and signal.lost_after_ms < every_ms:
            findings.append(_lost_between(signal.name, signal.lost_after_ms, every_ms, signal.place))
        if plan.tick_ms > every_ms:
            findings.append(
                Finding(
                    "tick-over-sample",
                    Severity.NOTE,
                    signal.place,
                    f"{signal.name} has a sample every {time_words(every_ms)}, and the machine ticks every "
                    f"{ms_words(plan.tick_ms)}: of the samples in between only the last one counts",
                    fix=f"a tick of {time_words(every_ms)} or less, or say how often the samples are read",
                )
            )
    return findings


def _remote_period(plan: Plan) -> list[Finding]:
    remote = plan.remote
    if remote is None or remote.every_us is None or remote.lost_after_ms is None:
        return []
    every_ms = remote.every_us / US
    if remote.lost_after_ms >= every_ms:
        return []
    return [_lost_between("remote", remote.lost_after_ms, every_ms, remote.place)]


def _lost_between(name: str, lost_ms: int, every_ms: float, place: Place) -> Finding:
    enough_ms = math.ceil(5 * every_ms)
    return Finding(
        "lost-between-samples",
        Severity.WARNING,
        place,
        f"{name} is lost after {ms_words(lost_ms)} of silence, and comes every {time_words(every_ms)} only: "
        f"it is lost and found again between any two samples",
        fix=f"lost_after: {ms_words(enough_ms)}, which allows for a few that are missing",
        edits=lost_after_edit(place, enough_ms),
    )


def _of_hold(plan: Plan, subject: Subject) -> list[Finding]:
    hold = plan.guards[subject.guard].hold
    if hold is None or hold.ms is None:
        return []
    findings = []
    slow = [i for i in compared_signals(plan, subject.guard) if hold.ms < period_ms(plan, i)]
    if slow:
        period = max(period_ms(plan, i) for i in slow)
        have = f"{_names(plan, slow)} {'have' if len(slow) > 1 else 'has'}"
        findings.append(
            Finding(
                "hold-under-sample",
                Severity.WARNING,
                subject.place,
                f"{subject.name}, holds for {ms_words(hold.ms)}, and {have} a sample every "
                f"{time_words(period)} only: a single sample is enough, as if there were no hold",
                fix=f"hold: {ANSWER} samples",
                edits=hold_edit(subject.place, samples=ANSWER),
            )
        )
    if hold.ms % plan.tick_ms:
        up = -(-hold.ms // plan.tick_ms) * plan.tick_ms
        findings.append(
            Finding(
                "hold-off-tick",
                Severity.NOTE,
                subject.place,
                f"{subject.name}, holds for {ms_words(hold.ms)}, which is no whole number of ticks "
                f"({ms_words(plan.tick_ms)}): it takes {ms_words(up)}",
                fix=f"hold: {ms_words(up)}",
                edits=hold_edit(subject.place, ms=up),
            )
        )
    return findings


def _on_silence(plan: Plan, subject: Subject) -> list[Finding]:
    """Find a hold that is over before the silence of a sensor counts as a loss."""
    hold = plan.guards[subject.guard].hold
    if hold is None or hold.ms is None:
        return []
    dead = [i for i in compared_signals(plan, subject.guard) if _outlasts_silence(plan, i, hold)]
    if not dead:
        return []
    are = "is" if len(dead) == 1 else "are"
    silent = [plan.signals[i].lost_after_ms for i in dead]
    period = max(period_ms(plan, i) for i in compared_signals(plan, subject.guard))
    samples = max(ANSWER, 1 + int(hold.ms // period))  # at least as long as the hold that stands there
    told = (
        f"never count{'s' if len(dead) == 1 else ''} as lost"
        if None in silent
        else f"{are} lost only after {ms_words(max(ms for ms in silent if ms is not None))} of silence"
    )
    return [
        Finding(
            "hold-on-silence",
            Severity.WARNING,
            subject.place,
            f"{subject.name}, holds for {ms_words(hold.ms)}, and {_names(plan, dead)} {told}: a sensor that "
            f"dies with the right value makes the hold complete",
            fix=f"hold: {samples} samples, which only a living sensor can complete",
            notes=tuple(
                (plan.signals[i].place, f"{plan.signals[i].name} is declared here") for i in dead[:8]
            ),
            edits=hold_edit(subject.place, samples=samples),
        )
    ]


def _outlasts_silence(plan: Plan, signal: int, hold: Hold) -> bool:
    lost_after_ms = plan.signals[signal].lost_after_ms
    assert hold.ms is not None
    return lost_after_ms is None or hold.ms <= lost_after_ms + period_ms(plan, signal)


def _outlasting(plan: Plan, sequence: int, phase: int, subject: Subject) -> list[Finding]:
    """Find a hold that cannot be met before the timeout ends the phase."""
    timeout = plan.sequences[sequence].phases[phase].timeout
    if timeout is None:
        return []
    # guards are looked at from the tick after the entry on, and one that fires in the timeout's tick wins
    needs_ms = plan.tick_ms + shortest_hold_ms(plan, subject.guard)
    if needs_ms <= timeout.after_ms:
        return []
    longer_ms = spare_ms(needs_ms)
    return [
        Finding(
            "hold-outlasts-timeout",
            Severity.ERROR,
            subject.place,
            f"{subject.name}, must be true {hold_words(plan.guards[subject.guard].hold)} "
            f"({time_words(needs_ms)} at least), and the timeout ends the phase after "
            f"{ms_words(timeout.after_ms)}: it can never fire",
            fix=f"after: {ms_words(longer_ms)} in the timeout, or a shorter hold",
            notes=((timeout.place, "the timeout"),),
            edits=after_edit(timeout.place, longer_ms),
        )
    ]


def _names(plan: Plan, signals: list[int]) -> str:
    return listed([plan.signals[i].name for i in signals])
