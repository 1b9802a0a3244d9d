"""Codes of findings about what files accept under `accept:`."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import LIFT_DONE, changed
from sequencer.base.findings import Severity

_HELD = "      - {to: lower, when: {at_target: bend, tolerance: 3 mm}, hold: %s%s}\n"
_ACCEPTED = ", accept: {%s}"
_REASON = "hold-on-silence: the knee has two sensors on two wires"
_SOUND = changed((LIFT_DONE, _HELD % ("60 ms", _ACCEPTED % _REASON)))

CODES = (
    CodeInfo(
        "stale-acceptance",
        "an acceptance no longer applies",
        Severity.WARNING,
        "`accept:` concerns the block in which it stands, without the blocks inside that may have one of their own, and "
        "the check does not find the code there. In a machine file it is a note only: another walk of that machine may "
        "raise it.",
        "What was accepted for one reason would be accepted again, unseen, when it comes back for another.",
        changed((LIFT_DONE, _HELD % ("7 samples", _ACCEPTED % _REASON))),
        _SOUND,
    ),
    CodeInfo(
        "acceptance-without-reason",
        "an acceptance has no reason",
        Severity.WARNING,
        "A code under `accept:` has no text. The finding stays open until there is one.",
        "In half a year nobody knows whether the risk was weighed or only silenced.",
        changed((LIFT_DONE, _HELD % ("7 samples", _ACCEPTED % "hold-on-silence: ''"))),
        _SOUND,
    ),
    CodeInfo(
        "unknown-acceptance",
        "an acceptance names no finding that can be accepted",
        Severity.WARNING,
        "A word under `accept:` is no code of a finding, or one that can't be accepted: a file that can't be read can't "
        "be accepted either.",
        "The finding that was meant stays open, or nothing was meant at all.",
        changed((LIFT_DONE, _HELD % ("7 samples", _ACCEPTED % "hold-on-silense: two sensors"))),
        _SOUND,
    ),
)
