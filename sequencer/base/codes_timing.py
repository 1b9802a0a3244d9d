"""Codes of findings about time: holds, sample periods, silence, timeouts, and what a command can bring about."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import LIFT_DONE, LIFT_TIMEOUT, WALK, changed
from sequencer.base.findings import Severity

_KNEE = "    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}\n"
_TICK = "  tick: 10 ms\n"
_HELD = "      - {to: lower, when: {at_target: bend, tolerance: 3 mm}, hold: %s}\n"
_THRESHOLD = "      - {to: lower, when: {signal: knee, at_least: %s}, hold: 3 samples}\n"

CODES = (
    CodeInfo(
        "hold-on-silence",
        "a dead sensor can complete a hold",
        Severity.WARNING,
        "The hold is in milliseconds and is over before the silence of a sensor counts as a loss (`lost_after`, and "
        "a sample period for the sample before). A signal keeps its last value while it is silent, so the guard "
        "stays true on it. A hold in samples counts fresh ones only.",
        "A wire breaks just as the joint arrives, and the machine goes on as if it had seen it stand still.",
        changed((LIFT_DONE, _HELD % "60 ms")),
        WALK,
    ),
    CodeInfo(
        "hold-under-sample",
        "a hold is shorter than a sample period",
        Severity.WARNING,
        "Between two samples a signal keeps its value, so a hold that is shorter than the sample period is met by one "
        "sample alone.",
        "The hold was written against a single wrong reading, and a single wrong reading still moves the machine.",
        changed((_KNEE, _KNEE.replace("every: 10 ms", "every: 50 ms")), (LIFT_DONE, _HELD % "40 ms")),
        changed((_KNEE, _KNEE.replace("every: 10 ms", "every: 50 ms"))),
    ),
    CodeInfo(
        "hold-off-tick",
        "a hold is no whole number of ticks",
        Severity.NOTE,
        "Guards are looked at once a tick, so a hold ends with the first tick that is not before its end.",
        "The machine waits a little longer than the file says.",
        changed((LIFT_DONE, _HELD % "125 ms")),
        changed((LIFT_DONE, _HELD % "130 ms")),
    ),
    CodeInfo(
        "hold-outlasts-timeout",
        "a hold is longer than the timeout",
        Severity.ERROR,
        "The timeout ends the phase before the guard can have been true for as long as it must.",
        "Every walk ends here, in the phase for faults, although nothing is wrong.",
        changed((LIFT_DONE, _HELD % "3 s")),
        changed((LIFT_DONE, _HELD % "200 ms")),
    ),
    CodeInfo(
        "lost-between-samples",
        "a signal is lost between any two of its samples",
        Severity.WARNING,
        "`lost_after` is shorter than `every`: the signal counts as lost until the next sample comes, again and again. "
        "What compares it is unknown meanwhile, and holds start over.",
        "Guards over this signal hardly ever fire; one that watches for its loss stops the machine at once.",
        changed(
            (_KNEE, _KNEE.replace("every: 10 ms, lost_after: 100 ms", "every: 20 ms, lost_after: 15 ms"))
        ),
        WALK,
    ),
    CodeInfo(
        "tick-over-sample",
        "the control tick is slower than a signal",
        Severity.NOTE,
        "Several samples come between two ticks and only the last of them is used. Guards see no more of the signal "
        "than one value a tick, and a hold of N samples takes N ticks.",
        "A short peak between two ticks is not seen.",
        changed((_TICK, "  tick: 20 ms\n")),
        WALK,
    ),
    CodeInfo(
        "short-timeout",
        "a timeout is shorter than the way",
        Severity.WARNING,
        "From the farthest value at which some route may leave the setpoint, to the farthest target that the "
        "parameters' spans allow, at the slowest rate, and a tenth more for the joint's lag, and the hold, and a sample "
        "period: all that takes longer than the timeout.",
        "The walk works on the bench and ends in the phase for faults on the day on which a number is trimmed, or "
        "after the first stop half way.",
        changed((LIFT_TIMEOUT, "    timeout: {after: 650 ms, to: safe}\n")),
        WALK,
    ),
    CodeInfo(
        "beyond-command",
        "a guard waits for more than the phase commands",
        Severity.WARNING,
        "A guard compares a signal that follows a setpoint with a threshold, and the phase commands a target on the "
        "wrong side of it: as the parameters stand, or at an end of the span over which they may be trimmed.",
        "The joint goes where it was told to and stands there; the machine waits until the timeout ends the walk.",
        changed((LIFT_DONE, _THRESHOLD % "45 mm")),
        changed((LIFT_DONE, _THRESHOLD % "37 mm")),
    ),
)
