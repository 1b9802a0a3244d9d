"""Codes of findings about the graph of a walk, and about stopping."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import (
    ANYWHERE,
    LIFT_DONE,
    LIFT_TIMEOUT,
    LOWER_DONE,
    LOWER_TIMEOUT,
    SAFE,
    WALK,
    changed,
)
from sequencer.base.findings import Severity

CODES = (
    CodeInfo(
        "walks-at-power-on",
        "the walk begins in a phase that moves",
        Severity.WARNING,
        "The first phase of a sequence is entered at power-on and after every reset. It should be a rest or a "
        "stop phase that waits for the operator. (ISO 13850: resetting must not restart the machine; as read in "
        "secondary sources.)",
        "After a brown-out the machine starts to move with hands in it.",
        changed(
            (
                "phases:\n",
                "phases:\n  stretch:\n    set: {bend: 20 mm}\n    leave:\n"
                "      - {to: standing, when: {at_target: bend, tolerance: 3 mm}, hold: 3 samples}\n"
                "    timeout: {after: 2 s, to: safe}\n",
            )
        ),
        WALK,
    ),
    CodeInfo(
        "unreachable-phase",
        "nothing leads to a phase",
        Severity.WARNING,
        "No guard, no timeout, no `anywhere` entry and no rule leads to the phase, not even by way of others. "
        "Mostly a `to` that names the wrong phase.",
        "A step that was written is never made: a foot that should be set down stays up.",
        changed((LIFT_DONE, LIFT_DONE.replace("lower", "standing"))),
        WALK,
    ),
    CodeInfo(
        "dead-end",
        "the walk gets stuck in a phase",
        Severity.ERROR,
        "A phase that is neither rest nor stop has no guard and no timeout that lead to another phase. What is "
        "watched `anywhere` may still stop the machine, but the walk never goes on.",
        "The machine stands on one foot, drives on, until the battery is flat.",
        changed(("    leave:\n" + LOWER_DONE + LOWER_TIMEOUT, "")),
        WALK,
    ),
    CodeInfo(
        "final-phase",
        "a rest or stop phase has no way out",
        Severity.NOTE,
        "Nothing but `anywhere` or switching off leads out of a rest or stop phase. That may be meant: a fault "
        "that only a power cycle clears.",
        "After a stop the machine does not answer to go any more.",
        changed(("    leave:\n      - {to: standing, when: {event: go}}\nanywhere", "anywhere")),
        WALK,
    ),
    CodeInfo(
        "no-way-to-rest",
        "no way back to a rest or stop phase",
        Severity.ERROR,
        "From some phases no guard, timeout, `anywhere` entry or rule leads, in however many steps, to a phase "
        "that is rest or stop.",
        "Once under way the machine can be brought to stand only by cutting its power, and then it falls.",
        changed(
            (LOWER_DONE, LOWER_DONE.replace("standing", "lift")),
            (LIFT_TIMEOUT, LIFT_TIMEOUT.replace("safe", "lower")),
            (LOWER_TIMEOUT, LOWER_TIMEOUT.replace("safe", "lift")),
            (ANYWHERE, ""),
        ),
        WALK,
    ),
    CodeInfo(
        "endless-wait",
        "a phase may wait for ever",
        Severity.WARNING,
        "A phase that is neither rest nor stop has no timeout. If its guard never comes true, nothing happens and "
        "nothing is reported. `timeout: never` with a `because` says that waiting is meant.",
        "A slack joint stops short of its target and the machine holds its weight there until a motor is too hot.",
        changed((LIFT_TIMEOUT, "")),
        WALK,
    ),
    CodeInfo(
        "no-stop",
        "there is no stop phase to go to",
        Severity.ERROR,
        "No phase is a stop phase, or nothing leads to one. The stop categories 0, 1 and 2 are those of "
        "IEC 60204-1. A stop phase is a functional stop; it does not replace an emergency stop that cuts the power.",
        "When a sensor dies or the machine tilts, the walk has nowhere to go but on.",
        changed(
            (LIFT_TIMEOUT, LIFT_TIMEOUT.replace("safe", "standing")),
            (LOWER_TIMEOUT, LOWER_TIMEOUT.replace("safe", "standing")),
            (SAFE, ""),
            (ANYWHERE, ""),
        ),
        WALK,
    ),
    CodeInfo(
        "cannot-stop",
        "the operator cannot stop the machine from everywhere",
        Severity.WARNING,
        "In some phases no event and no switch by itself leads straight to a stop phase. An `anywhere` entry does "
        "it for all phases at once. With several sequences one that can always be stopped is enough, since its "
        "stop takes the drives of all off.",
        "Someone steps in front of the machine and halt does nothing until the step is over.",
        changed((ANYWHERE, ANYWHERE.replace("{event: halt}, ", ""))),
        WALK,
    ),
)
