"""Codes of findings about noise: what it trips, what it does not leave, what it makes chatter."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import LIFT_DONE, LOWER_DONE, changed
from sequencer.base.findings import Severity

_KNEE = "    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}\n"
_NOISY = (_KNEE, _KNEE.replace("every: 10 ms", "every: 10 ms, noise: 2 mm"))
_LIFTED = "      - {to: lower, when: {signal: knee, at_least: %s}%s}\n"
_LOWERED = "      - {to: lift, when: {signal: knee, at_most: %s}, hold: 3 samples}\n"

CODES = (
    CodeInfo(
        "noise-trips",
        "noise alone can make a guard fire",
        Severity.WARNING,
        "A comparison that by itself makes a guard true, or a rule's `must` false: from where the signal stands when "
        "the phase begins, the declared noise (Gaussian, each sample by itself) passes the threshold more often than "
        "once in 100 hours of standing there. A `release` counts once the comparison is true: under `not` and in a "
        "`must` it helps, before a hold it can do harm. Where the signal stands is known if it follows a setpoint, and "
        "of any other from what each way into the phase asked of it; where neither is known, nothing is said. A rule "
        "is judged if it has no `while`, or one that names phases.",
        "Once in a while the machine goes on before the joint has moved at all, and nobody can show it again.",
        changed(_NOISY, (LIFT_DONE, _LIFTED % ("8 mm", ""))),
        changed(_NOISY, (LIFT_DONE, _LIFTED % ("8 mm", ", hold: 3 samples"))),
    ),
    CodeInfo(
        "tolerance-under-noise",
        "a tolerance is too narrow for the noise",
        Severity.WARNING,
        "Although the joint stands right on its target (or in the middle of a `within`), the declared noise throws so "
        "many samples out of the tolerance that the samples in a row which the hold asks for are long in coming: more "
        "than a quarter of the timeout, on average. A `release` counts: it makes the run easier to keep than to begin.",
        "The machine hesitates in this phase, now shorter, now longer, and some walks end in the phase for faults.",
        changed(_NOISY, (LIFT_DONE, LIFT_DONE.replace("tolerance: 3 mm", "tolerance: 0.5 mm"))),
        changed(_NOISY, (LIFT_DONE, LIFT_DONE.replace("tolerance: 3 mm", "tolerance: 8 mm"))),
    ),
    CodeInfo(
        "chatter",
        "two phases chatter on one signal",
        Severity.WARNING,
        "A guard leads from one phase to another when a signal is high, and a guard there leads back when it is low, "
        "with less between the two thresholds than the noise needs. Judged for a value in the middle between them.",
        "The joint twitches to and fro between two targets; gears and drivers suffer.",
        changed(
            _NOISY,
            (LIFT_DONE, _LIFTED % ("30 mm", ", hold: 3 samples")),
            (LOWER_DONE, LOWER_DONE + _LOWERED % "29 mm"),
        ),
        changed(
            _NOISY,
            (LIFT_DONE, _LIFTED % ("37 mm", ", hold: 3 samples")),
            (LOWER_DONE, LOWER_DONE + _LOWERED % "20 mm"),
        ),
    ),
)
